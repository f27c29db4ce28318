"""The commissioning sheet against hand rules: ratio, the classic sum for a primary operating
current, bias."""

from __future__ import annotations

import re
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from montecarlo.quantities import Array
from montecarlo.relays.places import PHASES
from montecarlo.relays.schemes import OF_GROUPS
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study
from studies.commissioning.expected import Injection, Sheet, _rounded_down
from studies.commissioning.lines import lines_of
from studies.commissioning.sheet import COLUMNS, commissioning_frame, commissioning_page
from tests.made.branches import between_groups
from tests.made.browser import framed, needs_browser
from tests.made.studies import REMOVE, study_with

if TYPE_CHECKING:
    import pandas as pd

RATIO = 1500.0
TWO_PHASE = Setting("two_phase_one_earth", 0.1, 0.04, 0.0, 0.0)
IDEAL: dict[str, Any] = {
    "ct.knee_current_a": 1e-9,
    "ct.turns_ratio_error_percent": 0,
    "relay.pickup_error_percent": 0,
}

MANY = {"study.installations": 4096, "study.samples": 4096}


def study_of(kind: str, changes: dict[str, Any] | None = None) -> Study:
    """The minimal study with another scheme."""
    without = {
        "two_phase_one_earth": (),
        "per_phase": ("earth_pickup_a",),
        "biased": ("earth_pickup_a", "stabilising_resistance_ohm"),
        "restricted_earth_fault": ("phase_pickup_a",),
    }[kind]
    own = {"candidates.first_slope": [0.2]} if kind == "biased" else {}
    cts = (
        {"ct.neutral_conductor": {"lead_resistance_ohm": 0.5}}
        if kind == "restricted_earth_fault"
        else {}
    )
    return study_with(
        {
            "scheme.kind": kind,
            **{f"candidates.{name}": REMOVE for name in without},
            **own,
            **cts,
            **(changes or {}),
        }
    )


def pickups(sheet: Sheet) -> list[tuple[Injection | None, int, Array]]:
    return [(*test, sheet.pickup(*test)) for test in sheet.pickup_tests]


def frame_of(sheet: Sheet) -> pd.DataFrame:
    return commissioning_frame(lines_of(sheet))


def values(sheet: Sheet, test: str) -> dict[str, np.ndarray[Any, Any]]:
    """Of one injection: every installation's value by quantity."""
    injection = next(one for one in sheet.injections if one.name == test)
    return sheet.expected(injection)


# --- expected currents --------------------------------------------------------


def test_with_ideal_cts_the_legs_carry_what_the_ratio_says() -> None:
    sheet = Sheet(study_of("two_phase_one_earth", IDEAL), TWO_PHASE)
    for injection in sheet.injections:
        one = injection.current_a / RATIO
        legs = {
            "through": (0, 0, 0, 0),
            "neutral_end.L1": (1, 0, 0, 1),
            "line_end.L2": (0, 1, 0, 1),
            "neutral_end.L1-L2": (1, 1, 0, 0),
            "line_end.L2-L3": (0, 1, 1, 0),
        }.get(injection.name)
        for quantity, installations in sheet.expected(injection).items():
            if quantity.startswith("CT "):
                assert installations == pytest.approx(one, rel=1e-6)
            elif legs is not None:
                leg = (
                    "relay circuit L1",
                    "relay circuit L2",
                    "relay circuit L3",
                    "relay circuit earth",
                ).index(quantity)
                assert installations == pytest.approx(one * legs[leg], rel=1e-6, abs=1e-8)


def test_a_through_current_leaves_the_difference_of_two_ratio_errors() -> None:
    """Two independent errors, uniform in ±a: P(|difference| > x) = (2a - x)²/(4a²), so 97.5 % lie
    below 2a(1 - √0.025). 4,096 installations: one seed in 10^4 is further off than 3 %."""
    study = study_of(
        "per_phase",
        {
            **IDEAL,
            "ct.turns_ratio_error_percent": {"dist": "uniform", "low": -0.25, "high": 0.25},
            **MANY,
        },
    )
    sheet = Sheet(study, Setting("per_phase", 0.1, None, 0.0, 0.0))
    through = sheet.injections[0]
    one = through.current_a / RATIO
    frame = frame_of(sheet)
    row = frame[(frame["test"] == "through") & (frame["quantity"] == "relay circuit L1")].iloc[0]
    assert row["high"] == pytest.approx(one * 2 * 0.0025 * (1 - np.sqrt(0.025)), rel=0.03)
    ct = frame[(frame["test"] == "through") & (frame["quantity"] == "CT line_end.L3")].iloc[0]
    assert (ct["low"], ct["high"]) == pytest.approx(
        (one * (1 - 0.002375), one * (1 + 0.002375)), rel=1e-4
    )


def test_no_injection_drives_a_ct_beyond_half_its_knee() -> None:
    for ohm in (0.0, 300.0, 20_000.0):
        sheet = Sheet(
            study_of("two_phase_one_earth"), Setting("two_phase_one_earth", 0.1, 0.04, ohm, 0.0)
        )
        for injection in sheet.injections[1:]:
            secondary = injection.current_a / RATIO
            path = (
                6.0 + 0.1 + (0.1 + ohm) * (injection.name.count("L") == 1)
            )  # no earth current between phases
            assert secondary * path <= 150.0
            assert injection.current_a <= 300.0
            assert f"{injection.current_a:e}"[0] in "125"


@pytest.mark.parametrize(
    ("value", "rounded"), [(1312, 1000), (999, 500), (300, 200), (5, 5), (0.49, 0.2), (0.1, 0.1)]
)
def test_currents_are_round(value: float, rounded: float) -> None:
    assert _rounded_down(value) == pytest.approx(rounded)


def test_the_neutral_conductors_ct_is_injected_once() -> None:
    sheet = Sheet(
        study_of("restricted_earth_fault", IDEAL),
        Setting("restricted_earth_fault", None, 0.04, 100.0, 0.0),
    )
    names = [injection.name for injection in sheet.injections]
    polarity = [
        f"through.{phase}{end}" for phase in ("L1", "L2", "L3") for end in ("", ".reversed")
    ]
    assert names == [
        "through",
        *polarity,
        "neutral_end.L1",
        "line_end.L1",
        "line_end.L2",
        "line_end.L3",
        "line_end.L1-L2",
        "line_end.L2-L3",
    ]
    inside = values(sheet, "neutral_end.L1")
    assert list(inside) == ["CT neutral_conductor", "relay circuit earth"]
    assert values(sheet, "line_end.L1-L2")["relay circuit earth"] == pytest.approx(0.0, abs=1e-8)


def test_the_polarity_of_a_restricted_earth_fault_element_shows_in_its_leg() -> None:
    """Hand rule: through both CTs I/N - I/N = 0, with one CT turned round I/N + I/N; 300 ohm in the
    leg and 150 V, half the knee, let 2 I/N be at most 0.5 A."""
    setting = Setting("restricted_earth_fault", None, 0.04, 300.0, 0.0)
    sheet = Sheet(study_of("restricted_earth_fault", IDEAL), setting)
    tests = {one.name: one for one in sheet.injections if one.name.startswith("through.")}
    assert list(tests) == [f"through.{phase}{end}" for phase in PHASES for end in ("", ".reversed")]
    for name, injection in tests.items():
        found, one = values(sheet, name), injection.current_a / RATIO
        assert list(found) == [
            f"CT line_end.{name[8:10]}",
            "CT neutral_conductor",
            "relay circuit earth",
        ]
        assert 2 * one * 300 < 150
        wanted = 2 * one if name.endswith(".reversed") else 0.0
        assert found["relay circuit earth"] == pytest.approx(wanted, rel=1e-6, abs=1e-8)
        for ct in ("CT neutral_conductor", next(iter(found))):
            assert found[ct] == pytest.approx(one, rel=1e-6)


def test_a_scheme_connected_wrongly_is_not_said_to_leave_nothing() -> None:
    own = {
        "name": "own",
        "legs": [
            {
                "name": "earth",
                "stabilising": True,
                "cts": ["line_end.L1", "line_end.L2", "line_end.L3", "neutral_conductor"],
            }
        ],
        "elements": [{"leg": "earth", "setting": "earth"}],
    }
    sheet = Sheet(
        study_of("restricted_earth_fault", {**IDEAL, "scheme.kind": "own", "scheme.custom": [own]}),
        Setting("own", None, 0.04, 300.0, 0.0),
    )
    through = [one for one in sheet.injections if one.name.startswith("through.")]
    assert [one.name for one in through] == [f"through.{phase}" for phase in PHASES]
    assert all("correct the study first" in one.text for one in through)
    assert not any("must leave" in one.text for one in through)


def test_real_cts_leave_little_in_the_leg_and_nearly_twice_with_one_turned_round() -> None:
    sheet = Sheet(
        study_of("restricted_earth_fault"),
        Setting("restricted_earth_fault", None, 0.04, 300.0, 0.0),
    )
    frame = frame_of(sheet)
    leg = frame[frame["quantity"] == "relay circuit earth"].set_index("test")
    for phase in PHASES:
        one = leg.loc[f"through.{phase}", "injected_primary_a"] / RATIO
        assert leg.loc[f"through.{phase}", "high"] < 0.02 * one
        assert 1.5 * one < leg.loc[f"through.{phase}.reversed", "low"] <= 2.01 * one
        assert "leads of the neutral CT exchanged" in leg.loc[f"through.{phase}.reversed", "how"]


@pytest.mark.parametrize("kind", ["two_phase_one_earth", "per_phase", "biased"])
def test_where_no_element_has_the_neutral_conductors_ct_the_three_phase_test_does(
    kind: str,
) -> None:
    setting = (
        TWO_PHASE
        if kind == "two_phase_one_earth"
        else Setting(kind, 0.1, None, 0.0, 0.0, 0.2 if kind == "biased" else None)
    )
    assert not any(one.turned is not None for one in Sheet(study_of(kind), setting).injections)


# --- at the relay's terminals -------------------------------------------------

TWO_SLOPES = Setting("biased", 0.1, None, 0.0, 0.1, 0.2, 0.5, 1.5)


def hand_current(form: str, current: str, held: float) -> float:
    """Pick-up 0.1 A, 0.2 up to a bias of 1.5 A, 0.5 above: x with x - h = I_0 + bias, or the larger
    of the two. Bias current (x + h)/2, x + h or x: a x + b h. Wadhwa, Electrical Power Systems, ch.
    14; Chakrabarti et al., III."""
    a, b = {"mean": (0.5, 0.5), "sum": (1.0, 1.0), "largest": (1.0, 0.0)}[current]
    below = [
        (0.1 * (form == "sum") + held * (1 + 0.2 * b)) / (1 - 0.2 * a),
        (0.1 * (form == "sum") - 0.3 * 1.5 + held * (1 + 0.5 * b)) / (1 - 0.5 * a),
    ]
    x = below[0] if a * below[0] + b * held <= 1.5 else below[1]
    return x if form == "sum" else max(x, held + 0.1)


@pytest.mark.parametrize("form", ["sum", "greater_of"])
@pytest.mark.parametrize("current", ["mean", "sum", "largest"])
def test_points_on_two_slopes_lie_where_the_hand_formula_says(form: str, current: str) -> None:
    study = study_of(
        "biased",
        {
            **IDEAL,
            "scheme.bias_form": form,
            "scheme.bias_current": current,
            "candidates.second_slope": [0.5],
            "candidates.turning_point_a": [1.5],
        },
    )
    sheet = Sheet(study, TWO_SLOPES)
    tests = [test for test in sheet.slope_tests if test.element == 0]
    parts = [test.point.part for test in tests]
    assert (
        parts
        == ["below the slopes"] * (form == "greater_of")
        + ["first slope"] * 3
        + ["second slope"] * 3
    )
    bias = [test.point.bias_a for test in tests]
    assert bias == sorted(bias)
    assert 1.2 < bias[-4] < 1.5 < bias[-3] < 1.7  # to either side of the turning point
    for test in tests:
        x = hand_current(form, current, test.point.held_a)
        assert sheet.slope_point(test) == pytest.approx(x, rel=1e-6)
        a, b = {"mean": (0.5, 0.5), "sum": (1.0, 1.0), "largest": (1.0, 0.0)}[current]
        assert test.point.bias_a == pytest.approx(a * x + b * test.point.held_a, rel=1e-6)
    rows = frame_of(sheet).query("test == 'slope point 1'")
    assert list(rows["quantity"]) == [
        f"pick-up phase {phase}, neutral_end.{phase} raised" for phase in PHASES
    ]
    assert (
        f"hold line_end.L1 at {tests[0].point.held_a:g} A, raise neutral_end.L1"
        in rows["how"].iloc[0]
    )
    assert rows["injected_secondary_a"].iloc[0] == tests[0].point.held_a
    assert rows["injected_primary_a"].isna().all()


def test_ratio_matching_stands_between_terminals_and_characteristic() -> None:
    """Line-end CTs of 3000/1, matched by 2: 2 h held weighs as much as 2 h without, and x stays."""
    study = study_of("biased", {**IDEAL, "ct.line_end": {"primary_a": 3000, "ratio_matching": 2.0}})
    sheet = Sheet(study, Setting("biased", 0.1, None, 0.0, 0.0, 0.2))
    for test in sheet.slope_tests:
        x = (0.1 + 2 * test.point.held_a * (1 + 0.2 / 2)) / (1 - 0.2 / 2)
        assert sheet.slope_point(test) == pytest.approx(x, rel=1e-6)


def test_a_restricted_earth_fault_element_with_bias_has_slopes_too() -> None:
    """Bias current the mean of four ends, two of them in use: x - h = 0.1 + 0.2 (x + h)/4."""
    lines = [f"line_end.{phase}" for phase in PHASES]
    own = {
        "name": "own",
        "legs": [{"name": "sum", "cts": ["neutral_conductor", *(f"-{line}" for line in lines)]}],
        "elements": [{"leg": "sum", "setting": "earth", "bias_cts": ["neutral_conductor", *lines]}],
    }
    study = study_with(
        {
            **IDEAL,
            "scheme.kind": "own",
            "scheme.custom": [own],
            "candidates.phase_pickup_a": REMOVE,
            "candidates.stabilising_resistance_ohm": REMOVE,
            "candidates.first_slope": [0.2],
            "ct.neutral_conductor": {"lead_resistance_ohm": 0.5},
        }
    )
    sheet = Sheet(study, Setting("own", None, 0.1, 0.0, 0.0, 0.2))
    tests = list(sheet.slope_tests)
    assert len(tests) == 3
    for test in tests:
        x = (0.1 + test.point.held_a * (1 + 0.2 / 4)) / (1 - 0.2 / 4)
        assert sheet.slope_point(test) == pytest.approx(x, rel=1e-6)


def test_a_point_has_the_band_of_the_pick_up_error() -> None:
    """x = (I_0 (1 + e) + 1.1 h)/0.9: the errors' 95 % band, ±1.9 % of 0.1 A, over 0.9."""
    error = {"dist": "uniform", "low": -2, "high": 2}
    sheet = Sheet(
        study_of("biased", {**IDEAL, "relay.pickup_error_percent": error, **MANY}),
        Setting("biased", 0.1, None, 0.0, 0.0, 0.2),
    )
    low, middle, high = np.quantile(sheet.slope_point(next(sheet.slope_tests)), [0.025, 0.5, 0.975])
    assert (high - middle, middle - low) == pytest.approx((0.0019 / 0.9, 0.0019 / 0.9), rel=0.02)


def test_operating_times_hold_the_delay_and_up_to_a_cycle() -> None:
    """At twice the pick-up the one-cycle RMS gets there once the square's integral is a quarter of
    a cycle's. A stretch u of a cycle about a peak has u + sin(2 pi u)/(2 pi): u = 0.1324; about a
    zero the minus: u = 0.3676."""
    sheet = Sheet(
        study_of("two_phase_one_earth", IDEAL), Setting("two_phase_one_earth", 0.1, 0.04, 0.0, 0.1)
    )
    tests = list(sheet.time_tests)
    assert [test.current_a for test in tests] == [0.2, 0.2, 0.08]
    for test in tests:
        cycles = (sheet.operating_times_s(test) - 0.1) / 0.02
        assert cycles.min() == pytest.approx(0.1324, abs=0.005)
        assert cycles.max() == pytest.approx(0.3676, abs=0.005)


# --- pick-ups -----------------------------------------------------------------


def test_primary_operating_current_by_the_classic_sum() -> None:
    """Common practice: I_op = N(I_set + n·I_e), worked by hand. 1500/1 A, one element per phase at
    0.1 A behind 300 ohm: 30 V, a tenth of the knee voltage, where these CTs take 0.2 of 30 mA = 6
    mA each, two of them in parallel. So at most 1500·(0.1 + 2·0.006) = 168 A; the exciting current
    lags by up to a quarter of a turn, then it is 1500·√(0.1² + 0.012²) = 151.1 A. What CT and lead
    drop in front, 6 ohm of 306, moves the 30 V by 2 % at one of the two."""
    fixed = {
        "ct.knee_voltage_v": 300,
        "ct.turns_ratio_error_percent": 0,
        "relay.pickup_error_percent": 0,
        "relay.phase_burden_ohm": 0,
        "ct.lead_resistance_ohm": 1,
    }
    sheet = Sheet(study_of("per_phase", fixed), Setting("per_phase", 0.1, None, 300.0, 0.0))
    found = [each for each in pickups(sheet) if each[0] is not None]
    names = {sheet.scheme.element_name(number) for _, number, _ in found}
    assert names == {"phase L1", "phase L2", "phase L3"}
    assert len(found) == 6
    for *_, installations in found:
        assert np.all(installations > 151.1)
        assert np.all(installations < 168.0 * 1.002)


def test_pickups_at_the_relay_are_the_settings_and_their_error() -> None:
    error = {"dist": "uniform", "low": -2, "high": 4}
    sheet = Sheet(
        study_of("two_phase_one_earth", {"relay.pickup_error_percent": error, **MANY}), TWO_PHASE
    )
    found = {
        sheet.scheme.element_name(number): installations
        for injection, number, installations in pickups(sheet)
        if injection is None
    }
    assert list(found) == ["phase L1", "phase L3", "earth"]
    for element, setting in (("phase L1", 0.1), ("earth", 0.04)):
        low, high = np.quantile(found[element], [0.025, 0.975])
        assert (low, high) == pytest.approx((setting * 0.9815, setting * 1.0385), rel=5e-4)


def test_one_end_alone_restrains_a_biased_element() -> None:
    """|I| - s·|I|/2 = I_0 with the mean of the ends' currents: I = I_0/(1 - s/2)."""
    sheet = Sheet(study_of("biased", IDEAL), Setting("biased", 0.1, None, 0.0, 0.0, 0.2))
    for injection, _, installations in pickups(sheet):
        expected = 0.1 / (1 - 0.2 / 2) * (1 if injection is None else RATIO)
        assert installations == pytest.approx(expected, rel=1e-6)


def test_where_the_spill_takes_everything_an_element_never_operates() -> None:
    """Steep bias: with the largest end as bias current and slope 1.5 nothing operates."""
    study = study_of(
        "biased", {**IDEAL, "scheme.bias_current": "largest", "candidates.first_slope": [1.5]}
    )
    sheet = Sheet(study, Setting("biased", 0.1, None, 0.0, 0.0, 1.5))
    frame = frame_of(sheet)
    pickups = frame[frame["quantity"].str.startswith("pick-up")]
    assert np.isinf(pickups["expected"]).all()
    assert "never" in commissioning_page(sheet, lines_of(sheet), frame, {}, "")


def test_a_steep_second_slope_does_not_hide_the_pick_up_below_it() -> None:
    """x - 0.2 x = 0.1: x = 0.125 A, though nothing operates any more far above the turning
    point."""
    study = study_of(
        "biased",
        {
            **IDEAL,
            "scheme.bias_current": "largest",
            "candidates.second_slope": [1.5],
            "candidates.turning_point_a": [1.5],
        },
    )
    sheet = Sheet(study, Setting("biased", 0.1, None, 0.0, 0.0, 0.2, 1.5, 1.5))
    assert sheet.pickup(None, 0) == pytest.approx(0.125, rel=1e-6)


# --- table and page -----------------------------------------------------------


def test_the_table_has_room_for_what_is_measured() -> None:
    frame = frame_of(Sheet(study_of("two_phase_one_earth"), TWO_PHASE))
    assert tuple(frame.columns) == COLUMNS
    assert frame[["measured", "uncertainty"]].isna().all(axis=None)
    assert not frame.duplicated(["test", "quantity"]).any()
    assert (frame["low"] <= frame["expected"]).all()
    assert (frame["expected"] <= frame["high"]).all()
    assert set(frame["unit"]) == {"A secondary", "A primary", "s"}


def test_the_page_escapes_and_needs_nothing_else() -> None:
    study = study_of(
        "two_phase_one_earth", {"study.title": "<script>alert(1)</script> & {{ 7*7 }}"}
    )
    sheet = Sheet(study, TWO_PHASE)
    frame = frame_of(sheet)
    page = commissioning_page(
        sheet,
        lines_of(sheet),
        frame,
        {"version": "<1>", "study_digest": "d", "seed": 1},
        "peak < care",
    )
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; {{ 7*7 }}" in page
    assert "peak &lt; care" in page
    assert "&lt;1&gt;" in page
    fetched = re.sub(r'xmlns(:xlink)?="http://www.w3.org/[^"]*"', "", page)  # names of SVG
    assert not any(word in fetched for word in ("http:", "https:", "src=", "@import", "url("))
    assert page.count("<td></td>") >= 3 * len(frame)
    assert page.count("<tr>") >= len(frame)


@needs_browser
def test_a_phone_scrolls_tables_and_no_page_sideways(tmp_path: Path) -> None:
    sheet = Sheet(study_of("two_phase_one_earth"), TWO_PHASE)
    origin = {"version": "1", "study_digest": "0123456789abcdef" * 4, "seed": 1}
    page = commissioning_page(sheet, lines_of(sheet), frame_of(sheet), origin, "")
    script = """
const cells = [...page.querySelectorAll('td, th')];
return { wide: page.documentElement.scrollWidth,
         cut: cells.filter(cell => cell.scrollWidth > cell.clientWidth)
                   .map(cell => cell.textContent) };"""
    seen = framed(page, 390, script, tmp_path)
    assert seen["wide"] <= 390
    assert seen["cut"] == []


# --- groups of branches -------------------------------------------------------


def branches(kind: str, **changes: Any) -> Sheet:
    """A sheet of a scheme between groups whose inputs do not vary, unless given."""
    alike = {"winding.group_unbalance_percent": 0, "winding.circulating_percent": 0}
    study = between_groups(kind, {**IDEAL, **alike, **changes})
    earth = kind == "neutral_to_neutral"
    pickups_a = (None, 0.1) if earth else (0.1, None)
    return Sheet(study, Setting(kind, *pickups_a, 0.0, 0.0))


def test_a_through_current_halves_between_the_groups() -> None:
    found = values(branches("split_phase"), "through")
    amperes = 1000 / 2 / 750
    for group, phase in product(("group_1", "group_2"), PHASES):
        assert found[f"CT {group}.{phase}"] == pytest.approx(amperes, rel=1e-6)
        assert found[f"relay circuit {phase}"] == pytest.approx(0, abs=1e-8)


def test_a_current_through_one_group_s_lead_is_in_its_ct_and_its_element() -> None:
    sheet = branches("split_phase")
    names = [one.name for one in sheet.injections]
    assert names == ["through", *(f"group_{k}.{phase}" for k in (1, 2) for phase in PHASES)]
    for injection in sheet.injections[1:]:
        # a fifth of 750 A, rounded down
        assert injection.current_a == 100
        found = sheet.expected(injection)
        assert [name for name in found if name.startswith("CT")] == [f"CT {injection.name}"]
        amperes = pytest.approx(100 / 750, rel=1e-6)
        assert found[f"CT {injection.name}"] == amperes
        assert found[f"relay circuit {injection.name[-2:]}"] == amperes


def test_a_core_balance_ct_shows_nothing_of_a_through_current_and_all_of_one_lead() -> None:
    sheet = branches("core_balance")
    through, *leads = sheet.injections
    assert not [name for name in sheet.quantities(through) if name.startswith("CT")]
    for phase in PHASES:
        assert sheet.expected(through)[f"relay circuit {phase}"] == pytest.approx(0, abs=1e-8)
    assert [one.name for one in leads] == [f"group_{k}.{p}" for k in (1, 2) for p in PHASES]
    for one in leads:
        shown = sheet.expected(one)[f"CT core_balance.{one.name[-2:]}"]
        assert shown == pytest.approx(one.current_a / 200, rel=1e-6)


def test_the_star_link_is_tested_around_both_groups() -> None:
    sheet = branches("neutral_to_neutral")
    through, around = sheet.injections
    assert (through.name, around.name) == ("through", "star_link.L1")
    assert "around both groups through the star link" in around.text
    assert sheet.expected(through)["relay circuit star link"] == pytest.approx(0, abs=1e-8)
    found = sheet.expected(around)["relay circuit star link"]
    assert found == pytest.approx(around.current_a / 100, rel=1e-6)


def test_what_the_groups_share_unlike_is_in_the_band_of_a_through_current() -> None:
    sheet = branches("split_phase", **{"winding.group_unbalance_percent": 0.5})
    found = values(sheet, "through")["relay circuit L1"]
    assert found == pytest.approx(0.005 * 1000 / 750, rel=1e-6)
    lead = values(sheet, "group_1.L1")["relay circuit L1"]
    assert lead == pytest.approx(100 / 750, rel=1e-6)


@pytest.mark.parametrize("kind", OF_GROUPS)
def test_elements_between_groups_pick_up_at_their_setting_by_their_ratio(kind: str) -> None:
    sheet = branches(kind)
    ratio = {"split_phase": 750, "core_balance": 200, "neutral_to_neutral": 100}[kind]
    by_primary = [(where, found) for where, _, found in pickups(sheet) if where is not None]
    assert len(by_primary) == (1 if kind == "neutral_to_neutral" else 6)
    for where, found in by_primary:
        assert where.alone
        assert found == pytest.approx(0.1 * ratio, rel=1e-5)
