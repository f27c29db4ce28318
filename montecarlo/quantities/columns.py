"""A column of a CSV file beside the study file, as numbers."""

from __future__ import annotations

import csv
import math
from io import StringIO
from pathlib import Path, PurePosixPath, PureWindowsPath

from montecarlo.errors import StudyError
from montecarlo.quantities.files import OversizeError, read_bounded
from montecarlo.quantities.wording import NOT_TOO_NEAR_ZERO, listed, shortened, shown, too_near_zero

LARGEST_CSV = 20_000_000    # bytes; a column of a million numbers fits


def read_column(folder: Path, file: str, column: str) -> tuple[float, ...]:
    """The numbers of one column. The file must lie in `folder` or below it; raises StudyError."""
    path = inside(folder, file)
    try:
        if not path.is_file():
            raise StudyError(f"{shown(file)} is not a file in {folder}")
        text = read_bounded(path, LARGEST_CSV).decode("utf-8-sig")
        return _numbers(csv.DictReader(StringIO(text, newline=""), restval="", strict=True), file, column)
    except OversizeError as error:
        raise StudyError(f"{shown(file)}: {error}, must be at most {LARGEST_CSV}; keep the column needed") from None
    except UnicodeDecodeError:
        raise StudyError(f"{shown(file)} is not UTF-8 text; save it as CSV in UTF-8") from None
    except (OSError, ValueError, csv.Error) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise StudyError(f"{shown(file)} cannot be read: {shortened(reason)}") from None


def inside(folder: Path, file: str) -> Path:
    """The place of a file that a study names, in `folder` or below it, through no link that leaves it. Raises
    StudyError."""
    parts = (*PurePosixPath(file).parts, *PureWindowsPath(file).parts)
    outside = ".." in parts or PurePosixPath(file).is_absolute() or PureWindowsPath(file).anchor
    try:
        path = (folder / file).resolve()
        if not outside and path.is_relative_to(folder.resolve()):
            return path
    except (OSError, ValueError, RuntimeError):     # a name that no file can have, or links in a circle
        pass
    raise StudyError(f"{shown(file)} must lie in the study file's folder or below it; copy it there")


def _numbers(rows: csv.DictReader[str], file: str, column: str) -> tuple[float, ...]:
    header = rows.fieldnames = [name.strip() for name in rows.fieldnames or ()]
    if header.count(column) != 1:
        what = "stands twice" if column in header else "is missing"
        raise StudyError(f"{shown(file)}: column {shown(column)} {what} in the first line, which has "
                         f"{listed(map(shown, header)) or 'nothing'} (cells are separated by commas)")
    values = tuple(_number(row[column].strip(), file, rows.line_num) for row in rows)
    if not values:
        raise StudyError(f"{shown(file)}: column {shown(column)} has no numbers under its name")
    return values


def _number(cell: str, file: str, line: int) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise StudyError(f"{shown(file)} line {line}: {shown(cell)} is not a finite number")
    if too_near_zero(value):
        raise StudyError(f"{shown(file)} line {line}: {shown(cell)}, {NOT_TOO_NEAR_ZERO}")
    return value
