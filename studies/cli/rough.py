"""A rough answer, `run --quick`: which studies and options it takes, how it is marked, and which of
a run's tables and figures it writes."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator
from dataclasses import asdict, replace

from montecarlo.engine.quick import Rough
from montecarlo.engine.stages import Stage
from montecarlo.errors import StudyError
from montecarlo.quantities.wording import listed
from montecarlo.study.description import Study
from studies.protocol import Findings, Kind
from studies.report.blocks import Block, Caution, Lead
from studies.report.catalogue import ROUGH_TABLES
from studies.report.record import ROUGH
from studies.report.words import counted
from studies.sweep.run import AFTER

TITLE = "Rough answer"
UNLIKE = {
    "samples": "takes the first part of the study's own samples",
    "keep_samples": "keeps no samples",
    "pdf": "prints no document",
}
DRIVERS = "uncertainty_drivers"


def check_options(options: Namespace) -> None:
    """Raise StudyError for an option that means nothing beside --quick."""
    for name, why in UNLIKE.items():
        if getattr(options, name):
            option = f"--{name.replace('_', '-')}"
            raise StudyError(f"{option}: --quick {why}; leave one of the two out")


def check_kind(study: Study) -> None:
    """Raise StudyError for a kind of study without a rough answer."""
    if study.study.kind == DRIVERS:
        raise StudyError(
            f'--quick: study.kind = "{DRIVERS}" ranks inputs, which few samples cannot; leave'
            ' --quick out, or set kind = "setting_sweep" for a rough setting'
        )


def sampling_stages(kind: Kind, study: Study) -> Iterator[Stage]:
    """The stages of a run without those that follow the choice, which a rough run leaves out."""
    return (stage for stage in kind.stages(study) if stage != AFTER)


def marked(findings: Findings, rough: Rough) -> Findings:
    """The same, marked as rough: few tables, the leading figures, no arrays and no other files."""
    wanted = [name.removesuffix(".svg") for name in findings.begin if name.endswith(".svg")]
    return replace(
        findings,
        frames={name: table for name, table in findings.frames.items() if name in ROUGH_TABLES},
        figures=findings.figures.only(wanted),
        arrays={},
        files={},
        provenance={**findings.provenance, ROUGH: asdict(rough)},
        text=tuple(_text(findings.text, rough)),
        rough=True,
    )


def _text(text: tuple[Block, ...], rough: Rough) -> Iterator[Block]:
    """That it is rough stands first; what was left out follows the recommendation."""
    first, *others = text
    part = f"{rough.samples:,} of {rough.of_samples:,} samples of each event"
    assert isinstance(first, Lead)
    yield Lead((f"{TITLE} from {part}, not for use on a relay.", *first.texts))
    yield Caution(" ".join(_left_out(rough)))
    yield from others


def _left_out(rough: Rough) -> Iterator[str]:
    if rough.of_earth_faults:
        faults = counted(rough.earth_faults, "earth fault")
        yield f"This run takes {faults} of {rough.of_earth_faults:,}."
    asked = {
        "weighted samples of rare false trips": rough.weighted,
        "the precision that the study asks for": rough.precision,
        "the other remanence model": rough.other_model,
    }
    always = ("waveforms", "the setting sheet", "the workbook", "PNG pictures")
    missing = (*(name for name in asked if asked[name]), *always, "how far inputs may be off")
    yield f"It leaves out {listed(missing)}."
    if not rough.shows_limit:
        yield "Its samples are too few to show the policy's limit of false trips."
    yield "Make the whole run, without --quick, before a setting is used."
