"""The commissioning sheet: what to inject, what to expect, room for what is measured; a table and a page to print."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.commissioning import Injection, Sheet
from montecarlo.quantities import Array
from montecarlo.report.words import scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["AT_RELAY", "BAND", "COLUMNS", "PRIMARY", "SECONDARY", "commissioning_frame", "commissioning_page",
           "commissioning_tables", "pickup_name", "pickup_unit", "test_name"]

COLUMNS = ("test", "injected_a", "quantity", "unit", "expected", "low", "high", "measured", "uncertainty")
BAND = (0.025, 0.5, 0.975)
AT_RELAY = "at the relay"
PRIMARY, SECONDARY = "A primary", "A secondary"
TINY_A = 1e-9                                              # below it is round-off
SHOWN_A = 1e-4                                             # the least that is printed


def commissioning_frame(sheet: Sheet) -> pd.DataFrame:
    """A row a quantity: its median over the sampled plants and the band that holds 95 % of them; `measured` and its
    standard `uncertainty` are left to be filled in. injected_a: primary current; none where it is what is sought."""
    import pandas as pd

    rows: list[tuple[Any, ...]] = []
    for injection in sheet.injections:
        rows += [(injection.name, injection.current_a, each.quantity, SECONDARY, *_band(each.plants))
                 for each in sheet.expected(injection)]
    rows += [(test_name(injection), np.nan, pickup_name(sheet, number), pickup_unit(injection),
              *_band(sheet.pickup(injection, number).plants)) for injection, number in sheet.pickup_tests]
    frame = pd.DataFrame(rows, columns=list(COLUMNS[:-2]))
    return frame.assign(measured=np.nan, uncertainty=np.nan)


def test_name(injection: Injection | None) -> str:
    return AT_RELAY if injection is None else injection.name


def pickup_name(sheet: Sheet, number: int) -> str:
    return f"pick-up {sheet.element_name(number)}"


def pickup_unit(injection: Injection | None) -> str:
    return SECONDARY if injection is None else PRIMARY


def _band(plants: Array) -> tuple[float, float, float]:
    """Median and the ends of the band."""
    low, middle, high = np.quantile(np.where(plants < TINY_A, 0.0, plants), BAND, method="nearest").tolist()
    return middle, low, high


# --- to print ---------------------------------------------------------------------------------------------


def commissioning_tables(sheet: Sheet, frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The frame as tables of texts: one an injection, then the pick-ups; each with title, heads and rows."""
    tables = []
    heads = ["quantity", "expected [A]", "band, 95 %", "measured", "instrument, ±", "in the band"]
    injected = frame[frame["injected_a"].notna()]
    for number, injection in enumerate(sheet.injections, 1):
        mine = injected[injected["test"] == injection.name]
        rows = [[row["quantity"], *_texts(row)] for row in mine.to_dict("records")]
        title = f"{number}. {injection.current_a:g} A primary, {injection.text}: secondary currents"
        tables.append({"title": title, "heads": heads, "rows": rows})
    words = {AT_RELAY: AT_RELAY} | {one.name: one.text.removeprefix("in the zone, ") for one in sheet.injections}
    rows = [[f"{row['quantity'].removeprefix('pick-up ')}, {words[row['test']]} [{row['unit']}]", *_texts(row)]
            for row in frame[frame["injected_a"].isna()].to_dict("records")]
    heads = ["element, and where the current is raised", "operates at", *heads[2:]]
    return [*tables, {"title": f"{len(tables) + 1}. Pick-up of each element", "heads": heads, "rows": rows}]


def commissioning_page(sheet: Sheet, frame: pd.DataFrame, provenance: Mapping[str, Any], caution: str) -> str:
    """One page of HTML that needs nothing else; every text of the study is escaped."""
    from jinja2 import Environment, PackageLoader

    setting = {name: np.nan if value is None else value for name, value in vars(sheet.setting).items()}
    templates = Environment(loader=PackageLoader("montecarlo.report"), autoescape=True, trim_blocks=True,
                            lstrip_blocks=True)
    return templates.get_template("commissioning.html").render(
        title=sheet.study.study.title, scheme=scheme_name(sheet.setting.scheme), setting=setting_text(setting),
        tables=commissioning_tables(sheet, frame), plants=len(next(iter(sheet.samples.values()))), caution=caution,
        provenance=provenance)


def _texts(row: Mapping[Any, Any]) -> list[str]:
    """What is expected, the band, and three cells to be filled in."""
    return [_text(row["expected"]), f"{_text(row['low'])}\u00a0…\u00a0{_text(row['high'])}", "", "", ""]


def _text(value: float) -> str:
    """Four figures, trailing zeros shown; what no instrument would tell from zero as that."""
    if np.isinf(value):
        return "never"
    return f"{value:#.4g}".rstrip(".") if value >= SHOWN_A else f"< {SHOWN_A:g}"
