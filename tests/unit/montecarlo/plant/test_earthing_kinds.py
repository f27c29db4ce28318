"""Kinds of earthing through the study file: the same resistor, told in another way, gives the same
run."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.primary import earth_faults
from montecarlo.engine.sizes import designs
from montecarlo.frames.result import run_study
from montecarlo.sampling.design import Design
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.candidates import candidate_lattices
from studies.nominal.desk import Desk
from tests.made.studies import FEW_TYPES, REMOVE, faults_of, study_with

PHASE_V = 11e3 / np.sqrt(3)
KINDS: dict[str, dict[str, Any]] = {
    "resistor": {"resistance_ohm": 32.0},
    "current": {"current_limit_a": PHASE_V / 32.0},
    "transformer": {"transformer_ratio": 8.0, "secondary_resistance_ohm": 0.5},
    "hot": {
        "resistance_ohm": 20.0,
        "temperature_rise_k": 600.0,
        "temperature_coefficient_per_k": 0.001,
    },
}


def block(stratum: Stratum, earthing: dict[str, Any]) -> Block:
    study = study_with({"study.samples": 64, "study.installations": 16}, earthing=earthing)
    design = Design(16, 64)
    return Block(Job(study, candidate_lattices(study), *designs(study)), design.chunks(stratum)[0])


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_resistor_gives_the_same_currents_at_the_cts(kind: str) -> None:
    nodes = np.linspace(0, 1, 5)
    want = earth_faults(block(EARTH, KINDS["resistor"]), nodes)
    assert earth_faults(block(EARTH, KINDS[kind]), nodes) == pytest.approx(want, rel=1e-12)


@cache
def run_on(kind: str) -> pd.DataFrame:
    few = {"study.samples": 64, "study.earth_fault_samples": 64, "study.installations": 16}
    return run_study(study_with(FEW_TYPES | few, earthing=KINDS[kind]), workers=1).candidates


@pytest.mark.parametrize("kind", ["current", "transformer", "hot"])
def test_the_whole_study_agrees_with_that_of_the_resistor(kind: str) -> None:
    one, other = run_on("resistor"), run_on(kind)
    assert other["p_missed"].to_numpy() == pytest.approx(one["p_missed"].to_numpy(), rel=1e-9)
    assert other["p_false"].to_numpy() == pytest.approx(one["p_false"].to_numpy(), rel=1e-9)
    assert 0 < one["p_missed"].max() < 1


@pytest.mark.parametrize("kind", KINDS)
def test_the_desk_takes_the_same_resistor(kind: str) -> None:
    assert Desk(study_with(earthing=KINDS[kind])).neutral_ohm == pytest.approx(32.0)


def test_a_reactance_stands_square_to_the_resistor() -> None:
    desk = Desk(study_with(earthing=KINDS["transformer"] | {"transformer_reactance_ohm": 24.0}))
    assert desk.neutral_ohm == pytest.approx(40.0)  # 3, 4, 5
    fault = desk.earth_faults(1.0)
    assert abs(fault.fault_current_a).max() == pytest.approx(PHASE_V / 40, rel=0.05)


def test_another_earthed_neutral_halves_what_is_blind() -> None:
    """Twice the conductance to earth, so that half the winding drives the same current past the
    CTs."""
    two = KINDS["resistor"] | {"other_neutrals_ohm": 32.0}
    assert Desk(study_with(earthing=two)).neutral_ohm == pytest.approx(16.0)
    few = FEW_TYPES | {
        "study.samples": 64,
        "study.earth_fault_samples": 64,
        "study.installations": 16,
        "internal_faults.earth_fault_resistance_ohm": 0.0,
    }
    one, both = (
        run_study(study_with(few, earthing=kind), workers=1).protected_winding
        for kind in (KINDS["resistor"], two)
    )
    for candidate in set(one["candidate"]):
        seen = [
            float(table[table["candidate"] == candidate]["p_detected"].mean())
            for table in (one, both)
        ]
        assert seen[1] > seen[0]


WAYS = (
    "give exactly one of resistance_ohm, current_limit_a, and transformer_ratio with"
    " secondary_resistance_ohm"
)

FAULTS: list[tuple[dict[str, Any], str]] = [
    ({"earthing.resistance_ohm": REMOVE}, f"earthing: no resistor given; {WAYS}"),
    (
        {"earthing.current_limit_a": 200},
        f"earthing: resistance_ohm and current_limit_a given; {WAYS}",
    ),
    (
        {"earthing.resistance_ohm": REMOVE, "earthing.transformer_ratio": 30},
        (
            "earthing.secondary_resistance_ohm: missing; an earthing transformer needs"
            " transformer_ratio and secondary_resistance_ohm"
        ),
    ),
    (
        {"earthing.transformer_reactance_ohm": 5},
        (
            "earthing.transformer_reactance_ohm: there is no earthing transformer; take it out or"
            " give transformer_ratio and secondary_resistance_ohm"
        ),
    ),
    (
        {"earthing.temperature_rise_k": 600},
        (
            "earthing.temperature_coefficient_per_k: 0, and temperature_rise_k then changes"
            " nothing; give that of the alloy, as 0.001 for a stainless steel or 0.00012 for an"
            " aluminium-chromium steel"
        ),
    ),
]


@pytest.mark.parametrize(("changes", "fault"), FAULTS)
def test_a_fault_names_its_cure(changes: dict[str, Any], fault: str) -> None:
    assert faults_of(changes) == (fault,)
