"""What the answer says of how far inputs may be off before another option is the best."""

from __future__ import annotations

from dataclasses import replace

import pytest

from montecarlo.engine.clearing_radius import BestOption, Turn
from montecarlo.frames.best_option import best_option_frame
from montecarlo.study.description import Study
from montecarlo.study.shifts import Way
from studies.earthing.radius import best_unless, radius_notes
from tests.made.studies import REMOVE, study_with

TIMES = {"breaker_time_s": 0.08, "field_decay_time_constant_s": 3.0, "undetected_time_s": 60}
DAMAGES = study_with({"fault_energy": TIMES, "damage": {"exponent": 1.5}})
COSTS = study_with(
    {
        "fault_energy": TIMES,
        "damage": {"exponent": 1.5},
        "policy.p_false_max": REMOVE,
        "policy.least_annual_cost": {
            "missed_fault": 100,
            "false_trip": 10,
            "unit": "kEUR",
            "damage": {"at_reference": 5},
        },
    }
)
NOBODY = study_with(
    {
        "dependability": {
            "proof_test_years": 2,
            "parts": [{"name": "relay", "paths": ["earth_element"], "dangerous_per_year": 0.01}],
        }
    }
)
ALL = ("5 A", "400 A")
TIME = Turn(
    "fault_energy.undetected_time_s",
    "s",
    ALL,
    Way.HIGHER,
    900.0,
    300.0,
    1500.0,
    600.0,
    "400 A",
    0.4,
)
RESISTOR = Turn(
    "earthing.resistance_ohm", "ohm", ("5 A",), Way.LOWER, 800.0, 80.0, 400.0, 80.0, "400 A", 0.7
)
STEADY = Turn("damage.exponent", "-", ALL, Way.LOWER, 1.5, 0.5, 0.475, None, None, 1.3)


def found(*turns: Turn) -> BestOption:
    return BestOption("5 A", ALL, turns, 5.0, 256)


def test_what_comes_first_stands_first() -> None:
    first, second = best_unless(DAMAGES, found(TIME, STEADY, RESISTOR))
    assert first.startswith('"400 A" has the least mean damage if the centre of the')
    assert 'with "5 A" lies below 720 ohm.' in first
    assert second.startswith('"400 A" has the least mean damage if the centre of the')
    assert "undetected time lies above 1500 s." in second


@pytest.mark.parametrize(
    ("study", "words"),
    [
        (DAMAGES, "least mean damage"),
        (COSTS, "least total cost"),
        (NOBODY, "fewest faults that nobody clears"),
    ],
)
def test_it_names_what_the_answer_is_decided_by(study: Study, words: str) -> None:
    (text,) = best_unless(study, found(STEADY))
    assert text == (
        f'"5 A" keeps the {words} whichever one input is off by up to 5 half-widths, or as far as'
        " its values are possible."
    )
    assert f"has the {words} if" in next(iter(best_unless(study, found(TIME))))


def test_at_most_three_inputs_are_named() -> None:
    many = [replace(TIME, stands_to=100.0 * k) for k in range(1, 6)]
    assert len([*best_unless(DAMAGES, found(*many))]) == 3


def test_without_a_radius_nothing_is_said() -> None:
    assert not [*best_unless(DAMAGES, None), *radius_notes(None)]
    (note,) = radius_notes(found(STEADY))
    assert "256 faults of a type" in note
    assert "up to 5 half-widths or as far as its values are possible" in note


def test_the_table_gives_centres_and_half_widths() -> None:
    frame = best_option_frame(found(STEADY, TIME, RESISTOR))
    assert [*frame["input"]] == [RESISTOR.key, TIME.key, STEADY.key]
    own, time, steady = frame.to_dict("records")
    assert (own["options"], own["stands_to"], own["stands_to_half_widths"]) == ("5 A", 720.0, 1.0)
    assert (time["options"], time["stands_to"], time["looked_at"]) == ("all", 1500.0, 2400.0)
    assert steady["stands_to"] != steady["stands_to"]
    assert (steady["best_beyond"], steady["looked_at"]) == ("", 1.025)
