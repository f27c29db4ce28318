"""The values as others give them: CSV files beside this one.

`values.csv` has what is given, `winding.csv` and `biased.csv` worked examples with their inputs,
`sources.csv` the works behind the short names. `digit` is what the digits given leave open; a blank
`given` or `digit` is worked out."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from importlib import resources

from studies.verify.published.row import Kind, Published


@cache
def read(name: str) -> tuple[dict[str, str], ...]:
    """The rows of one of the files.

    Parameters
    ----------
    name : str
        Without .csv.

    Returns
    -------
    tuple of dict
        Texts by column.
    """
    text = resources.files(__package__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def source_of(key: str) -> str:
    """The work behind a short name.

    Parameters
    ----------
    key : str

    Returns
    -------
    str
    """
    return next(row["work"] for row in read("sources") if row["key"] == key)


def values(group: str) -> list[Published]:
    """The values of one group, ours and what is blank not yet a number.

    Parameters
    ----------
    group : str
        As in `values.csv`.

    Returns
    -------
    list of Published
        In the order of the file.
    """
    return [
        Published(
            source_of(row["source"]),
            row["place"],
            row["quantity"],
            row["unit"],
            float(row["given"] or "nan"),
            float("nan"),
            float(row["digit"] or "nan"),
            Kind[row["kind"].upper()],
            at_most=row["at_most"] == "yes",
        )
        for row in read("values")
        if row["group"] == group
    ]


def beside(group: str, *ours: object) -> Iterator[Published]:
    """The values of one group beside ours.

    Parameters
    ----------
    group : str
        As in `values.csv`.
    *ours : float or array, ()
        One for each row, in the order of the file.

    Yields
    ------
    Published
    """
    for row, value in zip(values(group), ours, strict=True):
        yield replace(row, ours=float(value))  # type: ignore[arg-type]
