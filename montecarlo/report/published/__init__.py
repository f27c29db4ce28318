"""Values in print and ours, worked out anew whenever they are asked for: no network, no package that only tests need.

One list: the report shows what takes no time, `statorodds verify` all of it, and tests take their examples from here.
In a source, "companion": the answer was read from a public solutions companion of the named book; "quoted": from a
public page that quotes the work; "from memory": neither was at hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from montecarlo.report.published import machine, relaying, statistics, transformers, whole, winding
from montecarlo.report.published.row import AGREES, DIFFERS, Published

__all__ = ["AGREES", "DIFFERS", "QUICK", "SUBJECTS", "Published", "published_values"]

QUICK: dict[str, Callable[[], Iterator[Published]]] = {
    "Winding left unprotected, by formula": winding.rows,
    "Machine and earthing": machine.rows,
    "Current transformers": transformers.rows,
    "Stability and bias": relaying.rows,
    "Limits and laws": statistics.rows,
}
SUBJECTS: dict[str, Callable[[], Iterator[Published]]] = QUICK | {
    "Current transformers in time": transformers.transient_rows,
    "Effects of inputs, rare events": statistics.sampled_rows,
    "Winding left unprotected, by whole studies": whole.rows,
}


def published_values(subjects: dict[str, Callable[[], Iterator[Published]]] = SUBJECTS
                     ) -> Iterator[tuple[str, list[Published]]]:
    """Each subject and its rows, a subject at a time."""
    for subject, rows in subjects.items():
        yield subject, list(rows())
