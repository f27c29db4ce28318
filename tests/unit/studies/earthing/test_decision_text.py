"""The answer where a study counts damage: by what it is decided, among which options, and the
owner's table."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING, Any

import pytest

from montecarlo.study.description import Study
from studies.earthing.answer import signs_of
from studies.earthing.decision import best_of, lead, owners_tables
from studies.report.blocks import Table
from tests.made.studies import REMOVE, study_with

if TYPE_CHECKING:
    import pandas as pd

ENERGY = {"breaker_time_s": 0.08, "field_decay_time_constant_s": 1.0, "undetected_time_s": 60}
PARTS = {
    "proof_test_years": 2,
    "parts": [{"name": "relay", "paths": ["earth_element"], "dangerous_per_year": 0.01}],
}
ZONES = [{"name": "insulation", "current_a": 10, "time_s": 1}]
COST = {"missed_fault": 100, "false_trip": 10, "unit": "kEUR"}
DAMAGE: dict[str, Any] = {"fault_energy": ENERGY, "damage": {"zones": ZONES}}
DAMAGES = study_with(DAMAGE)
FAILURES = study_with({"dependability": PARTS})
COSTS = study_with(
    DAMAGE
    | {
        "policy.p_false_max": REMOVE,
        "policy.least_annual_cost": {**COST, "damage": {"at_reference": 5}},
    }
)


def option(name: str, damage_s: float, nobody: float, cost: float, **more: Any) -> dict[str, Any]:
    """A row as the table has it; half-widths a tenth of the value."""
    given = {
        "p_missed": 0.84,
        "p_nobody": nobody,
        "damage_mean_s": damage_s,
        "p_zone_1": 0.98,
        "p_zone_2": 0.02,
        "decision_cost_per_year": cost,
    }
    limits = {f"{key}_low": 0.9 * value for key, value in given.items()}
    limits |= {f"{key}_high": 1.1 * value for key, value in given.items()}
    return {
        "option": name,
        "candidate": 6,
        "scheme": "two_phase_one_earth",
        "phase_pickup_a": 0.1,
        "earth_pickup_a": 0.02,
        "stabilising_resistance_ohm": 200.0,
        "delay_s": 0.1,
        "first_slope": math.nan,
        "second_slope": math.nan,
        "turning_point_a": math.nan,
        **given,
        **limits,
        "p_false": 0.01,
        "p_false_low": 0.008,
        "p_false_high": 0.012,
        "p_false_bound": 0.009,
        "false_per_year": 0.012,
        "unwanted_per_year": 0.003,
        "p_backup": 0.8,
        "damage_after_opening_share": 0.12,
        "damage_nobody_share": 0.5,
        "protected_p95": 0.7,
        "keeps_capacitive_rule": True,
        "beyond_rating_share": 0.0,
    } | more


def gaps(rows: list[dict[str, Any]], half: float = 0.01) -> pd.DataFrame:
    """Paired differences of every two, each `half` of its size wide either way."""
    import pandas as pd

    found = []
    for one, other in combinations(rows, 2):
        for quantity in ("p_nobody", "damage_mean_s", "decision_cost_per_year"):
            gap = one[quantity] - other[quantity]
            room = half * abs(gap)
            found.append(
                {
                    "option": one["option"],
                    "minus": other["option"],
                    "quantity": quantity,
                    "difference": gap,
                    "low": gap - room,
                    "high": gap + room,
                }
            )
    return pd.DataFrame(found)


ROWS = [
    option("5 A", 3.2, 0.004, 9.0),
    option("100 A", 40.0, 0.003, 3.0),
    option("400 A", 700.0, 0.002, 5.0),
]
BEST = [(DAMAGES, "5 A"), (COSTS, "100 A"), (FAILURES, "400 A"), (study_with(), "5 A")]


def told(study: Study, rows: list[dict[str, Any]], half: float = 0.01) -> str:
    return " ".join(lead(study, rows, signs_of(gaps(rows, half))))


@pytest.mark.parametrize(("study", "name"), BEST)
def test_cost_decides_before_damage_and_damage_before_who_clears(study: Study, name: str) -> None:
    best = best_of(study, ROWS)
    assert best is not None
    assert best["option"] == name


def test_damage_is_in_seconds_of_the_reference_current() -> None:
    text = told(DAMAGES, ROWS)
    assert text.startswith(
        'Least mean damage: "5 A". An earth fault there does on average as much damage as 10 A in'
        " 3.2 (2.88 to 3.52) s. 12 % of that comes after the breaker has opened. 50 % comes from"
        ' faults that nobody clears. 2 % (1.8 to 2.2 %) of the earth faults end in "beyond the'
        ' zones". The differential scheme alone misses 84 % of the internal faults within its'
        " scope. There is no neutral back-up. Nobody clears 0.4 % (0.36 to 0.44 %). Fewest faults"
        ' that nobody clears: "400 A", 0.2 % (0.18 to 0.22 %). Its best setting: no. 6,'
    )
    assert "uncleared" not in text
    assert "Security: it trips falsely on 1 %" in text


def test_the_back_up_is_told_where_there_is_one() -> None:
    study = study_with(
        DAMAGE | {"backup": {"neutral_voltage": {"pickup_percent": 5, "delay_s": 0.5}}}
    )
    assert "The neutral back-up clears 80 %." in told(study, ROWS)


def test_costs_and_faults_that_nobody_clears_have_heads_of_their_own() -> None:
    assert told(COSTS, ROWS).startswith(
        'Least total cost: "100 A", 3 (2.7 to 3.3) kEUR a year. An earth fault there'
    )
    text = told(FAILURES, ROWS)
    assert text.startswith('Fewest faults that nobody clears: "400 A". The differential scheme')
    assert "damage" not in text


def test_nothing_significant_is_a_best_estimate() -> None:
    assert told(DAMAGES, ROWS, half=2.0).startswith(
        'Best estimate of mean damage: "5 A". No significant difference: "100 A" and "400 A".'
    )


def test_an_option_that_breaks_a_rule_is_left_out() -> None:
    rows = [
        option("5 A", 3.2, 0.004, 9.0, keeps_capacitive_rule=False),
        option("100 A", 40.0, 0.003, 3.0, beyond_rating_share=0.02),
        ROWS[2],
    ]
    text = told(DAMAGES, rows)
    assert text.startswith('Least mean damage: "400 A". An')  # nobody else is compared with it
    assert 'Left out of this answer: "5 A", R_N above 1/(3wC).' in text
    assert '"100 A", 2 % of its earth faults heat the resistor beyond its rating.' in text
    none = told(DAMAGES, rows[:2])
    assert none.startswith('Least mean damage: "5 A".')
    assert "No option keeps both" in none
    assert "Left out" not in none


def test_a_resistor_without_a_rating_is_not_left_out() -> None:
    rows = [option("5 A", 3.2, 0.004, 9.0, beyond_rating_share=math.nan), *ROWS[1:]]
    assert told(DAMAGES, rows).startswith('Least mean damage: "5 A".')


def test_the_option_with_fewer_faults_that_nobody_clears_is_named_too() -> None:
    text = told(DAMAGES, ROWS)
    assert 'Fewest faults that nobody clears: "400 A", 0.2 % (0.18 to 0.22 %).' in text
    rows = [option("5 A", 3.2, 0.001, 9.0), *ROWS[1:]]
    assert "Fewest faults" not in told(DAMAGES, rows)
    assert told(FAILURES, ROWS).count("Fewest faults") == 1


def test_it_says_why_nobody_clears_and_where_damage_ends() -> None:
    rows = [row | {"damage_failed_share": 0.4} for row in ROWS]
    text = told(study_with(DAMAGE | {"dependability": PARTS}), rows)
    assert "12 % of that comes after the breaker has opened. 50 % comes from faults that" in text
    assert "nobody clears: 10 % as no path sees them, 40 % as parts have failed." in text
    assert '2 % (1.8 to 2.2 %) of the earth faults end in "beyond the zones".' in text


def test_it_says_where_the_scheme_is_in_vain() -> None:
    rows = [row | {"protected_p95": 0.0} for row in ROWS]
    assert "no element of the scheme detects an earth fault" in told(DAMAGES, rows)
    assert "no element" not in told(DAMAGES, ROWS)


def test_no_option_with_a_setting() -> None:
    rows = [option(name, math.nan, math.nan, math.nan, p_missed=math.nan) for name in "ab"]
    assert told(DAMAGES, rows) == "No option has a setting that the policy allows."
    assert owners_tables(DAMAGES, rows) == []


def tables(study: Study, rows: list[dict[str, Any]]) -> dict[str, Table]:
    return {one.caption: one for one in owners_tables(study, rows) if isinstance(one, Table)}


def test_the_owner_s_tables_have_all_that_is_weighed() -> None:
    found = tables(COSTS, ROWS)
    assert {name: (one.header, one.rows[0]) for name, one in found.items()} == {
        "Faults": (
            (
                "option",
                "missed %",
                "nobody clears %",
                "damage, s of 10 A",
                "total cost, kEUR a year",
            ),
            ("5 A", "84 (75.6-92.4)", "0.4 (0.36-0.44)", "3.2 (2.88-3.52)", "9 (8.1-9.9)"),
        ),
        "Where earth faults end": (
            ("option", "insulation %", "beyond the zones %"),
            ("5 A", "98 (88-110)", "2 (1.8-2.2)"),
        ),
        "Rules and unwanted trips": (
            ("option", "R_N rule", "beyond rating %", "unwanted a year"),
            ("5 A", "kept", "0", "0.015"),
        ),
    }


def test_the_owner_s_tables_have_what_the_study_has() -> None:
    assert owners_tables(study_with(), ROWS) == []
    blank = option("none", math.nan, math.nan, math.nan, p_missed=math.nan)
    unrated = [row | {"beyond_rating_share": math.nan} for row in (*ROWS, blank)]
    faults, rules = tables(FAILURES, unrated).values()
    assert faults.header == ("option", "missed %", "nobody clears %")
    assert faults.rows[-1] == ("none", "-", "-")
    assert faults.notes[0] == (
        "each at its best setting: chosen by missed faults and false trips alone"
    )
    assert rules.header == ("option", "R_N rule", "unwanted a year")
    assert rules.rows[-1] == ("none", "kept", "-")
