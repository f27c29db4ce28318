"""Values far from where they usually lie: told with range, source and what may be meant."""

from __future__ import annotations

from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import pytest

from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from montecarlo.study.usual import USUAL, unusual, usual_cautions
from tests.made.starter import STARTER
from tests.made.studies import REMOVE, study_with

ROOT = Path(__file__).parents[4]
FILES = [STARTER, *sorted((ROOT / "configs").glob("*.toml"))]


def told(study: Study) -> list[tuple[str, str]]:
    return [(caution.key, caution.text) for caution in usual_cautions(study)]


def band(half: float) -> dict[str, Any]:
    return {"dist": "uniform", "low": -half, "high": half}


SLIPS: list[tuple[str, Any, str]] = [
    (
        "ct.remanence_percent",
        band(0.7),
        (
            "It reaches 0.7 %. Usual is 1 to 100 % (surveys up to 80 %: IEEE C37.110-2007, as"
            " quoted in secondary sources); is 70 % meant?"
        ),
    ),
    ("ct.turns_ratio_error_percent", band(0.0025), "is 0.25 % meant?"),
    ("ct.knee_current_a", 3e-5, "is 0.03 A meant?"),
    ("ct.knee_voltage_v", 3e5, "is 300 V meant?"),
    ("ct.winding_resistance_ohm", 0.005, "is 5 ohm meant?"),
    ("ct.lead_resistance_ohm", 800.0, "is 0.8 ohm meant?"),
    ("relay.pickup_error_percent", band(0.02), "is 2 % meant?"),
    ("machine.synchronous_reactance_pu", 4.5, "It is 4.5 pu. Usual is 0.3 to 3.5 pu"),
    ("machine.subtransient_time_constant_s", 0.5, "Usual is"),
    (
        "machine.winding_resistance_ohm",
        2.0,
        "It is 0.413 pu of the machine's rating",
    ),  # base 11²/25 ohm
    ("machine.stator_capacitance_f", 0.2e-9, "is 2e-07 F meant?"),
    ("network.reactance_pu", 30.0, "is 0.3 pu meant?"),
    ("earthing.resistance_ohm", 0.0212, "It is 3e+05 A at rated phase voltage"),
    ("internal_faults.per_year", 1.0, "is 0.01 a year meant?"),
    ("external_events.far_fault.external_reactance_pu", 15.0, "is 0.15 pu meant?"),
    ("external_events.far_fault.external_resistance_pu", 1.5, "is 0.015 pu meant?"),
    ("external_events.far_fault.clearing_time_s", 0.0001, "is 0.1 s meant?"),
    (
        "policy.p_false_max",
        0.5,
        "It is 0.5. Usual is 1e-07 to 0.05 (common practice, no source); is 0.005 meant?",
    ),
    ("candidates.phase_pickup_a", [0.1, 10.0], "It is 10 times the relay's rated current"),
    ("candidates.earth_pickup_a", [1e-4, 0.1], "is 0.01 times the relay's rated current meant?"),
    ("candidates.stabilising_resistance_ohm", [0, 0.3], "is 300 ohm meant?"),
    ("states.overload_current_pu", 0.012, "is 1.2 pu meant?"),
    ("study.unresolved_share_max", 1.0, "is 0.01 meant?"),
    ("internal_faults.phase_fault_resistance_ohm", 20.0, "is 0.02 ohm meant?"),
    ("scheme.phase_stabilising_ohm", 0.2, "is 200 ohm meant?"),
]


@pytest.mark.parametrize(("key", "value", "words"), SLIPS)
def test_a_slip_is_told_under_its_key_and_nothing_else_is(key: str, value: Any, words: str) -> None:
    ((place, text),) = told(study_with({key: value}))
    assert place == key
    assert words in text


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_worked_study_lies_where_studies_usually_lie(path: Path) -> None:
    study = read_study(path)
    others = (*study.alternative_studies, *study.options, *study.assumption_sets)
    assert not [found for one in (study, *(other for _, other in others)) for found in told(one)]


def test_zero_is_what_is_left_out() -> None:
    zero = (
        "ct.remanence_percent",
        "ct.turns_ratio_error_percent",
        "ct.knee_current_a",
        "ct.lead_resistance_ohm",
        "machine.stator_capacitance_f",
        "relay.pickup_error_percent",
    )
    assert not unusual(study_with(dict.fromkeys(zero, 0)))


def test_a_range_holds_its_ends() -> None:
    assert not unusual(study_with({"ct.remanence_percent": band(1.0), "policy.p_false_max": 0.05}))


def test_a_place_with_the_value_of_ct_is_told_once() -> None:
    found = unusual(
        study_with(
            {
                "ct.remanence_percent": band(0.7),
                "ct.neutral_conductor": {},
                "ct.line_end": {"winding_resistance_ohm": 0.001},
            }
        )
    )
    assert [one.key for one in found] == [
        "ct.remanence_percent",
        "ct.line_end.winding_resistance_ohm",
    ]


def test_a_current_limit_is_told_under_its_own_key() -> None:
    ((key, text),) = told(
        study_with({"earthing.resistance_ohm": REMOVE, "earthing.current_limit_a": 0.3})
    )
    assert key == "earthing.current_limit_a"
    assert "is 300 A at rated phase voltage meant?" in text


def test_an_angle_in_radians_is_asked_for_in_degrees() -> None:
    event = {
        "name": "closing",
        "kind": "out_of_phase_closing",
        "per_year": 0.1,
        "angle_deg": 3.14159,
        "external_reactance_pu": 0.2,
        "clearing_time_s": 0.1,
    }
    ((key, text),) = told(study_with({"external_events": [event]}))
    assert key == "external_events.closing.angle_deg"
    assert text.endswith("is 180 deg meant?")


def test_a_small_tolerance_is_asked_for_its_unit() -> None:
    share = {"nominal": 21.2, "tolerance_percent": 0.1, "shape": "uniform"}
    ((key, text),) = told(study_with({"earthing.resistance_ohm": share}))
    assert key == "earthing.resistance_ohm"
    assert text.endswith("is 10 % meant?")
    assert not list(told(study_with({"earthing.resistance_ohm": share | {"tolerance_percent": 1}})))


def test_every_range_is_a_range_of_keys_that_there_are() -> None:
    page = (ROOT / "configs" / "REFERENCE.md").read_text(encoding="utf-8")
    keys = {
        line.split("`")[1]: line.split("|")[2].strip()
        for line in page.splitlines()
        if line.startswith("| `")
    }
    for usual in USUAL:
        assert 0 < usual.low < usual.high
        assert usual.source
        name = usual.pattern.rpartition(".")[2]
        units = {
            unit.replace("1/year", "a year") for key, unit in keys.items() if fnmatchcase(key, name)
        }
        assert usual.unit in units, usual.pattern
