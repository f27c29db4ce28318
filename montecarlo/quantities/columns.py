"""CSV files that a person hands over, and the numbers in their cells."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
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
    """The rows of a CSV table by the names in its first line, without the spaces around them.

    Parameters
    ----------
    path : Path
    named : str
        The file in messages.
    most : int
        Bytes that it may have.
    absent, larger : str
        Said where there is no file, or where it has more bytes.

    Yields
    ------
    csv.DictReader

    Raises
    ------
    StudyError
        What goes wrong with the file, also while the caller reads its rows.
    """
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
    """Refuse cells beyond the first line's: a decimal comma makes two of a number.

    Parameters
    ----------
    row : mapping
        A row of `csv_table`.

    Raises
    ------
    ValueError
    """
    beyond = row.get(None)
    if not beyond:
        return
    columns = [cell for name, cell in row.items() if name is not None]
    cells = [*columns, *beyond]
    raise ValueError(
        f"{shown(','.join(cells))} has {len(cells)} cells, more cells than columns "
        f"in the first line ({len(columns)}); {POINT}"
    )


def number_in(cell: str) -> float:
    """The number in a cell.

    Parameters
    ----------
    cell : str

    Returns
    -------
    float

    Raises
    ------
    ValueError
        For what is no plain finite decimal number in ASCII.
    """
    value = float(cell) if NUMBER.fullmatch(cell) else float("nan")
    if not abs(value) < float("inf"):
        raise ValueError(f"{shown(cell)} is not a finite number; {POINT}")
    return value


# --- a column for a study -----------------------------------------------------


def read_column(folder: Path, file: str, column: str) -> tuple[float, ...]:
    """The numbers of one column of a CSV file.

    Parameters
    ----------
    folder : Path
        The file must lie in it or below it.
    file, column : str

    Returns
    -------
    tuple of float
        At least one.

    Raises
    ------
    StudyError
    """
    path = inside(folder, file)
    absent = f" is not a file in {folder}"
    larger = "keep the column needed"
    with csv_table(path, shown(file), LARGEST_CSV, absent=absent, larger=larger) as rows:
        return _numbers(rows, file, column)


def inside(folder: Path, file: str) -> Path:
    """The place of a file that a study names.

    Parameters
    ----------
    folder : Path
        The file must lie in it or below it, through no link that leaves it.
    file : str

    Returns
    -------
    Path

    Raises
    ------
    StudyError
    """
    parts = (*PurePosixPath(file).parts, *PureWindowsPath(file).parts)
    outside = ".." in parts or PurePosixPath(file).is_absolute() or PureWindowsPath(file).anchor
    # A name that no file can have, or links in a circle
    with suppress(OSError, ValueError, RuntimeError):
        path = (folder / file).resolve()
        if not outside and path.is_relative_to(folder.resolve()):
            return path
    raise StudyError(
        f"{shown(file)} must lie in the study file's folder or below it; copy it there"
    )


def header_fault(rows: csv.DictReader[str], named: str, column: str) -> str:
    """Why a column cannot be read by its name in the first line.

    Parameters
    ----------
    rows : csv.DictReader
        As of `csv_table`.
    named : str
        The file in messages.
    column : str

    Returns
    -------
    str
        Empty where it can.
    """
    header = list(rows.fieldnames or ())
    if header.count(column) == 1:
        return ""
    what = "stands twice" if column in header else "is missing"
    return (
        f"{named}: column {shown(column)} {what} in the first line, which has "
        f"{listed(map(shown, header)) or 'nothing'} (cells are separated by commas)"
    )


def _numbers(rows: csv.DictReader[str], file: str, column: str) -> tuple[float, ...]:
    if fault := header_fault(rows, shown(file), column):
        raise StudyError(fault)
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
    cell = row[column].strip()
    value = number_in(cell)
    if too_near_zero(value):
        raise ValueError(f"{shown(cell)}, {NOT_TOO_NEAR_ZERO}")
    return value
