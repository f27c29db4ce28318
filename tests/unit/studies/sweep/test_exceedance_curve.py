"""The figure of exceedance: which events and circuits are drawn, and where a curve ends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest

from studies.report.look import look
from studies.sweep.exceedance import Shown, exceedance, worth_showing
from tests.made import results
from tests.made.boxes import assert_text_is_readable

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SETTING: dict[str, Any] = {
    "candidate": 1,
    "scheme": "per_phase",
    "phase_pickup_a": 0.1,
    "earth_pickup_a": np.nan,
    "stabilising_resistance_ohm": 200.0,
    "delay_s": 0.0,
    "first_slope": np.nan,
    "second_slope": np.nan,
    "turning_point_a": np.nan,
}


def frame(p: Any, width: Any = 1.2, **other: Any) -> pd.DataFrame:
    """A curve of one circuit."""
    p = np.asarray(p, float)
    curve = {
        "event": "fault",
        "element": "phase",
        "pickup_a": 0.05 * 1.5 ** np.arange(p.size),
        "p": p,
        "p_low": p / np.asarray(width),
        "p_high": p * np.asarray(width),
        "note": "",
    }
    shared = {key: value for key, value in SETTING.items() if "pickup" not in key}
    return pd.DataFrame({**shared, **curve, **other}).drop(columns="candidate")


def by_type(**shares: float) -> pd.DataFrame:
    """What each event makes of the false trips of candidate 1."""
    return pd.DataFrame(
        {"candidate": 1, "type": list(shares), "share_of_total": list(shares.values())}
    )


def chosen(table: pd.DataFrame, shares: pd.DataFrame | None = None, **other: Any) -> Shown:
    rows = pd.DataFrame([{**SETTING, **other}])
    return worth_showing(table, by_type(fault=1.0) if shares is None else shares, rows)


def drawn(table: pd.DataFrame) -> Figure:
    with look():
        return exceedance(chosen(table), SETTING)


def curves(figure: Figure) -> list[Any]:
    """Those with data of their own: the upright line of the pick-up has two points."""
    return [line for ax in figure.axes for line in ax.lines if len(line.get_xdata()) > 2]


def test_a_curve_is_the_table() -> None:
    table = frame([0.1, 1e-3, 1e-5])
    (line,) = curves(drawn(table))
    assert list(line.get_xdata()) == pytest.approx(list(table["pickup_a"]))
    assert list(line.get_ydata()) == pytest.approx(list(table["p"]))


def test_its_band_is_the_limits() -> None:
    table = frame([0.1, 1e-3, 1e-5])
    (band,) = drawn(table).axes[0].collections
    heights = band.get_paths()[0].vertices[:, 1]
    assert {*np.round(np.log(heights), 6)} == {
        *np.round(np.log([*table["p_low"], *table["p_high"]]), 6)
    }


@pytest.mark.parametrize(
    "table",
    [
        frame([0.1, 1e-3, 1e-5, 1e-8]),
        frame([0.1, 1e-3, 1e-5, 1e-6], width=[1.1, 1.1, 1.2, 2.0]),
        frame([0.1, 1e-3, 1e-5, 0.0]),
    ],
)
def test_it_ends_where_it_is_no_longer_known(table: pd.DataFrame) -> None:
    (line,) = curves(drawn(table))
    assert len(line.get_xdata()) == 3


def test_what_makes_most_false_trips_is_drawn_and_the_others_are_named() -> None:
    names = ("fault", "surge", "start", "rare")
    table = pd.concat([frame([0.1, 0.01], event=name) for name in names])
    shown = chosen(table, by_type(rare=0.02, surge=0.6, start=0.03, fault=0.35))
    assert shown.events == ["surge", "fault"]
    assert shown.rare_events == ["start", "rare"]
    assert set(shown.curves["event"]) == {"surge", "fault"}


def test_without_a_false_trip_the_event_that_reaches_farthest_comes_first() -> None:
    table = pd.concat([frame([0.1, 0.01], event="near"), frame([0.3, 0.1], event="far")])
    assert chosen(table, by_type(near=np.nan, far=0.0)).events[0] == "far"


def test_only_its_delay_and_its_circuits_are_drawn() -> None:
    table = pd.concat(
        [
            frame([0.1, 0.01]),
            frame([0.05, 0.01], delay_s=0.1),
            frame([0.2, 0.1], stabilising_resistance_ohm=0.0),
        ]
    )
    assert chosen(table).curves["p"].tolist() == [0.1, 0.01]
    assert chosen(table, delay_s=0.1).curves["p"].tolist() == [0.05, 0.01]
    assert chosen(table, delay_s=0.3).curves["delay_s"].unique() == [0.0]


def test_an_element_that_is_hardly_driven_is_named() -> None:
    table = pd.concat([frame([0.1, 0.01]), frame([0.0, 0.0], element="earth")])
    assert chosen(table).rare_elements == ["earth"]
    nothing = chosen(frame([0.0, 0.0]))
    assert nothing.curves.empty
    assert nothing.rare_elements == ["phase"]


@pytest.mark.parametrize("events", [1, 7])
@pytest.mark.parametrize("elements", [("phase",), ("phase", "earth")])
def test_it_can_be_read(events: int, elements: tuple[str, ...]) -> None:
    names = [f"an_event_of_a_rather_long_name_{k}" for k in range(events)]
    kinds = (*results.FIVE, "a_scheme_of_the_study_with_a_long_name_and_no_comma")
    ohms = (0.0, 100.0, 300.0, 600.0, 1000.0, 2000.0, 5000.0)
    settings = pd.DataFrame(
        [
            {**SETTING, "scheme": kind, "stabilising_resistance_ohm": ohm}
            for kind, ohm in zip((*kinds, "per_phase"), ohms, strict=True)
        ]
    )
    table = pd.concat(
        [
            frame(
                [0.1, 0.02, 1e-3, 1e-5],
                event=name,
                element=element,
                scheme=row["scheme"],
                stabilising_resistance_ohm=row["stabilising_resistance_ohm"],
            )
            for name in names
            for element in elements
            for row in settings.to_dict("records")
        ]
    )
    shares = by_type(**dict.fromkeys(names, 1 / events))
    shown = worth_showing(table, shares, settings)
    with look():
        figure = exceedance(shown, SETTING)
    assert_text_is_readable(figure)
    assert len(figure.axes) == min(events, 4) * len(elements)
