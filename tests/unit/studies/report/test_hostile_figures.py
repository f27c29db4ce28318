"""Figures of what a person may well ask for and a page has little room for: long names, many of
everything, hardly anything. All texts stay apart, on the page and off the marks."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd
import pytest

from studies.report.look import SCHEMES, blank, look, side_by_side
from studies.schemes.figures import height_mm, missed_and_false
from studies.sweep.tradeoff import tradeoff
from studies.sweep.unprotected_winding import unprotected_winding, unprotected_winding_frame
from studies.sweep.winding import Curve, detection
from tests.made import results, schemes
from tests.made.boxes import assert_text_is_readable, on_marks

LONG = "residual_connection_at_the_star_point_with_a_name_that_never_ends"
NAMES = tuple(f"{LONG}_{k}" for k in range(8))
LIMITS = ["policy's limit, at most 0.5 false trips a year", "policy's limit, 1 %"]


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


@pytest.mark.parametrize("kinds", [NAMES[:1], NAMES])
@pytest.mark.parametrize("ohms", [(0.0,), (0.0, 10, 50, 100, 200, 500, 1000, 5000)])
def test_tradeoff_of_long_names(kinds: tuple[str, ...], ohms: tuple[float, ...]) -> None:
    frame = results.candidates(kinds=kinds, ohms=ohms)
    frame = results.chosen_and_existing(frame, 2, len(frame))
    figure, ax = blank()
    tradeoff(frame, ax, limit=0.005, limit_text=LIMITS[0])
    assert_text_is_readable(figure)
    assert on_marks(figure) == []
    assert ax.bbox.width > 0.4 * figure.bbox.width


@pytest.mark.parametrize("limit", [1e-7, 0.01, 0.9])
@pytest.mark.parametrize("text", LIMITS)
def test_unprotected_winding_of_long_names(limit: float, text: str) -> None:
    frame = unprotected_winding_frame(results.candidates(kinds=NAMES))
    figure, ax = blank(85)
    unprotected_winding(frame, ax, limit=limit, limit_text=text)
    assert_text_is_readable(figure)
    assert ax.bbox.width > 0.4 * figure.bbox.width


def test_a_winding_without_protection_lies_clear_of_the_words_above() -> None:
    frame = results.candidates(kinds=results.FIVE).assign(protected_median=0.0)
    figure, ax = blank(85)
    unprotected_winding(unprotected_winding_frame(frame), ax, limit=0.01, limit_text=LIMITS[1])
    assert_text_is_readable(figure)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 8])
def test_detection_of_long_names(count: int) -> None:
    numbers = tuple(range(1, count + 1))
    setting = "phase 0.05 A, slope 0.1 (0.5 above 1.5 A), earth 0.02 A, 2000 ohm, 0.1 s"
    curves = [
        Curve(NAMES[k].replace("_", " ")[:40], number, setting, SCHEMES[k % 6], "-", "o")
        for k, number in enumerate(numbers)
    ]
    figure, ax = blank(110)
    ends = (0.1, 0.12, 0.3, 0.31, 0.1, 0.5, 0.6, 0.9)[:count]
    detection(results.protected_winding(numbers, ends), curves, ax)
    assert_text_is_readable(figure)
    assert ax.bbox.width > 0.4 * figure.bbox.width


def test_schemes_of_long_names() -> None:
    table = schemes.schemes(5).assign(scheme=NAMES[:5])
    figure, axes = side_by_side(2, height_mm(table))
    missed_and_false(table, axes, limit=0.01, limit_text=LIMITS[0])
    assert_text_is_readable(figure)


def test_one_candidate_alone() -> None:
    frame = results.candidates().iloc[3:4].assign(usable=True)
    frame = results.chosen_and_existing(frame, 4, 4)
    figure, ax = blank()
    tradeoff(pd.DataFrame(frame), ax, limit=0.01, limit_text=LIMITS[1])
    assert_text_is_readable(figure)
    assert on_marks(figure) == []
