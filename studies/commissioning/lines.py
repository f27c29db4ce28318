"""The lines of a commissioning sheet: each quantity that is expected of a test, and what the
installations show of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np

from montecarlo.quantities import Array
from montecarlo.relays.places import PLACES
from studies.commissioning.expected import Injection, Sheet, SlopeTest, TimeTest

AT_RELAY = "at the relay"
PRIMARY, SECONDARY = "A primary", "A secondary"
RAISED, THROUGH = "raised until it operates", " in the sense of a through current"
BY_PRIMARY, BY_SECONDARY = "injected_primary_a", "injected_secondary_a"


@dataclass(frozen=True)
class Printed:
    """A table of the printed sheet: its title, and the heads of its first two columns."""

    title: str
    first: str
    expected: str


PICKUPS = Printed(
    "Pick-up of each element", "element, and where the current is raised", "operates at"
)
SLOPES = Printed(
    f"Points on the slopes: two currents at the relay, {SECONDARY},{THROUGH}",
    "element, held current, raised current",
    "operates at",
)
TIMES = Printed(
    "Operating time, delay included", "element and current at the relay", "expected [s]"
)


@dataclass(frozen=True, eq=False)
class Line:
    """One quantity.

    `injected_a`: the current planned, `injected` the column that has it; NaN where it is what is
    sought. `installations`: what each sampled installation shows under such a current. `weighs`:
    whether a measured value says which installations are likely."""

    printed: Printed
    words: str  # in the first column
    test: str
    how: str
    quantity: str
    unit: str
    installations: Callable[[float], Array]
    injected_a: float = np.nan
    injected: str = BY_PRIMARY
    weighs: bool = True


def lines_of(sheet: Sheet) -> Iterator[Line]:
    """Injections, pick-ups, points on slopes, operating times.

    Parameters
    ----------
    sheet : Sheet

    Yields
    ------
    Line
    """
    for injection in sheet.injections:
        yield from _injected(sheet, injection)
    for where, number in sheet.pickup_tests:
        yield _pickup(sheet, where, number)
    for slope in sheet.slope_tests:
        yield _slope(sheet, slope)
    for timed in sheet.time_tests:
        yield _timed(sheet, timed)


def _injected(sheet: Sheet, injection: Injection) -> Iterator[Line]:
    amperes, how = injection.current_a, injection.text
    printed = Printed(
        f"{amperes:g} A primary, {how}: secondary currents", "quantity", "expected [A]"
    )
    solved = cache(lambda current_a: sheet.expected(replace(injection, current_a=current_a)))
    for name in sheet.quantities(injection):
        installations = partial(lambda name, current_a: solved(current_a)[name], name)
        yield Line(printed, name, injection.name, how, name, SECONDARY, installations, amperes)


def _pickup(sheet: Sheet, where: Injection | None, number: int) -> Line:
    element = sheet.scheme.element_name(number)
    test, how, through, unit = AT_RELAY, AT_RELAY, AT_RELAY, SECONDARY
    if where is not None:
        test, how, through, unit = where.name, where.text, where.through, PRIMARY
    return Line(
        PICKUPS,
        f"{element}, {through} [{unit}]",
        test,
        f"{how}, {RAISED}",
        f"pick-up {element}",
        unit,
        lambda _: sheet.pickup(where, number),
    )


def _slope(sheet: Sheet, test: SlopeTest) -> Line:
    """Which side carries which current, and where on the characteristic the point lies."""
    element, point = sheet.scheme.element_name(test.element), test.point
    raised, held = (PLACES[sheet.scheme.places[ct]] for ct in (test.raised, test.held))
    at = f"{point.part}, bias {point.bias_a:.3g} A"
    words = f"{at}: hold {held} at {point.held_a:g} A, raise {raised}"
    return Line(
        SLOPES,
        f"{element}, {words}",
        test.name,
        f"{words}{THROUGH}",
        f"pick-up {element}, {raised} raised",
        SECONDARY,
        partial(sheet.slope_point, test),
        point.held_a,
        BY_SECONDARY,
        weighs=False,
    )


def _timed(sheet: Sheet, test: TimeTest) -> Line:
    element = sheet.scheme.element_name(test.element)
    return Line(
        TIMES,
        f"{element}, {test.current_a:g} A secondary applied at once",
        "suddenly",
        f"{AT_RELAY}, applied at once",
        f"operating time {element}",
        "s",
        lambda _: sheet.operating_times_s(test).ravel(),
        test.current_a,
        BY_SECONDARY,
        weighs=False,
    )
