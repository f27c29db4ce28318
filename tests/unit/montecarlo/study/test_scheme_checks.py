"""What the door says of schemes, their CTs, leads and grids: key, value, cure; and what is told of
a scheme."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.circuits import Circuit, leg_ohm, scheme_of
from studies.nominal.desk import Desk
from studies.nominal.text import hand_calculation
from studies.report.blocks import Block, Table
from tests.made.said import check_text
from tests.made.studies import REMOVE, faults_of, study_with

BIASED: dict[str, Any] = {
    "scheme.kind": "biased",
    "candidates": {"phase_pickup_a": [0.1], "first_slope": [0.2]},
}
REF: dict[str, Any] = {
    "scheme.kind": "restricted_earth_fault",
    "candidates": {"earth_pickup_a": [0.1]},
    "ct.neutral_conductor": {},
}


def without(changes: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in changes.items() if key not in keys}


# --- biased -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            BIASED | {"candidates.first_slope": REMOVE},
            (
                "candidates.first_slope: missing; the scheme biased has biased elements, name their"
                " slopes, as [0.1, 0.2]"
            ),
        ),
        (
            {"candidates.first_slope": [0.1]},
            (
                "candidates.first_slope: [0.1], but two_phase_one_earth has no biased element; take"
                " it out or name a scheme that has one"
            ),
        ),
        (
            BIASED | {"candidates.second_slope": [0.5]},
            (
                "candidates.turning_point_a: missing; a second slope and the bias current where it"
                " begins go together"
            ),
        ),
        (
            BIASED | {"candidates.turning_point_a": [1.0]},
            (
                "candidates.second_slope: missing; a second slope and the bias current where it"
                " begins go together"
            ),
        ),
        (
            BIASED | {"candidates.earth_pickup_a": [0.1]},
            (
                "candidates.earth_pickup_a: [0.1], but biased has no earth element; take it out or"
                " name a scheme that has one"
            ),
        ),
        (
            BIASED | {"candidates.stabilising_resistance_ohm": [0, 300]},
            (
                "candidates.stabilising_resistance_ohm: [0, 300], but biased has no relay"
                " circuit for it; take it out or name a scheme that has one"
            ),
        ),
        (
            BIASED | {"candidates.existing": {"phase_pickup_a": 0.1}},
            "candidates.existing.first_slope: missing; give the existing slope",
        ),
        (
            BIASED
            | {
                "candidates.existing": {
                    "phase_pickup_a": 0.1,
                    "first_slope": 0.1,
                    "second_slope": 0.3,
                }
            },
            "candidates.existing.turning_point_a: missing; a second slope and the bias current"
            " where it begins go together",
        ),
        (
            BIASED
            | {
                "candidates.existing": {
                    "phase_pickup_a": 0.1,
                    "first_slope": 0.1,
                    "turning_point_a": 0.3,
                }
            },
            "candidates.existing.second_slope: missing; a second slope and the bias current"
            " where it begins go together",
        ),
        (
            BIASED
            | {
                "candidates.existing": {
                    "phase_pickup_a": 0.1,
                    "first_slope": 0.1,
                    "stabilising_resistance_ohm": 50,
                }
            },
            (
                "candidates.existing.stabilising_resistance_ohm: 50 ohm, but biased has no relay"
                " circuit for it; take it out"
            ),
        ),
        (
            {
                "candidates.existing": {
                    "phase_pickup_a": 0.1,
                    "earth_pickup_a": 0.1,
                    "first_slope": 0.1,
                }
            },
            (
                "candidates.existing.first_slope: 0.1, but two_phase_one_earth has no biased"
                " element; take it out"
            ),
        ),
        (
            BIASED | {"candidates.first_slope": [0.1, 20]},
            "candidates.first_slope: 20, must be at least 0 and at most 2; give such a value:"
            " first slopes of biased elements: bias over bias current",
        ),
    ],
)
def test_slopes_belong_to_biased_elements(changes: dict[str, Any], line: str) -> None:
    assert faults_of(changes) == (line,)


@pytest.mark.parametrize("core", [0.5, {"dist": "uniform", "low": 0.2, "high": 0.4}])
def test_the_neutral_conductor_s_ct_may_inherit_a_return_core_that_it_does_not_have(
    core: Any,
) -> None:
    assert study_with(REF | {"ct.return_core_ohm": core})


def test_a_grid_may_serve_one_of_several_schemes() -> None:
    both = {
        "scheme.kind": ["biased", "per_phase"],
        "candidates": {
            "phase_pickup_a": [0.1],
            "first_slope": [0.2],
            "stabilising_resistance_ohm": [0, 300],
        },
    }
    assert study_with(both).scheme.kinds == ("biased", "per_phase")


# --- kinds and CTs ------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            without(REF, "ct.neutral_conductor"),
            (
                "ct.neutral_conductor: missing; the scheme restricted_earth_fault uses the"
                " neutral CT: add the table [ct.neutral_conductor], empty if the values of [ct]"
                " hold there too"
            ),
        ),
        (
            REF | {"candidates.phase_pickup_a": [0.1]},
            (
                "candidates.phase_pickup_a: [0.1], but restricted_earth_fault has no phase element;"
                " take it out or name a scheme that has one"
            ),
        ),
        (
            REF | {"candidates.earth_pickup_a": REMOVE},
            (
                "candidates.earth_pickup_a: missing; the scheme restricted_earth_fault has an earth"
                " element, name its pick-ups in A secondary"
            ),
        ),
        (
            {"scheme.kind": ["per_phase", "two_phase_one_earth"], "candidates.first_slope": [0.1]},
            (
                "candidates.first_slope: [0.1], but per_phase and two_phase_one_earth have no"
                " biased element; take it out or name a scheme that has one"
            ),
        ),
        (
            {"scheme.phase_stabilising_ohm": 1e30},
            (
                "scheme.phase_stabilising_ohm: 1e+30 ohm is outside 0 ... 1e+06 ohm, the widest"
                " range seen in practice; is the unit prefix right?"
            ),
        ),
        ({"scheme.kind": "biasd"}, 'scheme.kind: "biasd" is unknown; did you mean biased?'),
        (
            {"scheme.kind": ["per_phase", "per_phase"]},
            'scheme.kind: ["per_phase", "per_phase"] names a scheme twice; leave each once',
        ),
        (
            REF | {"ct.neutral_conductor": {"return_core_ohm": 2.0}},
            (
                "ct.neutral_conductor.return_core_ohm: the neutral CT has a return core of its"
                " own, as long as its lead; take it out"
            ),
        ),
    ],
)
def test_schemes_have_their_cts_and_grids(changes: dict[str, Any], line: str) -> None:
    assert faults_of(changes) == (line,)


# --- burdens ------------------------------------------------------------------


@pytest.mark.parametrize("axis", ["phase", "earth"])
def test_a_burden_is_in_ohms_or_in_va(axis: str) -> None:
    assert faults_of({f"relay.{axis}_burden_va": 1.0}) == (
        (
            f"relay.{axis}_burden_va: relay.{axis}_burden_ohm is given as well; give the burden in"
            " VA at setting or in ohms"
        ),
    )


def test_check_tells_how_many_circuits_a_grid_needs() -> None:
    grid = {
        "candidates": {
            "phase_pickup_a": [0.1, 0.2],
            "earth_pickup_a": [0.02, 0.05, 0.1],
            "stabilising_resistance_ohm": [0, 300],
        }
    }
    assert "12 candidates on 2 relay circuits" in check_text(study_with(grid))
    va = {
        f"relay.{axis}_burden_{unit}": value
        for axis in ("phase", "earth")
        for unit, value in (("ohm", REMOVE), ("va", 0.1))
    }
    assert "12 candidates on 12 relay circuits" in check_text(study_with(grid | va))
    earth_only = {key: value for key, value in va.items() if "earth" in key}
    assert "12 candidates on 6 relay circuits" in check_text(study_with(grid | earth_only))
    one = {"phase_pickup_a": [0.1], "earth_pickup_a": [0.02], "stabilising_resistance_ohm": [0]}
    assert "1 candidate on 1 relay circuit;" in check_text(study_with(candidates=one))


def test_a_burden_in_va_that_is_a_distribution_is_divided_in_every_sample() -> None:
    va = {
        "relay.phase_burden_va": {"dist": "uniform", "low": 0.5, "high": 2.0},
        "relay.phase_burden_ohm": REMOVE,
        "relay.earth_burden_va": {"dist": "lognormal", "median": 1.0, "sigma": 0.2},
        "relay.earth_burden_ohm": REMOVE,
    }
    study = study_with(va)
    inputs = {item.key: item.varies for item in list_inputs(study)}
    assert inputs["relay.phase_burden_va"] == inputs["relay.earth_burden_va"] == "installation"
    samples = {
        item.key: np.full(2 if item.width == 1 else (2, item.width), item.distribution.centre())
        for item in list_inputs(study)
    }
    samples |= {
        "relay.phase_burden_va": np.array([0.5, 1.5]),
        "relay.earth_burden_va": np.array([1.0, 2.0]),
    }
    ohm = leg_ohm(study, Circuit("two_phase_one_earth", 300.0, 0.1, 0.05), samples)
    assert ohm == pytest.approx(
        np.array([[50, 50, 50, 700], [150, 150, 150, 1100]])
    )  # balancing alike


# --- matched ratios at the desk -----------------------------------------------


def dimensions(block: Block) -> bool:
    """CT dimensioning, in the CTs' own amperes."""
    return isinstance(block, Table) and "K_td" in block.header


def test_the_desk_sees_matched_cts_as_those_of_the_same_ratio() -> None:
    plain: dict[str, Any] = {"ct.knee_voltage_v": 300.0, "ct.lead_resistance_ohm": 1.0}
    five = {
        "secondary_a": 5,
        "ratio_matching": 0.2,
        "knee_voltage_v": 60.0,
        "knee_current_a": 0.15,
        "lead_resistance_ohm": 0.04,
        "winding_resistance_ohm": 0.2,
    }
    one, other = study_with(plain), study_with(plain | {"ct.line_end": five})
    blocks = [
        [block for block in hand_calculation(Desk(study)) if not dimensions(block)]
        for study in (one, other)
    ]
    assert blocks[0] == blocks[1]
    bases = [
        check_text(study).partition("SETTINGS IN FOUR BASES")[2].partition("EARTH FAULTS")[0]
        for study in (one, other)
    ]
    assert bases[0] == bases[1]
    assert ["phase", "0.1", "150", "10", "0.1143"] in [
        line.split() for line in bases[1].splitlines()
    ]


def test_a_scheme_keeps_the_matching_of_its_cts() -> None:
    study = study_with(REF | {"ct.neutral_conductor": {"secondary_a": 5, "ratio_matching": 0.2}})
    scheme = scheme_of(study, "restricted_earth_fault")
    assert scheme.table.tolist() == [[-1, -1, -1, 0.2]]
    assert scheme.matching == (1, 1, 1, 0.2)
