"""The map of detection along the winding: which candidates stand on it, and that it can be read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from matplotlib.collections import QuadMesh

from studies.report.look import blank, look
from studies.sweep.detection_map import SHARES, detection_map, detection_map_frame, worth_drawing
from tests.made import results
from tests.made.boxes import assert_text_is_readable

if TYPE_CHECKING:
    import pandas as pd

EARTHS = (0.02, 0.05, 0.1, 0.2)


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


def mapped(
    number: int, ends: tuple[float, ...] = (0.2, 0.4, 0.6, 0.9), **grid: tuple[float, ...]
) -> pd.DataFrame:
    """The map of an invented result, whose earth faults are detected from `ends` of the winding
    on."""
    candidates = results.candidates(**({"earths": EARTHS} | grid))  # type: ignore[arg-type]
    every = tuple(int(number) for number in candidates["candidate"])
    protected_winding = results.protected_winding(
        every, tuple(ends[k % len(ends)] for k in range(len(every)))
    )
    return detection_map_frame(candidates, protected_winding, number)


def texts(labels: Any) -> list[str]:
    return [text.get_text() for text in labels]


def test_the_map_takes_what_differs_in_the_earth_pick_up_alone() -> None:
    frame = mapped(6)
    assert set(frame["axis"]) == {"earth_pickup_a"}
    assert list(dict.fromkeys(frame["setting"])) == list(EARTHS)
    assert list(dict.fromkeys(frame["candidate"])) == [5, 6, 7, 8]
    assert (frame.groupby("setting")["x"].count() == 41).all()


def test_without_an_earth_element_it_takes_the_phase_pick_up() -> None:
    frame = mapped(1, kinds=("per_phase",))
    assert set(frame["axis"]) == {"phase_pickup_a"}
    assert list(dict.fromkeys(frame["setting"])) == [0.1, 0.2]
    assert not worth_drawing(frame)  # two settings make no picture


def test_a_lone_setting_has_no_map() -> None:
    candidates = results.candidates().iloc[:1]
    frame = detection_map_frame(candidates, results.protected_winding((1,), (0.4,)), 1)
    assert frame.empty
    assert list(frame) == list(mapped(6))
    assert not worth_drawing(frame)


def test_where_nothing_is_detected_there_is_nothing_to_draw() -> None:
    assert not worth_drawing(mapped(6, ends=(2.0,)))


@pytest.mark.parametrize("number", [5, 6, 8])
@pytest.mark.parametrize(
    "ends", [(0.2, 0.4, 0.6, 0.9), (0.1, 0.1, 0.1, 0.1), (0.05, 2.0, 2.0, 2.0)]
)
def test_the_map_can_be_read(number: int, ends: tuple[float, ...]) -> None:
    frame = mapped(number, ends)
    assert worth_drawing(frame)
    figure, ax = blank(90)
    detection_map(
        frame,
        number,
        ax,
        role="nearest to the limit",
        heading="a scheme: phase 0.1 A, 300 ohm, no delay",
    )
    assert_text_is_readable(figure)


def test_every_setting_is_a_row_and_no_tone_stands_between_two_of_them() -> None:
    """The tones are those of the table's own shares, the lowest setting below."""
    frame = mapped(6)
    _, ax = blank(90)
    detection_map(frame, 6, ax)
    (mesh,) = [part for part in ax.collections if isinstance(part, QuadMesh)]
    p = frame.pivot(index="setting", columns="x", values="p_detected").to_numpy()
    want = np.digitize(p, SHARES[1:-1])
    np.testing.assert_array_equal(np.asarray(mesh.get_array()).reshape(p.shape), want)
    assert ax.get_ylim() == (0, len(EARTHS))
    labels = sorted(zip(ax.get_yticks(), texts(ax.get_yticklabels()), strict=True))
    assert labels == [(k + 0.5, f"{value:g}") for k, value in enumerate(EARTHS)]


def test_places_stand_where_they_are() -> None:
    _, ax = blank(90)
    detection_map(mapped(6), 6, ax)
    at = dict(zip(texts(ax.get_xticklabels()), ax.get_xticks(), strict=True))
    assert at == {f"{place}": pytest.approx(0.5 + 0.4 * place) for place in range(0, 101, 20)}


def test_the_row_of_the_setting_is_framed() -> None:
    _, ax = blank(90)
    detection_map(mapped(7), 7, ax, role="chosen")
    (frame,) = ax.patches
    assert (frame.get_y(), frame.get_height(), frame.get_width()) == (2, 1, 41)


def test_of_many_settings_some_have_a_number() -> None:
    earths = tuple(np.round(np.linspace(0.01, 0.4, 40), 3))
    figure, ax = blank(90)
    detection_map(mapped(6, (0.2, 0.4, 0.6), earths=earths), 6, ax)
    assert_text_is_readable(figure)
    assert 10 <= len(ax.get_yticks()) <= 14
