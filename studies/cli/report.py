"""The report of a run as one page.

What every kind of study has comes from its text, tables and figures; what a choice among settings
adds, from `studies/sweep/report.py`. The sentences are those of the terminal and of `check`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from montecarlo.quantities.wording import listed
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.checks import cautions
from montecarlo.study.description import Study
from montecarlo.study.wiring import wiring_cautions
from studies.check.text import correlations, given, input_tables, what_is_run
from studies.nominal.backup import backup_by_hand
from studies.nominal.desk import Desk
from studies.nominal.text import hand_calculation, reach
from studies.report.blocks import (
    Block,
    Caution,
    Fragment,
    Heading,
    Items,
    Page,
    Paragraph,
    Picture,
    Section,
    Table,
    items,
)
from studies.report.catalogue import QUESTIONS, column_head, figure_text, table_text
from studies.report.frame_table import frame_table
from studies.report.notes import move_sentences
from studies.report.page import render
from studies.report.safety import CAUTION
from studies.sweep.report import ChoiceReport, rests_on
from studies.verify.published import KINDS, QUICK, counted, published_values

if TYPE_CHECKING:
    import pandas as pd

    from studies.protocol import Findings

REPORT = "report.html"
UNRESOLVED = "unresolved"  # a table of zeros says no more than the sentence does
LEADING = 5  # inputs shown of each output of a study of drivers
FEW_COLUMNS = 8  # named of a table that is not shown


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
        Section(
            "What backs up the unprotected part",
            choice.unprotected_part() if choice else _backup(desk),
        ),
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
    return [Paragraph(asked), Paragraph(what_is_run(study)), Paragraph(rests_on(study))]


def _answer(study: Study, findings: Findings) -> list[Block]:
    """What the terminal says: the first sentence, then the other sentences, tables and lists."""
    first: list[Block] = []
    sentences: list[Block] = [Caution(str(caution)) for caution in wiring_cautions(study)]
    others: list[Block] = []
    lists: list[Block] = []
    for block in findings.text:
        if isinstance(block, Paragraph) and not first:
            first.append(Fragment("answer.html", {"text": block.text}))
        elif isinstance(block, Paragraph | Caution):
            sentences.append(block)
        elif isinstance(block, Items):
            lists.append(block)
        else:
            others.append(block)
    know: list[Block] = [Heading("To know with it"), *lists] if lists else []
    return [*first, *sentences, *others, *know]


def _figures(findings: Findings, folder: Path) -> Iterator[Block]:
    for number, name in enumerate(findings.figures, 1):
        text = figure_text(name)
        data = f" Numbers: {name}.csv." if name in findings.frames else ""
        svg = (folder / f"{name}.svg").read_text(encoding="utf-8")
        yield Picture(name, svg, text.title, f"Figure {number}. {text.caption}{data}")


# --- what went in -------------------------------------------------------------


def _by_hand(desk: Desk, choice: ChoiceReport | None) -> list[Block]:
    return [
        *(choice.beside_by_hand() if choice else []),
        Paragraph("Every input at its centre; nothing here is sampled."),
        *reach(desk),
        *hand_calculation(desk),
        *backup_by_hand(desk),
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
    yield from correlations(study, "correlations")


def _assumptions(study: Study) -> Iterator[Block]:
    inputs = [item for item in list_inputs(study) if item.uncertain]
    sourced = [item for item in inputs if item.distribution.source]
    yield Paragraph(
        f"{len(inputs)} inputs are uncertain; {len(sourced)} of them name a source. Where none is"
        " named, the distribution is whoever's who wrote the study, and a reviewer should ask"
        " for it."
    )
    yield from items(
        f"{item.key}: {item.distribution.source}"
        for item in sourced
        if item.distribution.is_assumed
    )
    found = (f"{caution.key}: {caution.text}" for caution in cautions(study))
    yield from items((*found, *move_sentences(study)))
    yield Paragraph(CAUTION)


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
    return [
        Paragraph(
            "This kind of study does not ask which uncertain input decides the result. The same"
            ' file with kind = "uncertainty_drivers" does: it says what to specify or measure'
            " first."
        )
    ]


def _backup(desk: Desk) -> list[Block]:
    return backup_by_hand(desk) or [
        Paragraph(
            "The study states no back-up in the neutral ([backup]); nothing is known here of what"
            " would clear a fault that the differential scheme misses."
        )
    ]


# --- beside the study ---------------------------------------------------------


def _published() -> Iterator[Block]:
    found = dict(published_values(QUICK))
    rows = [one for part in found.values() for one in part]
    agree = sum(one.agrees for one in rows)
    yield Paragraph(
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
    chosen = None if findings.result is None else findings.result.chosen
    others: list[tuple[str, ...]] = []
    for name, frame in findings.frames.items():
        if table_text(name).beside or not _says_something(name, frame):
            others.append((f"{name}.csv", f"{len(frame)}", _columns(frame)))
        else:
            yield _shown(name, frame, chosen)
    if others:
        yield Table(("file", "rows", "columns"), tuple(others), "<><", "Beside this report")


def _says_something(name: str, frame: pd.DataFrame) -> bool:
    return bool(len(frame)) and (name != UNRESOLVED or bool(frame["unresolved"].any()))


def _shown(name: str, frame: pd.DataFrame, chosen: int | None) -> Table:
    text = table_text(name)
    caption = text.caption
    if chosen is not None and "candidate" in frame and ("type" in frame or "event" in frame):
        frame = frame[frame["candidate"] == chosen]
        caption += ", chosen setting"
    if text.second:  # p of the chosen setting is told once, of the fresh batch
        frame = frame.drop(columns=[*text.second])
        caption += ", from samples of their own"
    return frame_table(frame, caption, f"{name}.csv")


def _columns(frame: pd.DataFrame) -> str:
    names = [column_head(str(name)) for name in frame.columns]
    if len(names) <= FEW_COLUMNS:
        return listed(names)
    return f"{', '.join(names[:FEW_COLUMNS])} and {len(names) - FEW_COLUMNS} more"


def _provenance(study: Study, findings: Findings, command: str) -> list[Block]:
    skipped = ("told", "doubts", "study_title", "study_kind")
    record: dict[str, Any] = {"command": command, **findings.provenance}
    rows = [
        (key.replace("_", " "), text)
        for key, value in record.items()
        if key not in skipped and value is not None and (text := _words(value))
    ]
    return [
        Paragraph(
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
