"""The report of a run as one page.

What every kind of study has comes from its text, tables and figures; what a choice among settings
adds, from `studies/sweep/report.py`. The sentences are those of the terminal and of `check`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from montecarlo.frames.digits import without_unused
from montecarlo.quantities.wording import listed
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.checks import cautions
from montecarlo.study.description import Study
from montecarlo.study.wiring import wiring_cautions
from studies.check.text import correlations, given, input_tables, what_is_run
from studies.cli.rough import TITLE as ROUGH
from studies.connections.figure import pictures as connection_pictures
from studies.nominal.backup import backup_by_hand
from studies.nominal.desk import Desk
from studies.nominal.text import hand_calculation, reach
from studies.report.blocks import (
    Block,
    Caution,
    Fragment,
    Lead,
    Leading,
    Page,
    Paragraph,
    Picture,
    Section,
    Table,
    items,
)
from studies.report.catalogue import (
    QUESTIONS,
    column_head,
    figure_text,
    first_heading,
    leading,
    table_text,
)
from studies.report.frame_table import frame_table
from studies.report.notes import move_sentences
from studies.report.page import again, render
from studies.report.safety import CAUTION
from studies.sweep.report import ChoiceReport, rests_on
from studies.verify.published import KINDS, QUICK, counted, published_values

if TYPE_CHECKING:
    import pandas as pd

    from studies.protocol import Findings

REPORT = "report.html"
UNRESOLVED = "unresolved"  # a table of zeros says no more than the sentence does
LEADING = 5  # inputs shown of each output of a study of drivers
MOST_NAMED = 8  # entries of a record in one line
FEW_COLUMNS = 8  # named of a table that is not shown


def write_report(folder: Path, study: Study, findings: Findings, command: str) -> Path:
    """report.html in a folder that holds the figures already; its path."""
    path = folder / REPORT
    path.write_text(render(report_page(study, findings, folder, command)), encoding="utf-8")
    return path


def report_page(study: Study, findings: Findings, folder: Path, command: str) -> Page:
    """The whole report; the figures' SVG are read from `folder`."""
    filed, record = study.document, findings.provenance
    parts = _Parts(study, findings, list(_pictures(findings, folder)))
    title = study.study.title
    return Page(
        f"{ROUGH}: {title}" if findings.rough else title,
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
        {}
        if findings.rough
        else {
            "Prepared": filed.prepared_by,
            "Checked": filed.checked_by,
            "Approved": filed.approved_by,
        },
        _with_something(parts.later(command)),
        CAUTION,
        _with_something(parts.first()),
    )


def _with_something(sections: Iterable[Section]) -> list[Section]:
    return [section for section in sections if section.blocks]


class _Parts:
    """The sections of one report."""

    def __init__(self, study: Study, findings: Findings, pictures: list[Picture]) -> None:
        self.study, self.findings, self.pictures = study, findings, pictures
        self.desk = Desk(study)
        self.choice = (
            None
            if findings.result is None or findings.rough
            else ChoiceReport(findings.result, self.desk, findings.frames["peak_voltage"])
        )
        self.leading = leading(findings.figures)

    def first(self) -> Iterator[Section]:
        """What the terminal says, and the figures that carry it."""
        yield Section(first_heading(self.study.study.kind), [*self._answer()])
        yield from (block for block in self.findings.text if isinstance(block, Section))

    def _answer(self) -> Iterator[Block]:
        """Lead and cautions before the leading figures, whatever else stands alone after them."""
        alone = [block for block in self.findings.text if not isinstance(block, Section)]
        yield from (block for block in alone if isinstance(block, Lead))
        yield from (Caution(str(caution)) for caution in wiring_cautions(self.study))
        yield from (block for block in alone if isinstance(block, Caution))
        found = {picture.name: picture for picture in self.pictures}
        if self.leading:
            briefs = {name: figure_text(name).brief for name in self.leading}
            yield Leading(
                tuple(replace(found[name], caption=brief) for name, brief in briefs.items())
            )
        yield from (block for block in alone if not isinstance(block, Lead | Caution))

    def later(self, command: str) -> Iterator[Section]:
        """After the document block."""
        if self.findings.rough:
            yield from self._later_of_rough(command)
            return
        study, findings, choice, desk = self.study, self.findings, self.choice, self.desk
        yield from choice.settings() if choice else []
        yield Section("Figures", [self._whole(picture) for picture in self.pictures])
        yield Section("Tables", list(_tables(findings)))
        backup = choice.unprotected_part() if choice else _backup(desk)
        yield Section("Back-up for the unprotected part", backup)
        yield Section("Hand calculation", _by_hand(desk, choice))
        yield Section("Question", _question(study))
        yield Section("Connections", [*connection_pictures(study)])
        yield Section("Inputs", list(_inputs(study)))
        yield Section("Assumptions and cautions", list(_assumptions(study)))
        yield Section("Drivers", _drivers(findings))
        yield Section("How it was computed", findings.appendix)
        yield Section("Method", [Fragment("method.html")])
        yield Section("Checks against published values", list(_published()))
        yield Section("Provenance", _provenance(study, findings, command))

    def _later_of_rough(self, command: str) -> Iterator[Section]:
        """What a rough answer needs: no setting sheet, nothing to browse, no hand calculation."""
        study, findings = self.study, self.findings
        yield Section("Tables", list(_tables(findings)))
        yield Section("Question", _question(study))
        yield Section("Assumptions and cautions", list(_assumptions(study)))
        yield Section("How it was computed", findings.appendix)
        yield Section("Provenance", _provenance(study, findings, command))

    def _whole(self, picture: Picture) -> Picture:
        """A leading one stands in the page already."""
        return again(picture) if picture.name in self.leading else picture


# --- question and figures -----------------------------------------------------


def _question(study: Study) -> list[Block]:
    kind = study.study.kind
    asked = QUESTIONS.get(kind, f"A study of the kind {kind.replace('_', ' ')}.")
    return [Paragraph(asked), Paragraph(what_is_run(study)), Paragraph(rests_on(study))]


def _pictures(findings: Findings, folder: Path) -> Iterator[Picture]:
    for number, name in enumerate(findings.figures, 1):
        text = figure_text(name)
        table = f"{name}.csv"
        given = name in findings.frames or table in findings.files
        data = f" Numbers: {table}." if given else ""
        svg = (folder / f"{name}.svg").read_text(encoding="utf-8")
        words = findings.figures.words(name)
        caption = " ".join(filter(None, (text.caption, words)))
        yield Picture(name, svg, text.spoken(words), f"Figure {number}. {caption}{data}")


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
        f"{len(inputs)} inputs are uncertain; {len(sourced)} of them name a source. Where no source"
        " is named, the distribution is the author's judgement; ask for its basis."
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
            ' file with kind = "uncertainty_drivers" does, and says what to specify or measure'
            " first."
        )
    ]


def _backup(desk: Desk) -> list[Block]:
    return backup_by_hand(desk) or [
        Paragraph(
            "The study states no neutral back-up ([backup]). Nothing is known here of what would"
            " clear a fault that the differential scheme misses."
        )
    ]


# --- beside the study ---------------------------------------------------------


def _published() -> Iterator[Block]:
    found = dict(published_values(QUICK))
    rows = [one for part in found.values() for one in part]
    agree = sum(one.agrees for one in rows)
    yield Paragraph(
        f"{agree} of {len(rows)} published values agree with this version, within what their digits"
        " or the reading of them leave open. They were worked out when this report was made. A row"
        " without a source has that of the row above. The command verify adds whole studies of"
        " worked examples, CTs in time, effects of inputs and rare events."
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
        frame = frame[frame["candidate"] == chosen].drop(columns="candidate")
        caption += ", chosen setting"
    if text.second:  # p of the chosen setting is told once, of the fresh batch
        frame = frame.drop(columns=[*text.second])
        caption += ", from samples of their own"
    return frame_table(frame, caption, f"{name}.csv")


def _columns(frame: pd.DataFrame) -> str:
    names = [column_head(str(name)) for name in without_unused(frame).columns]
    if len(names) <= FEW_COLUMNS:
        return listed(names)
    return f"{', '.join(names[:FEW_COLUMNS])} and {len(names) - FEW_COLUMNS} more"


def _provenance(study: Study, findings: Findings, command: str) -> list[Block]:
    skipped = ("sentences", "doubts", "study_title", "study_kind", UNRESOLVED)  # said elsewhere
    record: dict[str, Any] = {"command": command, **findings.provenance}
    rows = [
        (key.replace("_", " "), text)
        for key, value in record.items()
        if key not in skipped and _is_short(value) and (text := _words(value))
    ]
    return [
        Paragraph(
            "The same study file, seed and version give the same numbers, whatever the number of"
            " processes. provenance.json has more."
        ),
        Table(("what", "value"), tuple(rows), "<<"),
    ]


def _is_short(value: Any) -> bool:
    """Whether a line can hold it: not what several runs or types each have of their own."""
    if isinstance(value, Mapping):
        nested = (Mapping, list, tuple)
        return len(value) <= MOST_NAMED and not any(isinstance(v, nested) for v in value.values())
    return value is not None


def _words(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_words(item)}" for key, item in value.items())
    if isinstance(value, (list, tuple)):
        return ", ".join(map(_words, value))
    return f"{value:.6g}" if isinstance(value, float) else str(value)
