"""What a comparison of earthing options says: the numbers of its rows, and no more than the
intervals show."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING, Any

from studies.earthing.text import conclusion

if TYPE_CHECKING:
    import pandas as pd

NAN = math.nan


def option(name: str, missed: float, joule: float, **more: Any) -> dict[str, Any]:
    """A row as the table has it; half-widths a tenth of the value."""
    return {
        "option": name,
        "p_missed": missed,
        "p_missed_low": 0.9 * missed,
        "p_missed_high": 1.1 * missed,
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
    return " ".join(conclusion(rows, gaps(rows, half)))


def test_least_and_most_with_their_limits() -> None:
    text = told(THREE)
    assert '"400 A" misses least, 10 % (9 to 11 %) of the internal faults within reach' in text
    assert '"10 A" misses most, 80 % (72 to 88 %).' in text
    assert (
        '"10 A" burns least, 500 (450-550) J on average in an earth fault; "400 A" burns most, 400'
        " (360-440)" in text
    )
    assert "no option burns more than another without missing fewer faults" in text
    assert 'drives 5 A with "10 A" to 4e+03 A with "400 A"' in text
    assert "between 0.95 and 1.05 times rated phase voltage" in text
    assert "Every option keeps R_N <= 1/(3wC) = 1000 ohm." in text
    assert 3 <= len(list(conclusion(THREE, gaps(THREE)))) <= 6


def test_what_is_not_distinguishable_is_not_claimed() -> None:
    close = [option("a", 0.400, 30e3), option("b", 0.401, 31e3), option("c", 0.8, 90e3)]
    frame = gaps(close)
    pair = (frame["option"] == "a") & (frame["minus"] == "b")
    frame.loc[pair, ["low", "high"]] = [[-0.1, 0.1], [-5e3, 5e3]]
    text = " ".join(conclusion(close, frame))
    assert '"a" misses least, 40 % (36 to 44 %) of the' in text
    assert 'internal faults within reach (not distinguishable at 95 %: "b")' in text
    assert (
        '"a" burns least, 30 (27-33) kJ on average in an earth fault (not distinguishable at 95 %:'
        ' "b")' in text
    )
    assert (
        '"c" burns more than "a" and "b", without missing fewer faults as far as the intervals'
        " show." in text
    )


def test_nothing_distinguishable_at_all() -> None:
    text = told(THREE, half=2.0)
    assert '"400 A" misses 10 % (9 to 11 %) of the' in text
    assert "internal faults within reach, and no option is distinguishable from it at 95 %" in text
    assert "least" not in text
    assert "most," not in text


def test_an_option_that_burns_more_and_misses_no_fewer_is_named_whichever_comes_first() -> None:
    alike = [option("dear", 0.8, 90e3), option("cheap", 0.8, 500.0)]
    sentence = (
        '"dear" burns more than "cheap", without missing fewer faults as far as the intervals show.'
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
            beyond_rating_share=0.0,
        ),
        option("100 A", 0.4, 30e3, beyond_rating_share=0.02),
    ]
    text = told(rows)
    assert (
        'R_N <= 1/(3wC) = 1000 ohm is not kept by "10 A" (2000 ohm); the resistor takes more heat'
        in text
    )
    assert 'in 2 % with "100 A" of the sampled earth faults.' in text
    assert "no sampled earth fault heats" in told([rows[0], option("b", 0.4, 30e3)])
    unknown = [option("10 A", 0.8, 500.0, capacitive_limit_ohm=math.inf), option("b", 0.4, 30e3)]
    assert "No capacitance is given" in told(unknown)


def test_an_option_without_a_setting_is_told_and_left_out() -> None:
    blank = option("10 A", NAN, NAN, terminal_fault_a_median=10.0, unseen_share_of_fault_energy=NAN)
    text = told([blank, *THREE[1:]])
    assert text.startswith('With "10 A" no candidate can be chosen')
    assert '"100 A" misses most' in text
    assert "nan" not in text


def test_no_option_with_a_setting() -> None:
    rows = [
        option(name, NAN, NAN, unseen_share_of_fault_energy=NAN, terminal_fault_a_median=10.0)
        for name in "ab"
    ]
    text = " ".join(conclusion(rows, gaps([])))
    assert text.startswith('With "a" and "b" no candidate can be chosen')
    assert "misses least" not in text
    assert "A solid fault at the terminals drives 10 A" in text
