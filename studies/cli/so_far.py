"""What a run that is stopped has to say: the answer of its last full round."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from montecarlo.engine.leading import Leading
from montecarlo.engine.workers.software import PRODUCT
from montecarlo.quantities.files import patiently
from studies.cli.leading import leading_line
from studies.cli.listing import SO_FAR
from studies.cli.output import write_table
from studies.cli.progress import Bar
from studies.report.streams import tell

WIDE = 1000  # a line that is told once is not cut


@contextmanager
def answer_so_far(progress: Bar, folder: Path) -> Iterator[None]:
    """Where the block is interrupted: tell which setting leads, and leave a table of all candidates
    in the folder of the unfinished run."""
    try:
        yield
    except KeyboardInterrupt:
        progress.close()
        if progress.found is not None:
            for line in _told(progress.found, folder):
                tell(line)
        raise


def _told(found: Leading, folder: Path) -> Iterator[str]:
    part = f"the first {found.samples:,} of {found.of_samples:,} samples"
    yield f"{PRODUCT}: so far, by {part}, not checked on others and not for use on a relay:"
    yield leading_line(found, WIDE)
    path = folder / SO_FAR
    if _written(found, path):
        yield f"every candidate that is still in the run: {path}"


def _written(found: Leading, path: Path) -> bool:
    """Put the table there, whole or not at all; no table is no reason not to stop."""
    from montecarlo.frames.so_far import so_far

    half = path.with_suffix(".part")
    try:
        write_table(so_far(found), half)
        patiently(lambda: half.replace(path))
    except OSError:
        return False
    return True
