"""The command compare: two folders of results side by side, into a folder of its own."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from montecarlo.errors import RunStopped, reason
from studies.cli.folder import prepare
from studies.cli.listing import PROBE
from studies.cli.output import write_table
from studies.compare.run import compare
from studies.protocol import Findings
from studies.report.blocks import Block, Page, Paragraph, Picture, Section
from studies.report.catalogue import figure_text
from studies.report.page import render
from studies.report.safety import CAUTION
from studies.report.streams import say
from studies.report.terminal import shown
from studies.report.words import counted

PAGE = "compare.html"


def compare_runs(one: Path, other: Path, out: Path | None) -> None:
    """Compare, write and say.

    Parameters
    ----------
    one, other : Path
        Folders that the command run has written.
    out : Path or None
        A folder that is not there yet or empty; None: one named after both.

    Raises
    ------
    StudyError
    """
    folder = out or Path(f"{one.resolve().name}-{other.resolve().name}-compared")
    prepare(folder, replace=False)
    findings, sections = compare(one, other)
    title = f"{one.resolve().name} and {other.resolve().name} compared"
    try:
        files = _written(folder, findings, sections, title)
    except OSError as error:
        raise RunStopped(
            f"{folder}: cannot be written ({reason(error)}); free some space or name another"
            " folder with --out"
        ) from None
    where = f"Comparison: {folder}{os.sep}\n{counted(files, 'file')}; begin with {PAGE}."
    said = [shown(findings.text), "", where, "", shown([Paragraph(CAUTION)])]
    say("\n".join(said), f"the comparison is in {folder}{os.sep}")


def _written(folder: Path, findings: Findings, sections: list[Section], title: str) -> int:
    """All files, in place at once; how many."""
    home = folder.parent
    staging = Path(tempfile.mkdtemp(prefix=PROBE, dir=home))
    try:
        for name, frame in findings.frames.items():
            write_table(frame, staging / f"{name}.csv")
        for name in findings.figures:
            findings.figures.printed(name).write(staging, name)
        pictures: list[Block] = list(_pictures(findings, staging))
        figures = [Section("Figures", pictures)] if pictures else []
        rest = [*figures, *sections[1:]]
        page = Page(title, "Comparison of two runs", {}, {}, rest, CAUTION, sections[:1])
        (staging / PAGE).write_text(render(page), encoding="utf-8")
        count = len(list(staging.iterdir()))
        staging.chmod(0o755 & ~_umask())
        if folder.is_dir():
            folder.rmdir()  # empty, as was looked at
        staging.rename(folder)
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return count


def _umask() -> int:
    """What files of this process may not be."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _pictures(findings: Findings, folder: Path) -> Iterator[Block]:
    for number, name in enumerate(findings.figures, 1):
        text = figure_text(name)
        svg = (folder / f"{name}.svg").read_text(encoding="utf-8")
        own = findings.figures.words(name)
        caption = " ".join(filter(None, (text.caption, own, f"Numbers: {name}.csv.")))
        yield Picture(name, svg, text.title, f"Figure {number}. {caption}")
