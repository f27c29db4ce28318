"""What a comparison of alternatives says, from invented tables: no sentence beyond its interval."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import PathCollection
from matplotlib.colors import to_hex

from montecarlo.estimates.verdicts import Verdict
from montecarlo.study.axes import OWN
from studies.alternatives.figures import PANELS, figures, height_mm, side_by_side_figure
from studies.alternatives.text import answer, further, gaps_table, results_table
from studies.report.look import look, pale, side_by_side
from tests.made.boxes import assert_text_is_readable
from tests.made.studies import REMOVE, study_with

SETTING = {
    "scheme": "two_phase_one_earth",
    "phase_pickup_a": 0.1,
    "earth_pickup_a": 0.05,
    "stabilising_resistance_ohm": 200.0,
    "delay_s": 0.0,
    "first_slope": np.nan,
    "second_slope": np.nan,
    "turning_point_a": np.nan,
    **dict.fromkeys(OWN, np.nan),
}
NONE = dict.fromkeys(SETTING, np.nan) | {"scheme": ""}


def row(name: str, missed: float = 0.2, false: float = 1e-3, **other: Any) -> dict[str, Any]:
    limits = {
        f"p_{what}{end}": value
        for what, p in (("missed", missed), ("false", false))
        for end, value in (("", p), ("_low", 0.9 * p), ("_high", 1.1 * p + 1e-4))
    }
    return {
        "alternative": name,
        **SETTING,
        **limits,
        "allowed": True,
        "p_false_bound": 2e-3,
    } | other


def gap(name: str, quantity: str, difference: float, half: float) -> dict[str, Any]:
    low, high = difference - half, difference + half
    return {
        "alternative": name,
        "minus": "as stated",
        "quantity": quantity,
        "difference": difference,
        "low": low,
        "high": high,
        "verdict": Verdict.ALIKE if low <= 0 <= high else Verdict.APART,
    }


def frames() -> tuple[pd.DataFrame, pd.DataFrame]:
    rows = [
        row("as stated"),
        row("larger resistor", 0.35, earth_pickup_a=0.1),
        row("new CTs", 0.201, 0.0),
        row("impossible", np.nan, np.nan, **(NONE | {"allowed": False})),
    ]
    gaps = [
        gap("larger resistor", "p_missed", 0.15, 0.01),
        gap("larger resistor", "p_false", 1e-5, 4e-5),
        gap("new CTs", "p_missed", 0.001, 0.004),
        gap("new CTs", "p_false", -0.001, 0.0003),
    ]
    return pd.DataFrame(rows), pd.DataFrame(gaps)


def said(table: pd.DataFrame, gaps: pd.DataFrame) -> list[str]:
    rows = table.to_dict("records")
    return [*answer(study_with(), rows, gaps), *further(study_with(), rows, gaps)]


def test_what_is_concluded() -> None:
    assert said(*frames()) == [
        (
            "No alternative significantly reduces missed faults, 20 % (18 to 22 %) in the study as"
            " stated."
        ),
        'The best setting changes with "larger resistor" and stays the same with the others.',
        (
            "As stated: two phase elements and an earth element, phase 0.1 A, earth 0.05 A, 200"
            " ohm, no delay."
        ),
        (
            "Dependability: it leaves 20 % (18 to 22 %) of the faults in its scope uncleared:"
            " 0.00198 a year (0.00178 to 0.00218), one in 505 years."
        ),
        (
            "Security: it trips falsely on 0.1 % (0.09 to 0.12 %) of the external events: 0.0012 a"
            " year (0.0011 to 0.0014), one in 830 years."
        ),
        (
            "The policy allows false trips on 1 % of the external events; this setting keeps to 0.2"
            " % with 95 % confidence."
        ),
        'More missed faults: "larger resistor".',
        'No significant difference in missed faults: "new CTs".',
        'Fewer false trips: "new CTs".',
        'No significant difference in false trips: "larger resistor".',
        'No setting can be chosen with "impossible".',
    ]


def test_without_any_choice_no_figure_is_drawn() -> None:
    without = pd.DataFrame([row("as stated", np.nan, np.nan, **NONE)])
    compared: Any = SimpleNamespace(table=without, differences=frames()[1].iloc[:0], results={})
    assert figures(compared) == {}


def test_the_largest_gain_comes_first() -> None:
    table, gaps = frames()
    better = gaps.assign(difference=-gaps["difference"])
    assert said(table, better)[0] == (
        '"larger resistor" reduces missed faults most: from 20 % (18 to 22 %) as stated to 35 %'
        " (31.5 to 38.5 %)."
    )


def test_differences_stand_in_a_table() -> None:
    table, gaps = frames()
    (found,) = gaps_table(study_with(), table.to_dict("records"), gaps)
    assert found.rows == (
        ("larger resistor", "+15 (+14 to +16)", "+0.001 (-0.003 to +0.005)"),
        ("new CTs", "+0.1 (-0.3 to +0.5)", "-0.1 (-0.13 to -0.07)"),
        ("impossible", "-", "-"),
    )
    assert [*gaps_table(study_with(), table.to_dict("records"), gaps.iloc[:0])] == []


def test_what_cannot_be_compared_and_what_is_too_much_to_name() -> None:
    table, gaps = frames()
    nothing = pd.DataFrame(
        [row("as stated", np.nan, np.nan, **NONE), *table.to_dict("records")[1:]]
    )
    assert said(nothing, gaps.iloc[:0]) == [
        "No setting can be chosen for the study as stated, so nothing is compared with it.",
        "The policy allows false trips on 1 % of the external events.",
        'No setting can be chosen with "impossible".',
    ]
    lost = said(table.assign(allowed=False), gaps)
    assert lost[-1].startswith("On the random numbers that all share, the choice misses")
    many = pd.DataFrame([row("as stated"), *(row(f"v{k}", earth_pickup_a=0.2) for k in range(9))])
    some = [
        gap(f"v{k}", quantity, 0.01 * k, 0.005)
        for k in range(9)
        for quantity in ("p_missed", "p_false")
    ]
    found = said(many, pd.DataFrame(some))
    assert found[1] == 'The best setting changes with "v0", "v1", "v2", "v3" and 5 more.'
    assert 'More missed faults: "v8", "v7", "v6", "v5" and 4 more.' in found


def test_the_figure_has_a_mark_an_alternative_and_says_what_is_pale() -> None:
    table, gaps = frames()
    with look():
        figure, axes = side_by_side(2, height_mm(table))
        side_by_side_figure(table, gaps, axes, 2e-3)
    assert_text_is_readable(figure)
    labels = [label.get_text().split("\n")[0] for label in axes[0].get_yticklabels()]
    assert labels == list(table["alternative"])
    pale_rows = []
    for ax, colour in zip(axes, (panel.colour for panel in PANELS), strict=True):
        (marks,) = [part for part in ax.collections if isinstance(part, PathCollection)]
        faces = [to_hex(face) for face in marks.get_facecolors()]
        rows = [int(y) for y in marks.get_offsets()[:, 1]]
        assert {*faces} == {colour.lower(), pale(colour)}
        pale_rows.append([row for row, face in zip(rows, faces, strict=True) if face != colour])
    assert pale_rows == [[2], [1]]
    words = [text.get_text() for ax in axes for text in ax.texts]
    assert "none seen" in words
    assert "policy's limit" in words


def test_ten_alternatives_of_long_names_can_be_read() -> None:
    names = [f"an alternative that somebody has named at length, no. {k}" for k in range(9)]
    table = pd.DataFrame([row("as stated"), *(row(name, false=0.0) for name in names)])
    with look():
        figure, axes = side_by_side(2, height_mm(table))
        side_by_side_figure(table, frames()[1], axes, 2e-3)
    assert_text_is_readable(figure)


# --- what decides where faults are followed to who clears them -----------------

TIMES = {"breaker_time_s": 0.08, "field_decay_time_constant_s": 4.0, "undetected_time_s": 60}
PARTS = [{"name": "relay", "paths": ["earth_element"], "dangerous_per_year": 0.01}]
DAMAGE = {"fault_energy": TIMES, "damage": {"exponent": 1.5}}
COST = {"missed_fault": 100, "false_trip": 10, "unit": "kEUR"}


def followed(name: str, nobody: float, damage_s: float, cost: float) -> dict[str, Any]:
    given = {"p_nobody": nobody, "damage_mean_s": damage_s, "decision_cost_per_year": cost}
    given["cost_per_year"] = 5.0
    limits = {f"{key}_low": 0.9 * value for key, value in given.items()}
    limits |= {f"{key}_high": 1.1 * value for key, value in given.items()}
    return row(name, **given, **limits)


FOLLOWED = [followed("as stated", 0.06, 40.0, 900.0), followed("tests", 0.04, 30.0, 700.0)]
FALLS = pd.DataFrame(
    [
        gap("tests", "p_missed", 0.0, 0.01),
        gap("tests", "cost_per_year", 0.0, 0.1),
        gap("tests", "p_nobody", -0.02, 0.001),
        gap("tests", "damage_mean_s", -10.0, 1.0),
        gap("tests", "decision_cost_per_year", -200.0, 20.0),
    ]
)


WEIGHED = {"policy.p_false_max": REMOVE, "policy.least_annual_cost": COST}
PRICED = {
    "policy.p_false_max": REMOVE,
    "policy.least_annual_cost": COST | {"damage": {"at_reference": 5}},
}
TESTED = {"dependability": {"proof_test_years": 2, "parts": PARTS}}


def other_with(changes: dict[str, Any]) -> dict[str, Any]:
    """A study of which "tests" is the alternative."""
    return {"study.kind": "alternatives", "alternatives": [{"name": "tests", "changes": changes}]}


BY_NOBODY = (
    '"tests" reduces faults that nobody clears most: from 6 % (5.4 to 6.6 %) as stated to 4 % (3.6'
    " to 4.4 %)."
)
BY_DAMAGE = (
    '"tests" reduces the mean damage most: from 40 (36 to 44) s of 10 A as stated to 30 (27 to 33)'
    " s of 10 A."
)
BY_COST = (
    '"tests" reduces the total cost most: from 900 kEUR a year (810 to 990) as stated to 700 kEUR a'
    " year (630 to 770)."
)


@pytest.mark.parametrize(
    ("changes", "first"),
    [
        (TESTED, BY_NOBODY),
        (TESTED | WEIGHED, BY_NOBODY),
        (DAMAGE, BY_DAMAGE),
        (DAMAGE | WEIGHED, BY_DAMAGE),
        (DAMAGE | PRICED, BY_COST),
        (DAMAGE | TESTED | PRICED, BY_COST),
    ],
)
def test_the_first_line_goes_by_what_the_study_counts(changes: dict[str, Any], first: str) -> None:
    assert next(answer(study_with(changes), FOLLOWED, FALLS)) == first


def test_the_first_line_claims_nothing_that_was_not_compared() -> None:
    study = study_with(DAMAGE)
    alike = pd.DataFrame([gap("tests", "damage_mean_s", -10.0, 11.0)])
    assert next(answer(study, FOLLOWED, alike)) == (
        "No alternative significantly reduces the mean damage, 40 (36 to 44) s of 10 A in the study"
        " as stated."
    )
    other = FALLS[FALLS["quantity"] != "damage_mean_s"]
    assert next(answer(study, FOLLOWED, other)) == (
        "No alternative can be compared by the mean damage, 40 (36 to 44) s of 10 A as stated."
    )


def columns(changes: dict[str, Any]) -> dict[str, list[str]]:
    """Of the table of results, between those that are always there."""
    table = results_table(study_with(changes), FOLLOWED)
    heads, rows = table.header[3:-1], [row[3:-1] for row in table.rows]
    assert (table.header[1:3], len(table.align)) == (("missed %", "false %"), len(table.header))
    return {head: [row[at] for row in rows] for at, head in enumerate(heads)}


def test_the_table_of_results_has_the_column_that_decides() -> None:
    assert columns(TESTED) == {"nobody %": ["6", "4"]}
    assert columns(DAMAGE) == {"damage, s of 10 A": ["40 (36-44)", "30 (27-33)"]}
    assert columns(DAMAGE | PRICED) == {
        "scheme's cost": ["5 (4.5-5.5)", "5 (4.5-5.5)"],
        "total cost": ["900 (810-990)", "700 (630-770)"],
    }
    notes = results_table(study_with(DAMAGE | PRICED), FOLLOWED).notes
    assert notes[1:] == (
        "best setting: chosen by missed faults and false trips alone",
        "scheme's cost: of faults that it misses and of false trips, kEUR a year; (95 % limits)",
        (
            "total cost: of damage, faults that nobody clears, unwanted trips and tests, kEUR a"
            " year; (95 % limits)"
        ),
    )


def test_an_alternative_that_counts_the_cost_otherwise_has_no_value_beside_the_others() -> None:
    both = DAMAGE | PRICED | other_with({"policy.least_annual_cost": COST})
    assert columns(both)["total cost"] == ["900 (810-990)", "-"]
    notes = results_table(study_with(both), FOLLOWED).notes
    assert notes[-1].endswith("; -: counted otherwise, so not compared")


def test_differences_have_their_units_and_costs_have_names_of_their_own() -> None:
    study = study_with(DAMAGE | PRICED)
    (gaps,) = gaps_table(study, FOLLOWED, FALLS)
    assert gaps.header == (
        "minus as stated",
        "missed, points",
        "false, points",
        "scheme's cost, kEUR a year",
        "nobody, points",
        "damage, s of 10 A",
        "total cost, kEUR a year",
    )
    assert gaps.rows[0][-1] == "-200 (-220 to -180)"
    assert "total cost" not in " ".join(gaps.notes)
    lines = [*further(study, FOLLOWED, FALLS)]
    assert 'Lower total cost: "tests".' in lines
    assert 'No significant difference in cost of missed faults and false trips: "tests".' in lines
    (without,) = gaps_table(study_with(DAMAGE | WEIGHED), FOLLOWED, FALLS)
    assert without.notes[-1] == (
        "total cost: of faults that nobody clears, unwanted trips and tests; no cost of damage is"
        " given"
    )


def test_it_says_what_the_study_as_stated_does_not_count() -> None:
    own = [name for name in FOLLOWED[0] if name.startswith(("p_nobody", "d"))]
    rows = [FOLLOWED[0] | dict.fromkeys({*own} - {"delay_s"}, np.nan), FOLLOWED[1]]
    few = FALLS[FALLS["quantity"].isin(["p_missed", "cost_per_year"])]
    study, same = study_with(WEIGHED), "as the study as stated does not count the same"
    lines = [*further(study, rows, few)]
    assert f'Not compared in total cost, {same}: "tests".' in lines
    assert f'Not compared in mean damage of an earth fault, {same}: "tests".' in lines
    assert f'Not compared in faults that nobody clears, {same}: "tests".' in lines
    assert 'No significant difference in cost: "tests".' in lines
    assert results_table(study, rows).header[3] == "cost"
    assert "Not compared" not in " ".join(further(study_with(DAMAGE | PRICED), FOLLOWED, FALLS))


def test_costs_without_damage_or_dependability_are_named_as_ever() -> None:
    rows = [
        {key: value for key, value in row.items() if not key.startswith(("p_nobody", "d"))}
        | {"delay_s": 0.0}
        for row in FOLLOWED
    ]
    few = FALLS[FALLS["quantity"].isin(["p_missed", "cost_per_year"])]
    study = study_with(WEIGHED)
    assert next(answer(study, rows, few)) == (
        "No alternative significantly reduces the cost, 5 kEUR a year (4.5 to 5.5) in the study as"
        " stated."
    )
    table = results_table(study, rows)
    assert table.header == ("alternative", "missed %", "false %", "cost", "best setting")
    assert table.notes[1:] == ("cost: kEUR a year; (95 % limits)",)
    (gaps,) = gaps_table(study, rows, few)
    assert gaps.header == ("minus as stated", "missed, points", "false, points", "kEUR a year")
    assert 'No significant difference in cost: "tests".' in [*further(study, rows, few)]


@pytest.mark.parametrize(
    ("changes", "label", "marks"),
    [
        ({}, None, []),
        (WEIGHED, "cost,\nkEUR a year", [5.0, 5.0]),
        (TESTED | WEIGHED, "faults that nobody\nclears, %", [6.0, 4.0]),
        (DAMAGE | WEIGHED, "mean damage, s\nof 10 A", [40.0, 30.0]),
        (DAMAGE | PRICED, "total cost,\nkEUR a year", [900.0, 700.0]),
        (
            DAMAGE | PRICED | other_with({"policy.least_annual_cost": COST}),
            "total cost,\nkEUR a year",
            [900.0],
        ),
    ],
)
def test_the_figure_shows_what_the_answer_goes_by(
    changes: dict[str, Any], label: str | None, marks: list[float]
) -> None:
    study, table = study_with(changes), pd.DataFrame(FOLLOWED)
    result = SimpleNamespace(study=study)
    compared = SimpleNamespace(
        study=study, table=table, differences=FALLS, results={"as stated": result}
    )
    with look():
        figure = figures(cast(Any, compared))["alternatives"]()
    assert_text_is_readable(figure)
    third = figure.axes[2:]
    assert [ax.get_xlabel() for ax in third] == ([label] if label else [])
    drawn = [part for ax in third for part in ax.collections if isinstance(part, PathCollection)]
    assert [x for part in drawn for x in part.get_offsets()[:, 0]] == pytest.approx(marks)


@pytest.mark.parametrize(
    ("costs", "numbers"),
    [
        ((19_000.0, 240_000.0), ["20,000", "100,000"]),
        ((3.0, 9_000_000.0), ["10", "100,000"]),
    ],
)
def test_numbers_of_a_wide_axis_have_room_in_a_narrow_panel(
    costs: tuple[float, float], numbers: list[str]
) -> None:
    study = study_with(DAMAGE | PRICED)
    rows = [
        followed(name, 0.06, 40.0, cost) | row(name, false=false)
        for name, cost, false in zip(("as stated", "tests"), costs, (1e-6, 1e-2), strict=True)
    ]
    compared = SimpleNamespace(
        study=study,
        table=pd.DataFrame(rows),
        differences=FALLS,
        results={"as stated": SimpleNamespace(study=study)},
    )
    with look():
        figure = figures(cast(Any, compared))["alternatives"]()
    assert_text_is_readable(figure)
    shown = [text.get_text() for text in figure.axes[2].get_xticklabels()]
    assert [text for text in shown if text] == numbers
