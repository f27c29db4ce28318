"""Words of a study file that a browser, a spreadsheet, a terminal or a figure would obey: they are
shown."""

from __future__ import annotations

import base64
import hashlib
import io
import re
import warnings
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from montecarlo.frames.cells import BEGINNINGS, plain_cells
from montecarlo.study.axes import Setting
from studies.cli.output import write_table
from studies.cli.report import write_report
from studies.commissioning.expected import Sheet
from studies.commissioning.lines import lines_of
from studies.commissioning.sheet import commissioning_frame, commissioning_page
from studies.protocol import Drawn, Findings
from studies.report.blocks import Caution, Items, Paragraph, Section, Table
from studies.report.look import blank, look, write_figure
from studies.report.terminal import lines
from studies.waveforms.comtrade import Channel, Record
from tests.made import results
from tests.made.studies import study_with
from tests.unit.studies.report.test_report import with_study
from tests.unit.studies.sweep.test_result_text import finished

WORDS = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror='alert(1)'>",
    "</style><script>1</script>",
    "{{ 7 * 7 }}",
    "{% for x in y %}",
    "=cmd()|' /C calc'!A0",
    "@SUM(A1)",
    "+1",
    "-1",
    "\u202eltr",
    "\U0001f9ea",
    "a\nb\r\nc",
    "\x1b[31mred\x07",
    "</script><b>",
    "<!--",
    "&lt;",
    "$\\frac{$",
    "%s%n",
    "\\",
    "javascript:alert(1)",
]
ELEMENTS = ("script", "style", "img", "iframe", "object", "embed", "link", "base", "form", "meta")


class Outline(HTMLParser):
    """Tags, attributes, the scripts that would run, and the text that is seen."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.scripts: list[str] = []
        self.policy = self.text = ""
        self._runs = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.tags.append(tag)
        self.attributes += given.items()
        if given.get("http-equiv") == "Content-Security-Policy":
            self.policy = given["content"]
        self._runs = tag == "script" and "json" not in given.get("type", "")
        self.scripts += [""] if self._runs else []

    def handle_endtag(self, tag: str) -> None:
        self._runs = False

    def handle_data(self, data: str) -> None:
        if self._runs:
            self.scripts[-1] += data
        self.text += data


def report(word: str, folder: Path) -> Outline:
    """A whole report with the word wherever a person's words may stand."""
    study = study_with(
        {
            "study.title": word,
            "ct.knee_voltage_v.source": word,
            "document": dict.fromkeys(
                ("number", "revision", "organisation", "prepared_by", "checked_by", "approved_by"),
                word,
            ),
            "policy": {
                "least_annual_cost": {
                    "missed_fault": 5,
                    "false_trip": 2,
                    "unit": word if word.isprintable() else "EUR",
                }
            },
        }
    )
    frame = results.candidates().assign(
        cost_per_year=1.0, cost_per_year_low=0.5, cost_per_year_high=2.0
    )
    frames = {
        "inputs": pd.DataFrame({"key": [word], "source": [word]}),
        "peak_voltage": results.peak_voltage(frame),
    }
    found = Findings(
        frames,
        Drawn({}),
        text=(Paragraph(word),),
        result=with_study(finished(frame, chosen=5), study),
    )
    folder.mkdir()
    return Outline(
        write_report(folder, study, found, f"statorodds run '{word}.toml'").read_text(
            encoding="utf-8"
        )
    )


@pytest.mark.slow
def test_a_report_is_of_the_same_build_whatever_the_words(tmp_path: Path) -> None:
    plain = report("plain", tmp_path / "plain")
    for number, word in enumerate(WORDS):
        found = report(word, tmp_path / str(number))
        assert [tag for tag in found.tags if tag in ELEMENTS] == [
            tag for tag in plain.tags if tag in ELEMENTS
        ], word
        assert not [name for name, _ in found.attributes if name.startswith("on")], word
        assert not [
            value
            for name, value in found.attributes
            if name in ("href", "src") and not value.startswith("#")
        ]
        shown = "".join(
            c if c.isprintable() or c in "\n\t" else c.encode("unicode_escape").decode()
            for c in word
        )
        assert found.text.count(shown.strip()) >= 10, word
        assert found.scripts == plain.scripts, word
        (script,) = found.scripts
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        assert f"script-src 'sha256-{digest}'" in found.policy
        assert "default-src 'none'" in found.policy


def test_the_commissioning_page_runs_nothing() -> None:
    setting = Setting("two_phase_one_earth", 0.1, 0.04, 0.0, 0.0)
    lines = [*lines_of(Sheet(study_with(), setting))]
    frame = commissioning_frame(lines)
    for word in WORDS:
        sheet = Sheet(study_with({"study.title": word}), setting)
        page = commissioning_page(
            sheet, lines_of(sheet), frame, {"version": word, "study_digest": word, "seed": 1}, word
        )
        found = Outline(page)
        assert found.scripts == []
        assert not [
            name for name, _ in found.attributes if name.startswith("on") or name in ("href", "src")
        ], word


# --- spreadsheets -------------------------------------------------------------


def test_no_cell_of_a_csv_is_a_formula() -> None:
    frame = pd.DataFrame(
        {"name": [*WORDS, "\t=1", "\r=1", None], "p": -np.arange(len(WORDS) + 3.0)}
    )
    text = plain_cells(frame).to_csv(index=False)
    back = pd.read_csv(io.StringIO(text))
    assert not back["name"].dropna().str.startswith(BEGINNINGS).any()
    assert back["p"].tolist() == frame["p"].tolist()  # a number below 0 stays one
    harmless = pd.DataFrame({"name": ["a-b", "", "1"], "p": [1.0, -2.0, np.nan]})
    assert plain_cells(harmless) is harmless


def test_no_table_that_is_written_has_a_formula(tmp_path: Path) -> None:
    write_table(
        pd.DataFrame({"name": ["=1+1", "a\rb", "-"], "sure": [True, False, True]}),
        tmp_path / "t.csv",
    )
    assert (tmp_path / "t.csv").read_bytes() == b'name,sure\n\'=1+1,true\n"a\nb",false\n-,true\n'


def test_a_record_begins_with_no_formula() -> None:
    for word in WORDS:
        made = Record(
            word, word, 50.0, 1000.0, 1, [Channel(word, word, 1000.0, 1.0)], np.ones((1, 4))
        )
        lines = made.files("ASCII")[0].decode("ascii").split("\r\n")
        assert not lines[0].startswith(BEGINNINGS), word
        assert [line.count(",") for line in lines[:3]] == [2, 2, 12], word


# --- terminal and figures -----------------------------------------------------


@pytest.mark.parametrize("word", WORDS)
def test_the_terminal_gets_nothing_to_obey(word: str) -> None:
    table = Table((word, "b"), ((word, word), ("x", "y")), "<<", word, (word,))
    text = lines([Section(word, [Paragraph(word), Items((word,)), Caution(word), table])])
    assert all(line.isprintable() for line in text)
    assert len(text) >= 6


@pytest.mark.parametrize("word", [word for word in WORDS if word.isprintable()])
def test_a_figure_holds_the_word_as_text(word: str, tmp_path: Path) -> None:
    with look():
        figure, ax = blank()
        ax.set_xlabel(word)
        ax.set_title(word)
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a letter that the font lacks is no warning to a person
        write_figure(figure, tmp_path, "one", word)
    root = ElementTree.parse(tmp_path / "one.svg").getroot()
    tags = {element.tag.rpartition("}")[2] for element in root.iter()}
    assert not tags & {"script", "image", "foreignObject", "a"}
    texts = [
        "".join(element.itertext()) for element in root.iter() if element.tag.endswith("}text")
    ]
    assert texts.count(word) == 2
    assert not re.search(
        r"\son\w+=", re.sub(r">[^<]*<", "><", (tmp_path / "one.svg").read_text(encoding="utf-8"))
    )
