"""What a comparison of earthing options says: the numbers of its rows, and no more than the
intervals show."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING, Any

from studies.earthing.answer import answer, signs_of
from studies.earthing.text import further
from tests.made.studies import study_with

if TYPE_CHECKING:
    import pandas as pd

NAN = math.nan
STUDY = study_with()
SETTING = {
    "scheme": "two_phase_one_earth",
    "phase_pickup_a": 0.1,
    "earth_pickup_a": 0.02,
    "stabilising_resistance_ohm": 200.0,
    "delay_s": 0.1,
    "first_slope": NAN,
    "second_slope": NAN,
    "turning_point_a": NAN,
}


def option(name: str, missed: float, joule: float, **more: Any) -> dict[str, Any]:
    """A row as the table has it; half-widths a tenth of the value."""
    return {
        "option": name,
        "candidate": 6,
        **SETTING,
        "p_missed": missed,
        "p_missed_low": 0.9 * missed,
        "p_missed_high": 1.1 * missed,
        "p_false": 0.01,
        "p_false_low": 0.008,
        "p_false_high": 0.012,
        "p_false_bound": 0.009,
        "fault_energy_j_mean": joule,
        "fault_energy_j_mean_low": 0.9 * joule,
        "fault_energy_j_mean_high": 1.1 * joule,
        "unseen_share_of_fault_energy": 0.5,
        "terminal_fault_a_median": joule / 100,
        "terminal_displacement_p05": 0.95,
        "terminal_displacement_p95": 1.05,
        "capacitive_limit_ohm": 1000.0,
        "keeps_capacitive_rule": True,
        "neutrals_ohm": 30.0,
        "largest_neutrals_ohm": 30.0,
        "beyond_rating_share": NAN,
    } | more


def gaps(rows: list[dict[str, Any]], half: float = 0.01) -> pd.DataFrame:
    """Paired differences of every two, each `half` of its size wide either way but at least
    1e-6."""
    import pandas as pd

    found = []
    for one, other in combinations(rows, 2):
        for quantity, column in (
            ("p_missed", "p_missed"),
            ("fault_energy_j", "fault_energy_j_mean"),
        ):
            gap = one[column] - other[column]
            room = max(half * abs(gap), 1e-6)
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


THREE = [option("10 A", 0.8, 500.0), option("100 A", 0.4, 30e3), option("400 A", 0.1, 400e3)]


def told(rows: list[dict[str, Any]], half: float = 0.01) -> str:
    signs = signs_of(gaps(rows, half))
    return " ".join([*answer(STUDY, rows, signs), *further(STUDY, rows, signs)])


def test_the_option_that_misses_least_comes_first() -> None:
    assert told(THREE).startswith(
        'Fewest missed faults: "400 A".'
        " Its mean energy in an earth fault is 400 kJ (360 to 440). Its best setting: no. 6,"
        " phase 0.1 A, earth 0.02 A, 200 ohm, 0.1 s. Dependability: it leaves"
        " 10 % (9 to 11 %) of the faults in its scope uncleared: 0.00099 a year"
    )


def test_least_and_most_with_their_limits() -> None:
    text = told(THREE)
    assert 'Most missed faults: "10 A", 80 % (72 to 88 %) of the internal' in text
    assert 'Least energy in the fault: "10 A", 500 J (450 to 550) on average.' in text
    assert 'Most energy in the fault: "400 A", 400 kJ (360 to 440) on average.' in text
    assert "Every option with significantly more energy misses significantly fewer faults." in text
    assert 'solid fault at the terminals: 5 A with "10 A" to 4e+03 A with "400 A".' in text
    assert "0.95 to 1.05 times rated phase voltage" in text
    assert "Every option keeps R_N <= 1/(3wC) = 1000 ohm." in text
    assert "this setting keeps to 0.9 % with 95 % confidence." in text


def test_no_energy_has_a_limit_below_0() -> None:
    first = option("a", 0.1, 500.0, fault_energy_j_mean_low=-20.0)
    assert "500 J (0 to 550)" in told([first, *THREE])


def test_what_is_not_significant_is_not_claimed() -> None:
    close = [option("a", 0.400, 30e3), option("b", 0.401, 31e3), option("c", 0.8, 90e3)]
    frame = gaps(close)
    pair = (frame["option"] == "a") & (frame["minus"] == "b")
    frame.loc[pair, ["low", "high"]] = [[-0.1, 0.1], [-5e3, 5e3]]
    signs = signs_of(frame)
    text = " ".join([*answer(STUDY, close, signs), *further(STUDY, close, signs)])
    assert 'Best estimate of missed faults: "a". No significant difference: "b".' in text
    assert '"a", 30 kJ (27 to 33) on average. No significant difference: "b".' in text
    assert (
        'With "c" a fault has more energy than with "a" and "b", and missed faults are not'
        " significantly fewer." in text
    )


def test_nothing_significant_at_all() -> None:
    text = told(THREE, half=2.0)
    assert text.startswith('Best estimate of missed faults: "400 A". No significant difference: "1')


def test_an_option_of_more_energy_that_misses_no_fewer_is_named_whichever_comes_first() -> None:
    alike = [option("dear", 0.8, 90e3), option("cheap", 0.8, 500.0)]
    sentence = (
        'With "dear" a fault has more energy than with "cheap", and missed faults are not'
        " significantly fewer."
    )
    assert sentence in told(alike)
    assert sentence in told(alike[::-1])


def test_rule_and_rating() -> None:
    rows = [
        option(
            "10 A",
            0.8,
            500.0,
            keeps_capacitive_rule=False,
            neutrals_ohm=2000.0,
            largest_neutrals_ohm=2000.0,
            beyond_rating_share=0.0,
        ),
        option("100 A", 0.4, 30e3, beyond_rating_share=0.02),
    ]
    text = told(rows)
    hybrid = rows[0] | {"neutrals_ohm": 30.0}
    assert '"10 A" (2000 ohm after the trip) does not keep' in told([hybrid, rows[1]])
    assert (
        '"10 A" (2000 ohm) does not keep R_N <= 1/(3wC) = 1000 ohm. Earth faults that heat the'
        ' resistor beyond its rating I^2 t: 2 % with "100 A".' in text
    )
    assert "No sampled earth fault heats" in told([rows[0], option("b", 0.4, 30e3)])
    unknown = [option("10 A", 0.8, 500.0, capacitive_limit_ohm=math.inf), option("b", 0.4, 30e3)]
    assert "No capacitance is given" in told(unknown)


def test_an_option_without_a_setting_is_told_and_left_out() -> None:
    blank = option("10 A", NAN, NAN, terminal_fault_a_median=10.0, unseen_share_of_fault_energy=NAN)
    text = told([blank, *THREE[1:]])
    assert 'No setting can be chosen with "10 A";' in text
    assert 'Most missed faults: "100 A"' in text
    assert "nan" not in text


def test_no_option_with_a_setting() -> None:
    rows = [
        option(name, NAN, NAN, unseen_share_of_fault_energy=NAN, terminal_fault_a_median=10.0)
        for name in "ab"
    ]
    signs = signs_of(gaps([]))
    assert [*answer(STUDY, rows, signs)] == ["No option has a setting that the policy allows."]
    text = " ".join(further(STUDY, rows, signs))
    assert text.startswith('No setting can be chosen with "a" and "b"')
    assert "missed faults:" not in text
    assert "Median current of a solid fault at the terminals: 10 A" in text
