"""The coils of a winding as a person lists them: a CSV file with a row a coil.

Only what a row says by itself is checked here, and whether the rows make a two-layer winding:
every slot has one upper and one lower side, every branch as many coils. What its EMFs are:
`emf.py`."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

from montecarlo.errors import StudyError
from montecarlo.quantities import Meaning
from montecarlo.quantities.columns import check_width, csv_table, header_fault, inside
from montecarlo.quantities.reading import refusal
from montecarlo.quantities.wording import listed, shown

PHASES = ("L1", "L2", "L3")
SIDES = ("upper", "lower")
WORDS = {"phase": PHASES, "entered": SIDES}
LARGEST = 1_000_000  # bytes
MOST_COILS = 1200
MOST_LISTED = 6  # slots in a message
WHOLE = re.compile(r"[0-9]{1,9}")


class Coil(NamedTuple):
    """A row; numbers from 1."""

    upper_slot: int
    lower_slot: int
    phase: str  # of PHASES
    branch: int  # of its phase
    order: int  # in its branch, from the neutral
    entered: str  # of SIDES: where the current that runs from neutral to terminal enters


COLUMNS = Coil._fields


@dataclass(frozen=True)
class CoilTable:
    """Its coils by their upper slots, whatever the order of the file's lines."""

    file: str
    coils: tuple[Coil, ...]
    lines: tuple[int, ...]  # of the file

    def __str__(self) -> str:
        return self.file

    def at(self, row: int) -> str:
        """Where a coil stands.

        Parameters
        ----------
        row : int

        Returns
        -------
        str
        """
        return f"{shown(self.file)} line {self.lines[row]}"


@dataclass(frozen=True)
class CoilFile(Meaning):
    """Meaning of a field that names such a file: `Annotated[CoilTable | None, CoilFile(...)]`."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        def read(value: object, info: core_schema.ValidationInfo) -> CoilTable:
            if isinstance(value, CoilTable):
                return value
            folder: Path | None = (info.context or {}).get("folder")
            if not isinstance(value, str):
                raise refusal(f"{shown(value)}; expected a text, the name of a CSV file")
            if folder is None:
                raise refusal("has no folder to start from; read the study from a file")
            try:
                return read_coils(folder, value)
            except StudyError as error:
                raise refusal(*error.faults) from None

        def coils(table: CoilTable) -> list[list[int | str]]:
            return [list(coil) for coil in table.coils]

        return core_schema.with_info_plain_validator_function(
            read,
            serialization=core_schema.plain_serializer_function_ser_schema(
                coils, when_used="json-unless-none"
            ),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "string"}


# --- a row by itself ----------------------------------------------------------


def read_coils(folder: Path, file: str) -> CoilTable:
    """The coils in a file; columns other than `COLUMNS` are left alone.

    Parameters
    ----------
    folder : Path
        The file must lie in it or below it.
    file : str

    Returns
    -------
    CoilTable

    Raises
    ------
    StudyError
        A line a fault.
    """
    path, named = inside(folder, file), shown(file)
    faults: list[str] = []
    found: list[tuple[Coil, int]] = []
    absent = f" is not a file in {folder}; a run with [winding] writes winding_coils.csv, copy that"
    with csv_table(path, named, LARGEST, absent=absent, larger="keep the columns needed") as rows:
        wrong = [header_fault(rows, named, column) for column in COLUMNS]
        if any(wrong):
            raise StudyError(*filter(None, wrong))
        for row in rows:
            try:
                check_width(row)
                found.append((Coil(*(_cell(row, column) for column in COLUMNS)), rows.line_num))
            except ValueError as error:
                faults.append(f"{named} line {rows.line_num}: {error}")
            if len(found) + len(faults) > MOST_COILS:
                raise StudyError(
                    f"{named}: more than {MOST_COILS} rows; give one a slot of the stator"
                )
    if faults:
        raise StudyError(*faults)
    found.sort()
    return CoilTable(file, tuple(coil for coil, _ in found), tuple(line for _, line in found))


def _cell(row: Mapping[str, str], column: str) -> Any:
    """A word, or a whole number from 0."""
    cell = row[column].strip()
    if (words := WORDS.get(column)) is not None:
        if cell not in words:
            raise ValueError(f"{column}: {shown(cell)}, must be {listed(words, 'or')}")
        return cell
    if not WHOLE.fullmatch(cell):
        raise ValueError(f"{column}: {shown(cell)} is not a whole number; write digits alone")
    return int(cell)


# --- the rows together --------------------------------------------------------


def table_faults(table: CoilTable, slots: int, branches: int) -> Iterator[str]:
    """What makes the rows no two-layer winding, each with its line, value, rule and cure.

    Parameters
    ----------
    table : CoilTable
    slots : int
        Of the stator.
    branches : int
        Of a phase; three times that divide the slots.

    Yields
    ------
    str
    """
    series = slots // (3 * branches)
    allowed = {
        "upper_slot": (slots, "slots"),
        "lower_slot": (slots, "slots"),
        "branch": (branches, "branches"),
        "order": (series, "coils of a branch, slots/(3 branches)"),
    }
    for row, coil in enumerate(table.coils):
        for column, (most, what) in allowed.items():
            value = getattr(coil, column)
            if not 1 <= value <= most:
                yield (
                    f"{table.at(row)}: {column}: {value}, must be 1 ... {most} ({what}); mend one"
                    " of them"
                )
        if coil.upper_slot == coil.lower_slot:
            yield (
                f"{table.at(row)}: lower_slot: {coil.lower_slot}, must be another slot than"
                " upper_slot; give the slot of the coil's other side"
            )
    for side in SIDES:
        at = [getattr(coil, f"{side}_slot") for coil in table.coils]
        for row, first in _repeats(at):
            yield (
                f"{table.at(row)}: {side}_slot: {at[row]} stands in line {table.lines[first]} too,"
                f" must stand once; give one of the slots left: {_left(at, slots)}"
            )
    places = [(coil.phase, coil.branch, coil.order) for coil in table.coils]
    for row, first in _repeats(places):
        phase, branch, order = places[row]
        used = [place[2] for place in places if place[:2] == (phase, branch)]
        yield (
            f"{table.at(row)}: order: {order} of branch {branch} of {phase} stands in line"
            f" {table.lines[first]} too, must stand once; numbers left: {_left(used, series)}"
        )
    if len(table.coils) != slots:
        yield (
            f"{shown(table.file)}: {len(table.coils)} coils, must be as many as slots, {slots};"
            " give a row a coil, or mend slots"
        )


def _repeats(values: list[Any]) -> Iterator[tuple[int, int]]:
    """Rows whose value an earlier one has, and that row."""
    seen: dict[Any, int] = {}
    for row, value in enumerate(values):
        if (first := seen.setdefault(value, row)) != row:
            yield row, first


def _left(used: list[int], most: int) -> str:
    """Numbers from 1 that nothing has."""
    free = sorted(set(range(1, most + 1)).difference(used))
    if not free:
        return "none"
    more = ", ..." if len(free) > MOST_LISTED else ""
    return ", ".join(map(str, free[:MOST_LISTED])) + more
