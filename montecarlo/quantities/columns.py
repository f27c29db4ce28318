"""CSV files that a person hands over, and the numbers in their cells."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from io import StringIO
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from montecarlo.errors import StudyError
from montecarlo.quantities.files import OversizeError, read_bounded
from montecarlo.quantities.wording import NOT_TOO_NEAR_ZERO, listed, shortened, shown, too_near_zero

LARGEST_CSV = 20_000_000  # bytes; a column of a million numbers fits
POINT = "write decimals with a point and nothing between digits, as in 1234.5"
# Python's own numbers may have 1_0 and the digits of any script
NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")


# --- any table ----------------------------------------------------------------


@contextmanager
def csv_table(
    path: Path, named: str, most: int, *, absent: str, larger: str
) -> Iterator[csv.DictReader[str]]:
    """Rows by the names in the first line, which lose the spaces around them. What goes wrong
    within the block is told as a StudyError.

    named: the file in messages. most: bytes. absent, larger: said where there is no file, or where
    it has more."""
    try:
        if not path.is_file():
            raise StudyError(f"{named}{absent}")
        text = read_bounded(path, most).decode("utf-8-sig")
        rows = csv.DictReader(StringIO(text, newline=""), restval="", strict=True)
        rows.fieldnames = [name.strip() for name in rows.fieldnames or ()]
        yield rows
    except OversizeError as error:
        raise StudyError(f"{named}: {error}, must be at most {most}; {larger}") from None
    except UnicodeDecodeError:
        raise StudyError(f"{named}: is not UTF-8 text; save it as CSV in UTF-8") from None
    except csv.Error as error:
        raise StudyError(f"{named}: cannot be read as CSV: {shortened(str(error))}") from None
    except OSError as error:
        reason = shortened(error.strerror or str(error))
        raise StudyError(f"{named}: cannot be read: {reason}; check its path") from None


def check_width(row: Mapping[Any, Any]) -> None:
    """Raises ValueError for cells beyond the first line's: a decimal comma makes two of a
    number."""
    beyond = row.get(None)
    if beyond:
        cells = [*(cell for name, cell in row.items() if name is not None), *beyond]
        raise ValueError(
            f"{shown(','.join(cells))} has {len(cells)} cells, more cells than columns "
            f"in the first line ({len(cells) - len(beyond)}); {POINT}"
        )


def number_in(cell: str) -> float:
    """Raises ValueError for what is no plain finite decimal number in ASCII."""
    value = float(cell) if NUMBER.fullmatch(cell) else float("nan")
    if not abs(value) < float("inf"):
        raise ValueError(f"{shown(cell)} is not a finite number; {POINT}")
    return value


# --- a column for a study -----------------------------------------------------


def read_column(folder: Path, file: str, column: str) -> tuple[float, ...]:
    """The numbers of one column. The file must lie in `folder` or below it; raises StudyError."""
    path = inside(folder, file)
    absent, larger = f" is not a file in {folder}", "keep the column needed"
    with csv_table(path, shown(file), LARGEST_CSV, absent=absent, larger=larger) as rows:
        return _numbers(rows, file, column)


def inside(folder: Path, file: str) -> Path:
    """The place of a file that a study names, in `folder` or below it, through no link that leaves
    it. Raises StudyError."""
    parts = (*PurePosixPath(file).parts, *PureWindowsPath(file).parts)
    outside = ".." in parts or PurePosixPath(file).is_absolute() or PureWindowsPath(file).anchor
    try:
        path = (folder / file).resolve()
        if not outside and path.is_relative_to(folder.resolve()):
            return path
    except (
        OSError,
        ValueError,
        RuntimeError,
    ):  # a name that no file can have, or links in a circle
        pass
    raise StudyError(
        f"{shown(file)} must lie in the study file's folder or below it; copy it there"
    )


def _numbers(rows: csv.DictReader[str], file: str, column: str) -> tuple[float, ...]:
    header = list(rows.fieldnames or ())
    if header.count(column) != 1:
        what = "stands twice" if column in header else "is missing"
        raise StudyError(
            f"{shown(file)}: column {shown(column)} {what} in the first line, which has "
            f"{listed(map(shown, header)) or 'nothing'} (cells are separated by commas)"
        )
    values: list[float] = []
    for row in rows:
        try:
            values.append(_number(row, column))
        except ValueError as error:
            raise StudyError(f"{shown(file)} line {rows.line_num}: {error}") from None
    if not values:
        raise StudyError(f"{shown(file)}: column {shown(column)} has no numbers under its name")
    return tuple(values)


def _number(row: Mapping[str, str], column: str) -> float:
    check_width(row)
    value = number_in(cell := row[column].strip())
    if too_near_zero(value):
        raise ValueError(f"{shown(cell)}, {NOT_TOO_NEAR_ZERO}")
    return value
