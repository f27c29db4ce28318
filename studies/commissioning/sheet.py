"""The commissioning sheet: what to inject, what to expect, room for what is measured; a table and a
page to print."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.quantities import Array
from montecarlo.relays.places import PLACES
from studies.commissioning.expected import Injection, Sheet, SlopeTest
from studies.report.letters import together
from studies.report.safety import MODEL, PROPOSED, TESTS
from studies.report.setting_words import setting_lines, setting_row
from studies.report.words import scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "AT_RELAY",
    "BAND",
    "COLUMNS",
    "PRIMARY",
    "SECOND",
    "SECONDARY",
    "SUDDEN",
    "commissioning_frame",
    "commissioning_page",
    "commissioning_tables",
    "pickup_name",
    "pickup_unit",
    "slope_name",
    "test_name",
    "time_name",
]

COLUMNS = (
    "test",
    "how",
    "injected_primary_a",
    "injected_secondary_a",
    "quantity",
    "unit",
    "expected",
    "low",
    "high",
    "measured",
    "uncertainty",
)
BAND = (0.025, 0.5, 0.975)
AT_RELAY = "at the relay"
SUDDEN = "suddenly"  # a current applied at once
PRIMARY, SECONDARY, SECOND = "A primary", "A secondary", "s"
RAISED, THROUGH = "raised until it operates", " in the sense of a through current"
TINY_A = 1e-9  # below it is round-off
FILLED_IN = ("band, 95 %", "measured", "instrument, ±", "in the band")
SHOWN_A = 1e-4  # the least that is printed


def commissioning_frame(sheet: Sheet) -> pd.DataFrame:
    """A row a quantity: its median over the sampled plants and the band that holds 95 % of them;
    `measured` and its standard `uncertainty` are left to be filled in. injected_primary_a,
    injected_secondary_a: what is injected at a CT's primary or at the relay's terminals; none where
    it is what is sought."""
    import pandas as pd

    none = np.nan
    rows: list[tuple[Any, ...]] = []
    for injection in sheet.injections:
        rows += [
            (
                injection.name,
                injection.text,
                injection.current_a,
                none,
                each.quantity,
                SECONDARY,
                *_band(each.plants),
            )
            for each in sheet.expected(injection)
        ]
    for where, number in sheet.pickup_tests:
        how = f"{AT_RELAY if where is None else where.text}, {RAISED}"
        rows.append(
            (
                test_name(where),
                how,
                none,
                none,
                pickup_name(sheet, number),
                pickup_unit(where),
                *_band(sheet.pickup(where, number).plants),
            )
        )
    rows += [
        (
            test.name,
            f"{_slope_words(sheet, test)}{THROUGH}",
            none,
            test.point.held_a,
            slope_name(sheet, test),
            SECONDARY,
            *_band(sheet.slope_point(test)),
        )
        for test in sheet.slope_tests
    ]
    rows += [
        (
            SUDDEN,
            f"{AT_RELAY}, applied at once",
            none,
            timed.current_a,
            time_name(sheet, timed.element),
            SECOND,
            *_band(sheet.operating_times_s(timed).ravel()),
        )
        for timed in sheet.time_tests
    ]
    frame = pd.DataFrame(rows, columns=list(COLUMNS[:-2]))
    return frame.assign(measured=np.nan, uncertainty=np.nan)


def test_name(injection: Injection | None) -> str:
    return AT_RELAY if injection is None else injection.name


def pickup_name(sheet: Sheet, number: int) -> str:
    return f"pick-up {sheet.element_name(number)}"


def pickup_unit(injection: Injection | None) -> str:
    return SECONDARY if injection is None else PRIMARY


def slope_name(sheet: Sheet, test: SlopeTest) -> str:
    return f"{pickup_name(sheet, test.element)}, {PLACES[sheet.scheme.places[test.raised]]} raised"


def _slope_words(sheet: Sheet, test: SlopeTest) -> str:
    """Which side carries which current, and where on the characteristic the point lies."""
    raised, held = (PLACES[sheet.scheme.places[ct]] for ct in (test.raised, test.held))
    return (
        f"{test.point.part}, bias {test.point.bias_a:.3g} A: hold {held} at {test.point.held_a:g}"
        f" A, raise {raised}"
    )


def time_name(sheet: Sheet, number: int) -> str:
    return f"operating time {sheet.element_name(number)}"


def _band(plants: Array) -> tuple[float, float, float]:
    """Median and the ends of the band."""
    low, middle, high = np.quantile(
        np.where(plants < TINY_A, 0.0, plants), BAND, method="nearest"
    ).tolist()
    return middle, low, high


# --- to print -----------------------------------------------------------------


def commissioning_tables(sheet: Sheet, frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The frame as tables of texts: one an injection, then pick-ups, slopes and times; each with
    title, heads and rows."""
    injected = frame["injected_primary_a"].notna()
    rest = iter(frame[~injected].to_dict("records"))
    pickups = [
        [
            f"{sheet.element_name(number)}, {_raised(where)} [{pickup_unit(where)}]",
            *_texts(next(rest)),
        ]
        for where, number in sheet.pickup_tests
    ]
    slopes = [
        [f"{sheet.element_name(test.element)}, {_slope_words(sheet, test)}", *_texts(next(rest))]
        for test in sheet.slope_tests
    ]
    times = [
        [
            f"{sheet.element_name(test.element)}, {test.current_a:g} A secondary applied at once",
            *_texts(next(rest)),
        ]
        for test in sheet.time_tests
    ]
    parts = [
        *_injected(sheet, frame[injected]),
        (
            "Pick-up of each element",
            ("element, and where the current is raised", "operates at"),
            pickups,
        ),
        (
            f"Points on the slopes: two currents at the relay, {SECONDARY},{THROUGH}",
            ("element, held current, raised current", "operates at"),
            slopes,
        ),
        (
            "Operating time, delay included",
            ("element and current at the relay", "expected [s]"),
            times,
        ),
    ]
    return [
        {"title": f"{number}. {title}", "heads": [*heads, *FILLED_IN], "rows": rows}
        for number, (title, heads, rows) in enumerate((part for part in parts if part[2]), 1)
    ]


def _injected(
    sheet: Sheet, frame: pd.DataFrame
) -> Iterator[tuple[str, tuple[str, str], list[list[str]]]]:
    """Title, heads and rows of each injection."""
    for injection in sheet.injections:
        mine = frame[frame["test"] == injection.name].to_dict("records")
        yield (
            f"{injection.current_a:g} A primary, {injection.text}: secondary currents",
            ("quantity", "expected [A]"),
            [[row["quantity"], *_texts(row)] for row in mine],
        )


def _raised(where: Injection | None) -> str:
    return AT_RELAY if where is None else where.through


def commissioning_page(
    sheet: Sheet, frame: pd.DataFrame, provenance: Mapping[str, Any], peak: str
) -> str:
    """One page of HTML that needs nothing else; every text of the study is escaped. peak: what is
    to be said of the peak voltage across the relay circuit."""
    from jinja2 import Environment, PackageLoader

    setting = setting_row(sheet.study, sheet.setting)
    steps = [together(step) for step in TESTS]
    templates = Environment(
        loader=PackageLoader("studies.report"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return templates.get_template("commissioning.html").render(
        title=sheet.study.study.title,
        scheme=scheme_name(sheet.setting.scheme),
        setting=setting_text(setting),
        tables=commissioning_tables(sheet, frame),
        plants=len(next(iter(sheet.samples.values()))),
        peak=together(peak),
        steps=steps,
        lines=list(setting_lines(sheet.study, setting)),
        proposed=PROPOSED,
        reach=MODEL,
        provenance=provenance,
    )


def _texts(row: Mapping[Any, Any]) -> list[str]:
    """What is expected, the band, and three cells to be filled in."""
    return [
        _text(row["expected"]),
        f"{_text(row['low'])}\u00a0…\u00a0{_text(row['high'])}",
        "",
        "",
        "",
    ]


def _text(value: float) -> str:
    """Four figures, trailing zeros shown; what no instrument would tell from zero as that."""
    if np.isinf(value):
        return "never"
    return f"{value:#.4g}".rstrip(".") if value >= SHOWN_A else f"< {SHOWN_A:g}"
