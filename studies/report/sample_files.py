"""Files of kept samples: Parquet, one a stratum, with a table of their columns. Where a run solves
several studies, each of them has a folder of its own.

Rows come with the results of chunks, in the order of the chunks' keys. So the files have the same
bytes on any number of workers."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from montecarlo.engine.keep import Rows
from montecarlo.engine.pickup_columns import SETTING, Column
from montecarlo.errors import RunStopped, StudyError, reason
from montecarlo.frames.cells import plain_cell
from montecarlo.sampling.stratum import Stratum

COLUMNS = "samples_columns.csv"
PART_OF = ", "  # between the names of a part of a part
ROW_GROUP = 16_384  # rows that are written at once


def counted_name(stratum: Stratum) -> str:
    """The file of a stratum's samples, without its ending."""
    return f"samples_{stratum.replace('.', '_')}"


def weighted_name(stratum: Stratum) -> str:
    """That of an external event's weighted samples."""
    return f"samples_weighted_{stratum.kind}"


def needs_pyarrow() -> None:
    """Raises StudyError where it is missing."""
    if find_spec("pyarrow") is None:
        raise StudyError(
            "--keep-samples: Parquet files need pyarrow, which is not installed here; pip install "
            "pyarrow, or leave the option out"
        )


class SampleFiles:
    """Writes rows to `folder` in the order of `append`. Raises StudyError without pyarrow."""

    def __init__(self, folder: Path) -> None:
        needs_pyarrow()
        self.folder = folder.absolute()  # pyarrow takes ~ for a home and s3: for a server
        with _told():
            folder.mkdir(parents=True, exist_ok=True)
        self._columns: list[tuple[str, str, Column]] = []
        self._folders: dict[str, str] = {"": ""}  # of each part, with a slash
        self._name = self._part = ""
        self._writer: Any = None
        self._waiting: list[Rows] = []

    def __enter__(self) -> SampleFiles:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            self._finish()
            self._write_columns()
        elif self._writer is not None:
            with suppress(OSError):
                self._writer.close()

    def __call__(
        self, stratum: Stratum, rows: Rows, *, weighted: bool = False, parts: tuple[str, ...] = ()
    ) -> None:
        """The next rows of a stratum, in its file."""
        part = PART_OF.join(parts)
        name = weighted_name(stratum) if weighted else counted_name(stratum)
        self.append(f"{self._folder_of(part)}{name}", rows, part)

    def _folder_of(self, part: str) -> str:
        """The folder of a part, each its own on every system: `samples_` and what can be kept of
        its name."""
        if part not in self._folders:
            wanted = f"samples_{re.sub('[^A-Za-z0-9]+', '_', part).strip('_')}".rstrip("_")
            taken, number, folder = {*map(str.casefold, self._folders.values())}, 1, wanted
            while f"{folder}/".casefold() in taken:
                number += 1
                folder = f"{wanted}_{number}"
            with _told():
                (self.folder / folder).mkdir(exist_ok=True)
            self._folders[part] = f"{folder}/"
        return self._folders[part]

    def append(self, name: str, rows: Rows, part: str = "") -> None:
        """The next rows of a file; another name ends the file before it."""
        if name != self._name:
            self._finish()
            self._name, self._part = name, part
        self._waiting.append(rows)
        if sum(map(_length, self._waiting)) >= ROW_GROUP:
            self._flush()

    def _flush(self) -> None:
        """What waits, as one row group."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        if not self._waiting:
            return
        first = self._waiting[0]
        arrays = [
            pa.array(np.concatenate([rows[column] for rows in self._waiting])) for column in first
        ]
        with _told():
            if self._writer is None:
                schema = pa.schema(
                    [
                        pa.field(
                            column.name,
                            array.type,
                            metadata={"unit": column.unit, "meaning": column.meaning},
                        )
                        for column, array in zip(first, arrays, strict=True)
                    ]
                )
                self._writer = pq.ParquetWriter(
                    self.folder / f"{self._name}.parquet", schema, compression="zstd"
                )
                file = f"{self._name}.parquet"
                self._columns += [(file, self._part, column) for column in first]
            self._writer.write_table(pa.Table.from_arrays(arrays, schema=self._writer.schema))
        self._waiting = []

    def _finish(self) -> None:
        self._flush()
        if self._writer is not None:
            with _told():
                self._writer.close()
        self._writer = None

    def _write_columns(self) -> None:
        """The table of the columns of every file."""
        with _told(), (self.folder / COLUMNS).open("w", encoding="utf-8", newline="") as file:
            table = csv.writer(file, lineterminator="\n")
            table.writerow(["file", "part", "column", "unit", "meaning", "what", *SETTING])
            table.writerows(
                [
                    name,
                    plain_cell(part),
                    column.name,
                    column.unit,
                    column.meaning,
                    column.what,
                    *("" if value is None else value for value in column.setting),
                ]
                for name, part, column in self._columns
            )


def _length(rows: Rows) -> int:
    return len(next(iter(rows.values())))


@contextmanager
def _told() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise RunStopped(
            f"--keep-samples: a file cannot be written ({reason(error)});"
            " free some space, take fewer samples, or leave the option out"
        ) from None
