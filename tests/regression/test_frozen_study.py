"""A small study's probabilities, frozen: they move only on purpose. No proof that they are right.

Renew after a change that is meant to move them, and say so under Numbers in DEVELOPERS.md's
changelog:

    python -m tests.regression.test_frozen_study
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from montecarlo import run_study
from tests.made.studies import study_with

FROZEN = Path(__file__).with_name("frozen_study.json")
COLUMNS = (
    "p_missed",
    "p_missed_low",
    "p_missed_high",
    "p_false",
    "p_false_low",
    "p_false_high",
    "missed_per_year",
    "false_per_year",
    "protected_median",
)
TOLERANCE = 1e-6  # relative; other processors round otherwise


def table() -> dict[str, list[float]]:
    result = run_study(study_with({"candidates.delay_s": [0, 0.05]}), workers=1)
    return {name: [float(value) for value in result.candidates[name]] for name in COLUMNS}


def test_the_study_s_probabilities_stand() -> None:
    frozen, now = json.loads(FROZEN.read_text()), table()
    assert frozen.keys() == now.keys()
    for name, values in frozen.items():
        assert now[name] == pytest.approx(values, rel=TOLERANCE, abs=1e-12, nan_ok=True), name


if __name__ == "__main__":
    FROZEN.write_text(json.dumps(table(), indent=1) + "\n")
