"""Figures of where false trips and missed faults come from: what is drawn from which rows, text
that can be read."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
import pytest

from studies.report.look import look, said
from studies.report.numbers import percent
from studies.sweep.false_trips import MOST, OF_EVENTS, false_trip_sources
from studies.sweep.missed_places import missed_fault_places, several_resistances
from tests.made.boxes import assert_text_is_readable

ROLES = {"chosen": 68, "existing": 1259}
EVENTS = (
    "close_in_phase_phase",
    "close_in_three_phase",
    "transformer_energised_beside_it",
)


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


def trips(shares: dict[str, list[float]], events: tuple[str, ...] = EVENTS) -> pd.DataFrame:
    rows = []
    for role, own in shares.items():
        for event, share in zip(events, own, strict=True):
            rows.append(
                {
                    "role": role,
                    "candidate": ROLES.get(role, 7),
                    "event": event,
                    "share_of_events": 1 / len(events),
                    "p_false": 0.01 * share,
                    "share_of_false_trips": share,
                    "share_of_false_trips_low": 0.7 * share,
                    "share_of_false_trips_high": min(1.4 * share + 0.02, 1.0),
                }
            )
    return pd.DataFrame(rows)


TWO = {"chosen": [0.613, 0.387, 0.0], "existing": [0.02, 0.98, 0.0]}


def test_bars_are_the_shares_and_marks_those_of_the_events() -> None:
    (ax,) = false_trip_sources(trips(TWO)).axes
    drawn = sorted(round(bar.get_width(), 9) for bar in ax.patches)
    assert drawn == sorted(100 * share for own in TWO.values() for share in own)
    (marks,) = [line for line in ax.lines if line.get_color() == OF_EVENTS]
    assert np.asarray(marks.get_xdata()) == pytest.approx(100 / 3)
    texts = [text.get_text() for text in ax.texts]
    assert sorted(texts) == sorted(["61.3 %", "38.7 %", "none", "2 %", "98 %", "none"])


def test_the_title_says_where_most_come_from_with_limits() -> None:
    (ax,) = false_trip_sources(trips(TWO), "as stated: ").axes
    title = " ".join(ax.get_title(loc="left").split())
    assert title == (
        "as stated: 61.3 % (42.9 to 87.8 %) of the false trips of the chosen setting come from"
        " close in phase phase"
    )


@pytest.mark.parametrize("roles", [("chosen", "existing"), ("closest",), ("existing",)])
@pytest.mark.parametrize("count", [1, 3, MOST + 3])
def test_the_shares_can_be_read(roles: tuple[str, ...], count: int) -> None:
    events = tuple(f"an_event_of_the_{k}th_kind_that_has_a_long_name" for k in range(count))
    own = [2.0**-k for k in range(count)]
    figure = false_trip_sources(trips(dict.fromkeys(roles, own), events))
    assert_text_is_readable(figure)
    assert len(figure.axes[0].patches) == len(roles) * min(count, MOST)


def test_events_without_a_row_are_named_with_what_they_make() -> None:
    events = tuple(f"event_{k}" for k in range(MOST + 2))
    chosen, existing = [2.0**-k for k in range(MOST + 2)], [0.0] * (MOST + 2)
    existing[-1] = 0.9  # few of the chosen setting's, most of the existing one's: drawn
    figure = false_trip_sources(trips({"chosen": chosen, "existing": existing}, events))
    (ax,) = figure.axes
    drawn = [label.get_text() for label in ax.get_yticklabels()]
    assert drawn == [f"event {k}" for k in (*range(MOST - 1), MOST + 1)]
    share = percent(chosen[MOST - 1] + chosen[MOST])
    assert said(figure) == (
        f"Not drawn: 2 events with {share} (chosen setting) and 0 % (existing setting) of the"
        f" false trips. Events not drawn: event {MOST - 1} and event {MOST}."
    )
    assert said(false_trip_sources(trips(TWO))) == ""


def places(ends: dict[str, float], ohms: list[float] | None = None) -> pd.DataFrame:
    """Each setting misses what lies below its end, a little more with more resistance."""
    classes, x = np.geomspace(0.03, 800, 11), np.arange(21) / 20
    low, high = (classes[:-1], classes[1:]) if ohms is None else (np.array(ohms),) * 2
    frames = []
    for role, end in ends.items():
        k, part = (grid.ravel() for grid in np.meshgrid(range(low.size), range(20), indexing="ij"))
        reach = end * (1 + 0.02 * k)
        missed = np.clip((reach - x[part]) / 0.05, 0, 1)
        whole = missed.sum() if missed.any() else np.nan
        frames.append(
            pd.DataFrame(
                {
                    "role": role,
                    "candidate": ROLES.get(role, 7),
                    "resistance_from_ohm": low[k],
                    "resistance_to_ohm": high[k],
                    "x_from": x[part],
                    "x_to": x[part + 1],
                    "share_of_faults": 0.05 / low.size,
                    "p_missed": missed,
                    "share_of_missed": missed / whole,
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def test_a_cell_is_what_is_missed_there() -> None:
    frame = places({"chosen": 0.2, "existing": 0.7})
    left, right, _ = missed_fault_places(frame).axes
    for ax, (_, rows) in zip((left, right), frame.groupby("role", sort=False), strict=True):
        (mesh,) = ax.collections
        found = np.asarray(mesh.get_array()).reshape(10, 20)
        assert found == pytest.approx(100 * rows["p_missed"].to_numpy().reshape(10, 20))
        assert ax.get_ylim() == (0, 10)  # low resistance at the bottom


def test_the_title_places_nine_tenths_of_the_missed_faults() -> None:
    (ax, _) = missed_fault_places(places({"chosen": 0.2})).axes
    frame = places({"chosen": 0.2})
    within = frame.loc[frame["x_to"] <= 0.2 + 1e-9, "share_of_missed"].sum()
    title = " ".join(ax.get_title(loc="left").split())
    assert f"no. 68: {100 * within:.3g} % of its missed earth faults lie in the 20 %" in title


@pytest.mark.parametrize("ends", [{"chosen": 0.2, "existing": 0.7}, {"closest": 1.0}])
@pytest.mark.parametrize("ohms", [None, [0.0, 1500.0], [0.0, 5.0, 40.0, 250.0]])
def test_the_map_can_be_read(ends: dict[str, float], ohms: list[float] | None) -> None:
    frame = places(ends, ohms)
    assert several_resistances(frame)
    assert_text_is_readable(missed_fault_places(frame))


def test_one_resistance_or_no_missed_fault_is_no_map() -> None:
    assert not several_resistances(places({"chosen": 0.2}, [5.0]))
    assert not several_resistances(places({"chosen": -1.0}))
