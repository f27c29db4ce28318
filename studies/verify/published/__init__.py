"""Values of others and ours, worked out anew whenever they are asked for: no network, no package
that only tests need.

One list: the report shows what takes no time, `statorodds verify` all of it, and tests take their
examples from here. `row.py: Kind` says how a value is known; books' companions are public scripts,
no print."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from studies.verify.published import (
    dependability,
    machine,
    relaying,
    statistics,
    transformers,
    whole,
    winding,
)
from studies.verify.published.row import AGREES, DIFFERS, KINDS, Kind, Published, counted

__all__ = [
    "AGREES",
    "DIFFERS",
    "KINDS",
    "QUICK",
    "SUBJECTS",
    "Kind",
    "Published",
    "counted",
    "published_values",
]

Subjects = dict[str, Callable[[], Iterator[Published]]]
QUICK: Subjects = {
    "Winding left unprotected, by formula": winding.rows,
    "Machine and earthing": machine.rows,
    "Current transformers": transformers.rows,
    "Stability and bias": relaying.rows,
    "Damage, failure on demand": dependability.rows,
    "Limits and laws": statistics.rows,
}
SUBJECTS: Subjects = QUICK | {
    "Current transformers in time": transformers.transient_rows,
    "Effects of inputs, rare events": statistics.sampled_rows,
    "Winding left unprotected, by whole studies": whole.rows,
}


def published_values(
    subjects: Subjects = SUBJECTS,
) -> Iterator[tuple[str, list[Published]]]:
    """Each subject and its rows, a subject at a time.

    Parameters
    ----------
    subjects : dict
        Functions that give rows, by subject.

    Yields
    ------
    tuple of str and list of Published
        A subject at a time.
    """
    for subject, rows in subjects.items():
        yield subject, list(rows())
