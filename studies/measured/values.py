"""measured.csv: the table commissioning.csv of a run with `measured` and `uncertainty` filled
in."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from montecarlo.errors import StudyError
from montecarlo.quantities.columns import POINT, check_width, csv_table, number_in
from montecarlo.quantities.wording import listed, shown
from studies.commissioning.sheet import COLUMNS

NEEDED = ("test", "quantity", "unit", "measured", "uncertainty")
LARGEST = 1_000_000  # bytes


@dataclass(frozen=True)
class Measured:
    """One filled-in row. injected_primary_a, injected_secondary_a: what was injected, NaN where the
    row says none."""

    line: int
    test: str
    quantity: str
    unit: str
    injected_primary_a: float
    injected_secondary_a: float
    measured: float
    uncertainty: float


def read_measured(path: Path) -> list[Measured]:
    """The rows with a measured value, at least one. Raises StudyError, a line a fault."""
    faults: list[str] = []
    found: list[Measured] = []
    with csv_table(
        path,
        str(path),
        LARGEST,
        larger="name the table of measured values",
        absent=": no such file; fill in commissioning.csv of the run and name it",
    ) as rows:
        _check_header(path, list(rows.fieldnames or ()))
        for row in rows:
            try:
                check_width(row)
                if (row["measured"] or row["uncertainty"]).strip():
                    found.append(_measured(row, rows.line_num))
            except ValueError as error:
                faults.append(f"{path} line {rows.line_num}: {error}")
    times = Counter((row.test, row.quantity) for row in found)
    faults += [
        f"{path}: {shown(test)} with {shown(quantity)} stands there more than once; leave one"
        for (test, quantity), count in times.items()
        if count > 1
    ]
    if not found and not faults:
        faults.append(f"{path}: no row has a measured value; fill in measured and uncertainty")
    if faults:
        raise StudyError(*faults)
    return found


def _check_header(path: Path, header: list[str]) -> None:
    for name in header:
        if name not in COLUMNS:
            near = get_close_matches(name, COLUMNS, 1)
            cure = (
                f"did you mean {near[0]}?"
                if near
                else f"take {listed(COLUMNS)}, separated by commas"
            )
            raise StudyError(
                f"{path}: column {shown(name)} is none of the commissioning sheet's; {cure}"
            )
        if header.count(name) > 1:
            raise StudyError(
                f"{path}: column {shown(name)} stands twice in the first line; leave one"
            )
    if missing := [name for name in NEEDED if name not in header]:
        raise StudyError(
            f"{path}: column {missing[0]} is missing in the first line; it needs {listed(NEEDED)}"
        )


def _measured(row: Mapping[str, str], line: int) -> Measured:
    def number(name: str, *, above: bool) -> float:
        cell = (row.get(name) or "").strip()
        try:
            value = number_in(cell)
        except ValueError:
            value = math.nan
        if not (0 < value < math.inf if above else 0 <= value < math.inf):
            raise ValueError(
                f"{name}: {shown(cell)} must be a number {'above' if above else 'of at least'} 0 in"
                f" {row['unit'].strip() or 'the unit of the row'}; {POINT}"
            )
        return value

    primary, secondary = (
        number(name, above=True) if (row.get(name) or "").strip() else math.nan
        for name in ("injected_primary_a", "injected_secondary_a")
    )
    return Measured(
        line,
        row["test"].strip(),
        row["quantity"].strip(),
        row["unit"].strip(),
        primary,
        secondary,
        number("measured", above=False),
        number("uncertainty", above=True),
    )
