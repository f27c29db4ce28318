"""The map of detection along the winding: which candidates stand on it, and that it can be read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pytest

from studies.report.look import blank, look
from studies.sweep.detection_map import detection_map, detection_map_frame, has_contours
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
    assert not has_contours(frame)  # two settings make no picture


def test_a_lone_setting_has_no_map() -> None:
    candidates = results.candidates().iloc[:1]
    frame = detection_map_frame(candidates, results.protected_winding((1,), (0.4,)), 1)
    assert frame.empty
    assert list(frame) == list(mapped(6))
    assert not has_contours(frame)


def test_where_nothing_is_detected_there_is_nothing_to_draw() -> None:
    assert not has_contours(mapped(6, ends=(2.0,)))


@pytest.mark.parametrize("number", [5, 6, 8])
@pytest.mark.parametrize(
    "ends", [(0.2, 0.4, 0.6, 0.9), (0.1, 0.1, 0.1, 0.1), (0.05, 2.0, 2.0, 2.0)]
)
def test_the_map_can_be_read(number: int, ends: tuple[float, ...]) -> None:
    frame = mapped(number, ends)
    assert has_contours(frame)
    figure, ax = blank(90)
    detection_map(
        frame,
        number,
        ax,
        role="nearest to the limit",
        heading="a scheme: phase 0.1 A, 300 ohm, no delay",
    )
    assert ax.get_yscale() == "log"
    assert_text_is_readable(figure)


def test_contours_stand_where_the_share_is_crossed() -> None:
    """Every setting alike: the lines are straight and stand where the invented curve passes 10, 50
    and 90 %."""
    figure, ax = blank(90)
    detection_map(mapped(6, (0.5,)), 6, ax)
    found = sorted(text.xy[0] for text in ax.texts if text.get_text().endswith(" %"))
    # (x - 0.5)/0.1 + 0.5, of 41 places
    assert found == pytest.approx([46.0, 50.0, 54.0], abs=0.6)
    assert np.all(np.diff(found) > 0)
    assert figure.axes == [ax]
