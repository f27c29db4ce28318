"""One run, from a study file to a folder of results and a text."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator
from contextlib import closing, contextmanager, nullcontext, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from threading import Thread

from montecarlo.engine.quick import Rough, rough_run
from montecarlo.engine.sizes import check_sizes
from montecarlo.engine.stages import Stage
from montecarlo.engine.workers import Workers
from montecarlo.engine.workers.pool import Site
from montecarlo.engine.workers.processes import has_room
from montecarlo.engine.workers.software import PRODUCT
from montecarlo.quantities.wording import listed
from montecarlo.study.budget import too_few
from montecarlo.study.description import Study
from montecarlo.study.event_cautions import too_few_words
from montecarlo.study.read import study_bytes, study_of
from montecarlo.study.wiring import wiring_cautions
from studies import KINDS
from studies.cli.ending import tidy_when_ended
from studies.cli.folder import Destination, prepare
from studies.cli.identity import identity
from studies.cli.output import StudyFile, write_findings
from studies.cli.progress import Bar
from studies.cli.report import REPORT, write_report
from studies.cli.rough import TITLE, check_kind, marked, sampling_stages
from studies.cli.so_far import answer_so_far
from studies.protocol import Findings
from studies.report import pdf
from studies.report.blocks import Caution, Heading, Paragraph, paragraphs
from studies.report.inputs import inputs_of
from studies.report.safety import CAUTION
from studies.report.sample_files import SampleFiles, needs_pyarrow
from studies.report.streams import say, tell
from studies.report.terminal import shown
from studies.report.words import counted

DRAWING = Stage("drawing and writing", 3e5)  # in solutions of a circuit that take as long


@dataclass(frozen=True)
class Request:
    """What the command line asks for.

    Attributes
    ----------
    file, out : Path
        The study and the folder of results.
    samples, seed : int or None
        None: the study's own.
    workers : int or None
        None: one a core.
    cluster : str or None
        Address of a scheduler.
    replace, keep_samples, pdf : bool
    command : str
        As it was typed.
    quick : bool
        A rough answer.
    """

    file: Path
    out: Path
    samples: int | None
    seed: int | None
    workers: int | None
    cluster: str | None
    replace: bool
    keep_samples: bool
    pdf: bool
    command: str
    quick: bool = False


def run_file(request: Request) -> None:
    """Run the study and print its text.

    Parameters
    ----------
    request : Request

    Raises
    ------
    StudyError
    KeyboardInterrupt
        With what was kept.
    """
    content = study_bytes(request.file)
    study = study_of(content, request.file, samples=request.samples, seed=request.seed)
    rough: Rough | None = None
    if request.quick:
        check_kind(study)
        study, rough = rough_run(study)
    inputs = inputs_of(content, request.file.parent)
    check_sizes(study)
    destination = prepare(request.out, replace=request.replace)
    if request.keep_samples:
        needs_pyarrow()
    kind = KINDS[study.study.kind]()
    stages = kind.stages(study) if rough is None else sampling_stages(kind, study)
    wired = _warned(study)
    notes: list[str] = []
    with (
        tidy_when_ended(),
        _site(request.cluster) as site,
        closing(Bar((*stages, DRAWING))) as progress,
        destination.opened(identity(study, keep_samples=request.keep_samples)) as sitting,
    ):
        if there := sitting.finished.there:
            tell(
                f"{PRODUCT}: going on with the unfinished run in {request.out} ({there} finished"
                " chunks)"
            )
        crew = Workers(request.workers, site=site, finished=sitting.finished)
        if not crew.here and has_room(crew.count):  # else the workers tell of it
            Thread(target=_ready_to_write, daemon=True).start()
        with (
            SampleFiles(sitting.staging) if request.keep_samples else nullcontext() as keep,
            answer_so_far(progress, destination.unfinished),
        ):
            findings = kind.run(
                study,
                workers=crew,
                progress=progress,
                keep_samples=keep,
                rough=request.quick,
            )
        if rough is not None:
            findings = marked(findings, rough)
        progress(0, 1, DRAWING.what)
        files = write_findings(
            findings,
            destination,
            sitting.staging,
            StudyFile(request.file.name, content, inputs, request.command),
            partial(_report, study, findings, request, notes),
            crew,
        )
    say(
        "\n".join(_told(study, findings, wired, destination, len(files), notes)),
        f"the results are in {destination.folder}{os.sep}",
    )


def _ready_to_write() -> None:
    """Import what tables and figures need, while workers sample; what cannot be imported is told
    when it is needed."""
    with suppress(Exception):
        import jinja2  # noqa: F401
        import pandas  # noqa: F401

        from studies.report.look import loaded

        loaded()


def _warned(study: Study) -> list[str]:
    """Tell what should be known before anything is sampled; the cautions of the wiring."""
    wired = list(map(str, wiring_cautions(study)))
    for caution in (*map(too_few_words, too_few(study)), *wired):
        tell(f"{PRODUCT}: caution: {caution}")
    return wired


def _report(
    study: Study, findings: Findings, request: Request, notes: list[str], folder: Path
) -> None:
    """The report, and as PDF if that is asked for; `notes` take why there is none."""
    page = write_report(folder, study, findings, request.command)
    if request.pdf:
        browser = pdf.find_browser()
        notes.append(pdf.NO_BROWSER if browser is None else pdf.print_page(browser, page))


def _told(
    study: Study,
    findings: Findings,
    wired: list[str],
    destination: Destination,
    files: int,
    notes: list[str],
) -> list[str]:
    """What a finished run says; a line that somebody may copy is left whole."""
    cautions = [Caution(text) for text in wired]
    title = study.study.title
    begin = listed((REPORT, *findings.begin))
    return [
        shown([Heading(f"{TITLE}: {title}" if findings.rough else title)]),
        "",
        shown([*findings.text[:1], *cautions, *findings.text[1:]]),
        "",
        f"Results: {destination.folder}{os.sep}",
        shown(paragraphs(f"{counted(files, 'file')}; begin with {begin}.", *notes)),
        "",
        shown([Paragraph(CAUTION)]),
    ]


@contextmanager
def _site(address: str | None) -> Iterator[Site | None]:
    """The cluster at an address, if one is given. What goes wrong there is told here once, and not
    by the libraries too."""
    if address is None:
        yield None
        return
    from montecarlo.engine.workers.cluster import Cluster

    logging.disable(logging.CRITICAL)
    try:
        with Cluster(address) as site:
            yield site
    finally:
        logging.disable(logging.NOTSET)
