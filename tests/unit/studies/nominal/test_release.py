"""The release of an earth element in the hand calculation."""

from __future__ import annotations

from typing import Any

from tests.made.said import check_text
from tests.made.studies import REMOVE, study_with

ON_BIASED: dict[str, Any] = {
    "scheme.kind": "biased_restricted_earth_fault",
    "scheme.bias_current": "residual_pair",
    "scheme.gates": [{"name": "released", "start": "no_neutral_current", "start_pu": 0.02}],
    "ct.neutral_conductor": {},
    "candidates.phase_pickup_a": REMOVE,
    "candidates.stabilising_resistance_ohm": REMOVE,
    "candidates.first_slope": [0.2],
}


def test_a_release_by_hand() -> None:
    """0.02 x 1312.2 A = 26.24 A, 0.0175 A of 1500/1; 26.24 A x 21.2 ohm / 6351 V = 8.76 %."""
    text = check_text(study_with(ON_BIASED | {"candidates.earth_gate": ["none", "released"]}))
    (row,) = (line.split() for line in text.splitlines() if line.strip().startswith("released "))
    assert row == ["released", "0.02", "26.24", "0.0175", "8.76", "%"]
    assert "keep start_pu above it" in " ".join(text.split())


def test_without_a_release_nothing_is_said_of_one() -> None:
    text = " ".join(check_text(study_with(ON_BIASED | {"scheme.gates": []})).split())
    assert "with a release waits" not in text
    assert "a residual pair has I_b = 0" in text
