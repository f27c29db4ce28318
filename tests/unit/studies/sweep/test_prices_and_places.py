"""What one step of a setting changes, other laws of the fault's place, and how much better another
setting may be: tables and sentences."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

from montecarlo.estimates.optimality import Gap
from montecarlo.estimates.place_laws import LAWS, Kind
from montecarlo.estimates.verdicts import Verdict
from studies.report.blocks import Table
from studies.sweep.gap import gap_sentences
from studies.sweep.place_laws import other_choices, place_range, place_table
from studies.sweep.prices import prices_table
from tests.made.reading import words as count_words

DOWN: dict[str, Any] = {
    "setting": "earth_pickup_a",
    "step": "down",
    "chosen_value": 0.02,
    "value": 0.015,
    "candidate": 7,
    "p_missed_change": -0.0312,
    "p_missed_change_low": -0.034,
    "p_missed_change_high": -0.028,
    "p_false_change": 4e-4,
    "p_false_change_low": 1e-4,
    "p_false_change_high": 9e-4,
    "missed_verdict": Verdict.APART,
    "false_verdict": Verdict.APART,
    "missed_per_false": 78.0,
    "false_power": -3.456,
    "power_points": 4,
    "batch": 2,
}
DELAY = DOWN | {
    "setting": "delay_s",
    "step": "up",
    "chosen_value": 0.1,
    "value": 0.2,
    "candidate": 8,
    "false_verdict": Verdict.ALIKE,
    "missed_per_false": math.nan,
    "false_power": math.nan,
}


def test_steps_in_a_table() -> None:
    (table,) = prices_table(pd.DataFrame([DOWN, DELAY]))
    assert isinstance(table, Table)
    first, second = table.rows
    assert first[:4] == ("earth pick-up", "0.02 A", "0.015 A", "7")
    assert first[4] == "-3.12 (-3.4 to -2.8)"
    assert first[5] == "+0.4 (+0.1 to +0.9)"
    assert first[6] == "7.8"  # points for one more false trip in 1,000 events
    assert second[5:] == ("not shown (+0.1 to +0.9)", "not shown")
    assert any("1 % more earth pick-up makes 3.5 % fewer" in note for note in table.notes)
    assert not any("delay" in note for note in table.notes)


def test_an_exchange_that_no_step_shows_has_no_column() -> None:
    (table,) = prices_table(pd.DataFrame([DELAY]))
    assert isinstance(table, Table)
    assert len(table.header) == len(table.rows[0]) == len(table.align) == 6


def test_without_a_step_there_is_no_table() -> None:
    assert prices_table(pd.DataFrame()) == []


def places(factor: float = 1.0, best: int | None = None) -> pd.DataFrame:
    """The chosen setting and the existing one under every law; another one best under the last."""
    rows = [
        {
            "law": law.kind.value,
            "factor": law.factor,
            "exponent": law.exponent,
            "flat_share": law.flat,
            "role": role,
            "candidate": number,
            "p_missed_earth": 0.1,
            "p_missed": factor * (0.05 + 0.01 * k),
        }
        for role, number in (("chosen", 3), ("existing", 9))
        for k, law in enumerate(LAWS)
    ]
    if best is not None:
        rows.append(rows[len(LAWS) - 1] | {"role": "best", "candidate": best})
    return pd.DataFrame(rows)


def test_the_range_over_laws_in_a_sentence() -> None:
    least, most = (
        next(k for k, law in enumerate(LAWS) if law.kind is kind and law.factor == 2)
        for kind in (Kind.LEAST, Kind.MOST)
    )
    (text,) = place_range(places(), 3)
    assert f"{5 + least} to {5 + most} % of the faults stay uncleared" in text
    assert count_words(text) <= 30


def test_another_law_may_choose_another_setting() -> None:
    assert not [*other_choices(places())]
    (text,) = other_choices(places(best=12))
    assert "no. 12 (voltage ageing, exponent 9)" in text


def test_laws_in_a_table() -> None:
    (table,) = place_table(places(best=12))
    assert isinstance(table, Table)
    assert table.header == ("law of the place", "chosen, no. 3", "existing, no. 9")
    assert len(table.rows) == len(LAWS)
    assert len({row[0] for row in table.rows}) == len(LAWS)
    assert table.rows[0] == ("as assumed", "5", "5")
    (tiny,) = place_table(places(1e-9))
    assert isinstance(tiny, Table)
    assert tiny.rows[0][1] == "< 0.01"


def test_without_earth_faults_nothing_is_said() -> None:
    assert place_table(pd.DataFrame()) == []
    assert not [*place_range(pd.DataFrame(), 3), *other_choices(pd.DataFrame())]


def gap(found: Gap | None, searched: bool = True) -> str:
    candidates = SimpleNamespace(found=("some",) if searched else ())
    study = SimpleNamespace(candidates=candidates)
    return " ".join(gap_sentences(SimpleNamespace(gap=found, study=study)))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("high", "words"),
    [
        (0.00432, "more than 0.43 percentage points fewer"),
        (1e-9, "more than 0.01 percentage points fewer"),
        (0.0, "leaves fewer faults uncleared, in any of 16"),
    ],
)
def test_the_gap_in_a_sentence(high: float, words: str) -> None:
    text = gap(Gap(high / 2, high, 31))
    assert words in text
    assert "30 other judged settings" in text
    assert count_words(text) <= 30


def test_a_gap_that_says_nothing_is_left_out() -> None:
    assert gap(None) == ""
    assert gap(Gap(0.0, 0.0, 1)) == ""
    assert gap(Gap(0.01, 0.02, 19), searched=False) == ""
    assert gap(Gap(0.01, 0.02, 20), searched=False)
