"""The report of a run as one page: what every kind of study has, from its text, tables and figures;
and what a choice among settings adds (`choice_report.py`). The sentences are those of the terminal
and of `check`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from montecarlo.quantities.wording import listed
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.checks import cautions
from montecarlo.study.description import Study
from montecarlo.study.wiring import wiring_cautions
from studies.check.text import given, input_tables, what_is_run
from studies.nominal.backup import backup_by_hand
from studies.nominal.desk import Desk
from studies.nominal.text import hand_calculation, reach
from studies.report.frame_table import column_head, frame_table
from studies.report.notes import move_sentences
from studies.report.page import (
    Block,
    Fragment,
    Items,
    Page,
    Picture,
    Prose,
    Section,
    Subhead,
    Table,
    render,
)
from studies.report.safety import CAUTION
from studies.report.text import blocks
from studies.sweep.report import ChoiceReport, rests_on
from studies.verify.published import KINDS, QUICK, counted, published_values

if TYPE_CHECKING:
    import pandas as pd

    from studies.protocol import Findings

__all__ = ["REPORT", "report_page", "write_report"]

REPORT = "report.html"
ELSEWHERE = (
    "candidates",
    "inputs",
    "coverage",
    "exceedance",
    "convergence",
    "drivers",
    "detection_map",
    "waveforms",
    "commissioning",
)  # in a figure or a section of their own, or for a crew
# Of a second estimate
OWN_SAMPLES = {"what_if": ("p_now",), "elasticities": ("p",), "worth_of_measuring": ("today",)}
UNRESOLVED = "unresolved"  # a table of zeros says no more than the sentence does
QUESTIONS = {
    "setting_sweep": (
        "Which setting of the differential scheme misses fewest stator faults among those that the"
        " policy on false trips allows, and how sure is that?"
    ),
    "scheme_comparison": (
        "Which differential scheme misses fewest stator faults, each at its own best setting, and "
        "which faults does one miss that another catches?"
    ),
    "earthing_options": (
        "What does each way of earthing the neutral cost and buy, each at its own best setting: "
        "winding covered, current and energy of an earth fault?"
    ),
    "uncertainty_drivers": (
        "Which uncertain input decides how the setting performs, and what should be specified or "
        "measured first?"
    ),
    "variants": "How do the results change from one variant of the study to the next?",
}
CAPTIONS = {
    "tradeoff": (
        "Every candidate setting: the share of internal faults that it misses against the share of"
        " external events on which it trips falsely. Lower and further left is better; the bars are"
        " 95 % limits."
    ),
    "coverage": (
        "How likely an earth fault is detected, against its place along the winding from the"
        " neutral."
    ),
    "blind_zone": (
        "The part of the winding that stays blind, against the false trips that are allowed."
    ),
    "exceedance": (
        "How often an external event drives an element beyond a pick-up, as far down as the samples"
        " see."
    ),
    "convergence": (
        "How the chosen setting's probabilities settle as the fresh batch comes in; bands are 95 %"
        " limits."
    ),
    "coverage_against_energy": (
        "What an earthing option buys and what it costs: the part of the winding covered "
        "against the energy in an earth fault. Higher and further left is "
        "better. The "
        "energy in the fault is I^2 R_f over its time: 0 in a bolted fault."
    ),
    "excitation": "Measured excitation points of the CTs and the curve fitted to them.",
}
LEADING = 5  # inputs shown of each output of a study of drivers
TABLES = {
    "closest": "Nothing can be chosen: what comes closest to the policy's limits, each scheme",
    "earthing_options": (
        "Each option at its own best setting; energy in the fault is I^2 R_f, 0 in a bolted fault"
    ),
    "comparison": (
        "Paired differences from the chosen setting; 95 % limits hold for all pairs together"
    ),
    "neighbours": (
        "One step of a grid from the chosen setting; 95 % limits hold for all steps together"
    ),
    "scheme_differences": "Scheme differences; 95 % limits hold for all pairs together",
    "variant_differences": "Variant differences; 95 % limits hold for all variants together",
    "earthing_differences": "Earthing differences; 95 % limits hold for all pairs together",
    "by_type": "By fault type, event and load state",
    "rare": "Rare false trips: weighted samples beside counts",
    "scenarios": "Scenarios of the policy",
    "remanence_models": "Both remanence models",
    "backup": "Back-up by type",
    UNRESOLVED: "Samples without a result, most first",
    "blind_zone": "Blind part of the winding at equal false trips",
    "peak_voltage": "Peak voltage across the relay circuit on an internal fault",
}


def write_report(folder: Path, study: Study, findings: Findings, command: str) -> Path:
    """report.html in a folder that holds the figures already; its path."""
    path = folder / REPORT
    path.write_text(render(report_page(study, findings, folder, command)), encoding="utf-8")
    return path


def report_page(study: Study, findings: Findings, folder: Path, command: str) -> Page:
    """The whole report; the figures' SVG are read from `folder`."""
    desk, filed = Desk(study), study.document
    choice = (
        None
        if findings.result is None
        else ChoiceReport(findings.result, desk, findings.frames["peak_voltage"])
    )
    sections = [
        Section("Question", _question(study)),
        Section("Answer", _answer(study, findings)),
        *(choice.first() if choice else []),
        Section("Figures", list(_figures(findings, folder))),
        *(choice.second() if choice else []),
        Section("Tables", list(_tables(findings))),
        Section("What backs up the blind part", choice.blind_part() if choice else _backup(desk)),
        Section("Hand calculation", _by_hand(desk, choice)),
        Section("Inputs", list(_inputs(study))),
        Section("Assumptions and cautions", list(_assumptions(study))),
        Section("Drivers", _drivers(findings)),
        Section("Method", [Fragment("method.html")]),
        Section("Checks against published values", list(_published())),
        Section("Provenance", _provenance(study, findings, command)),
    ]
    record = findings.provenance
    return Page(
        study.study.title,
        f"{study.study.kind.replace('_', ' ').capitalize()}: report",
        {
            "Document": filed.number,
            "Revision": filed.revision,
            "Organisation": filed.organisation,
            "Finished (UTC)": (
                str(record.get("finished_utc", "")).removesuffix("+00:00").replace("T", " ")
            ),
            "Study digest": str(record.get("study_digest", ""))[:16],
            "Seed": str(study.study.seed),
        },
        {"Prepared": filed.prepared_by, "Checked": filed.checked_by, "Approved": filed.approved_by},
        [section for section in sections if section.blocks],
        CAUTION,
    )


# --- question and answer ------------------------------------------------------


def _question(study: Study) -> list[Block]:
    kind = study.study.kind
    asked = QUESTIONS.get(kind, f"A study of the kind {kind.replace('_', ' ')}.")
    return [Prose(asked), Prose(what_is_run(study)), Prose(rests_on(study))]


def _answer(study: Study, findings: Findings) -> list[Block]:
    """What the terminal says, the sentence first, then the rest of the text, the tables, the
    notes."""
    said, wired = blocks(findings.text), [f"{key}: {text}" for key, text in wiring_cautions(study)]
    prose = [block for block in said if isinstance(block, Prose)]
    notes = [
        *([Items(tuple(wired))] if wired else []),
        *(block for block in said if isinstance(block, Items)),
    ]
    others = [block for block in said if not isinstance(block, (Prose, Items))]
    first: list[Block] = [Fragment("answer.html", {"text": prose[0].text})] if prose else []
    return [*first, *prose[1:], *others, *([Subhead("To know with it"), *notes] if notes else [])]


def _figures(findings: Findings, folder: Path) -> Iterator[Block]:
    for number, (name, (_, title)) in enumerate(findings.figures.items(), 1):
        caption = CAPTIONS.get(
            "excitation" if name.startswith("excitation_") else name, f"{title}."
        )
        data = f" Numbers: {name}.csv." if name in findings.frames else ""
        yield Picture(
            name,
            (folder / f"{name}.svg").read_text(encoding="utf-8"),
            title,
            f"Figure {number}. {caption}{data}",
        )


# --- what went in -------------------------------------------------------------


def _by_hand(desk: Desk, choice: ChoiceReport | None) -> list[Block]:
    lines = [*reach(desk), "", *hand_calculation(desk), "", *backup_by_hand(desk)]
    return [
        *(choice.beside_by_hand() if choice else []),
        Prose("Every input at its centre; nothing here is sampled."),
        *blocks(lines),
    ]


def _inputs(study: Study) -> Iterator[Block]:
    head = ("key", "what it is", "unit", "value or distribution", "varies", "source")
    for name in input_tables():
        for title, keys in given(getattr(study, name), name):
            cells = [
                (row.key, row.meaning, row.unit.strip("-"), row.value, row.varies, row.source)
                for row in keys
            ]
            yield Table(head, tuple(cells), "<<<<<<", title, widths=(21, 28, 6, 20, 9, 16))
    if study.correlations:
        rows = tuple((*tie.between, f"{tie.rho:g}") for tie in study.correlations)
        yield Table(("between", "and", "rho"), rows, "<<>", "correlations")


def _assumptions(study: Study) -> Iterator[Block]:
    inputs = [item for item in list_inputs(study) if item.uncertain]
    sourced = [item for item in inputs if item.distribution.source]
    assumed = [item for item in sourced if "assum" in item.distribution.source.lower()]
    yield Prose(
        f"{len(inputs)} inputs are uncertain; {len(sourced)} of them name a source. Where none is"
        " named, the distribution is whoever's who wrote the study, and a reviewer should ask"
        " for it."
    )
    if assumed:
        yield Items(
            tuple(
                f"{item.key}: {item.distribution.source.removeprefix('assumed: ')} (assumed)"
                for item in assumed
            )
        )
    found = cautions(study)
    moved = [*move_sentences(study)]
    if found or moved:
        yield Items((*(f"{caution.key}: {caution.text}" for caution in found), *moved))
    yield Prose(CAUTION)


def _drivers(findings: Findings) -> list[Block]:
    if (drivers := findings.frames.get("drivers")) is not None:
        few = drivers.groupby(["side", "type", "output"], sort=False).head(LEADING)
        return [
            frame_table(
                few,
                f"Effects of the uncertain inputs, the {LEADING} that lead in each output",
                "drivers.csv",
            )
        ]
    from studies import KINDS

    text = "This kind of study does not ask which uncertain input decides the result."
    if "uncertainty_drivers" in KINDS:
        text += (
            ' The same file with kind = "uncertainty_drivers" does: it says what to specify or'
            " measure first."
        )
    return [Prose(text)]


def _backup(desk: Desk) -> list[Block]:
    said = blocks(backup_by_hand(desk))
    return said or [
        Prose(
            "The study states no back-up in the neutral ([backup]); nothing is known here of what"
            " would clear a fault that the differential scheme misses."
        )
    ]


# --- beside the study ---------------------------------------------------------


def _published() -> Iterator[Block]:
    found = dict(published_values(QUICK))
    rows = [one for part in found.values() for one in part]
    agree = sum(one.agrees for one in rows)
    yield Prose(
        f"{agree} of {len(rows)} published values agree with this version within what their digits,"
        " or the reading of them, leave open; worked out when this report was made. How a value"
        " came to be known stands behind its source. A row without a source has that of the row"
        " above. The command verify adds whole studies of worked examples, CTs in time, effects of"
        " inputs and rare events."
    )
    yield Table(
        KINDS, tuple(one.cells for one in counted(rows)), "<>><", "How the values are known"
    )
    for subject, part in found.items():
        yield Table(
            ("source", "where", "quantity", "value given", "here", "difference", "verdict"),
            tuple(
                (one.cited if one.cited != before else "", one.place, *one.cells)
                for one, before in zip(part, ["", *(one.cited for one in part)], strict=False)
            ),
            "<<<>>><",
            subject,
            widths=(24, 13, 23, 12, 11, 9, 8),
        )


def _tables(findings: Findings) -> Iterator[Block]:
    chosen, others = None if findings.result is None else findings.result.chosen, []
    for name, frame in findings.frames.items():
        if (
            name in ELSEWHERE
            or not len(frame)
            or (name == UNRESOLVED and not frame["unresolved"].any())
        ):
            others.append((f"{name}.csv", f"{len(frame)}", _columns(frame)))
            continue
        caption = TABLES.get(name, name.replace("_", " ").capitalize())
        if chosen is not None and "candidate" in frame and ("type" in frame or "event" in frame):
            frame, caption = frame[frame["candidate"] == chosen], f"{caption}, chosen setting"
        if name in OWN_SAMPLES:  # p of the chosen setting is told once, of the fresh batch
            frame = frame.drop(columns=[*OWN_SAMPLES[name]])
            caption += ", from samples of their own"
        yield frame_table(frame, caption, f"{name}.csv")
    if others:
        yield Table(("file", "rows", "columns"), tuple(others), "<><", "Beside this report")


def _columns(frame: pd.DataFrame) -> str:
    names = [column_head(str(name)) for name in frame.columns]
    return listed(names) if len(names) <= 8 else f"{', '.join(names[:8])} and {len(names) - 8} more"


def _provenance(study: Study, findings: Findings, command: str) -> list[Block]:
    skipped = ("told", "doubts", "study_title", "study_kind")
    record: dict[str, Any] = {"command": command, **findings.provenance}
    rows = [
        (key.replace("_", " "), text)
        for key, value in record.items()
        if key not in skipped and value is not None and (text := _words(value))
    ]
    return [
        Prose(
            "The same study file, seed and version give the same numbers, whatever the number of"
            " processes."
        ),
        Table(("what", "value"), tuple(rows), "<<"),
    ]


def _words(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_words(item)}" for key, item in value.items())
    if isinstance(value, (list, tuple)):
        return ", ".join(map(_words, value))
    return f"{value:.6g}" if isinstance(value, float) else str(value)
