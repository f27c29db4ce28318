"""What a comparison takes from two folders of results: records, study files and tables."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from montecarlo.errors import StudyError
from montecarlo.study.read import LARGEST_FILE
from studies.report.record import PROVENANCE
from studies.report.results import AGAIN, Results, read_results

LARGEST_TABLE = 1 << 30  # bytes
HEAD = ("study_title", "study_kind", "study_digest", "version")


@dataclass(frozen=True)
class Side:
    """One of the two runs; `name`: A or B."""

    name: str
    results: Results

    @property
    def record(self) -> Mapping[str, Any]:
        """What the run has written of itself."""
        return self.results.record

    @property
    def kind(self) -> str:
        """Of its study, in words."""
        return str(self.record["study_kind"]).replace("_", " ")

    def study(self) -> dict[str, Any]:
        """The study file's tables. Raises StudyError."""
        name = self.record["study_file"]
        try:
            return tomllib.loads(self.results.content(name, LARGEST_FILE).decode("utf-8-sig"))
        except (ValueError, RecursionError):
            raise self.results.changed(name) from None

    def has(self, table: str) -> bool:
        """Whether the run wrote this table."""
        return f"{table}.csv" in self.record["sha256"]

    def table(self, table: str, texts: Sequence[str] = (), numbers: Sequence[str] = ()) -> Any:
        """A table of the run that has these columns. Raises StudyError."""
        import pandas as pd

        name = f"{table}.csv"
        content = self.results.content(name, LARGEST_TABLE)
        try:
            frame = pd.read_csv(BytesIO(content), keep_default_na=False, na_values=[""])
            words = {column: frame[column].fillna("").astype(str) for column in texts}
            values = {column: pd.to_numeric(frame[column]).astype(float) for column in numbers}
        except KeyError as error:
            raise StudyError(
                f"{self.results.folder}: {name} has no column {error.args[0]}, so another version"
                f" of the program wrote it; {AGAIN}"
            ) from None
        except (ValueError, TypeError):
            raise self.results.changed(name) from None
        return frame.assign(**words, **values)


def read_sides(one: Path, other: Path) -> tuple[Side, Side]:
    """Two folders of results of one kind. Raises StudyError."""
    sides = Side("A", _read(one)), Side("B", _read(other))
    if os.path.samefile(one, other):
        raise StudyError(f"{other}: is the same folder as {one}; name two folders of results")
    if sides[0].kind != sides[1].kind:
        raise StudyError(
            f"{one} holds results of the kind {sides[0].kind}, {other} of the kind"
            f" {sides[1].kind}; name two folders of one kind"
        )
    return sides


def _read(folder: Path) -> Results:
    results = read_results(folder)
    whole = all(isinstance(results.record.get(key), str) for key in HEAD)
    if not (whole and isinstance(results.record.get("seed"), int)):
        raise results.changed(PROVENANCE)
    return results


def same_figures(one: Side, other: Side, tables: Sequence[str]) -> bool:
    """Whether these tables of both runs are the same to the last digit."""
    sums = [side.record["sha256"] for side in (one, other)]
    return all(sums[0].get(name) == sums[1].get(name) for name in map("{}.csv".format, tables))
