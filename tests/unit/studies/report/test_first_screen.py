"""What is seen before anything is scrolled: on a desk, on a phone, on a terminal."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from studies.cli.report import write_report
from studies.protocol import Drawn, Findings
from studies.report import terminal
from studies.report.blocks import Paragraph
from studies.report.catalogue import MOST_LEADING
from studies.report.letters import fitting, with_symbols
from studies.report.look import blank, write_figure
from studies.sweep.text import result_text
from tests.made import results
from tests.made.browser import framed, needs_browser
from tests.made.studies import study_with
from tests.unit.studies.sweep.test_result_text import finished

FIGURES = ("tradeoff", "protected_winding", "exceedance", "unprotected_winding")
SEEN = """
const lead = page.querySelector('.lead').getBoundingClientRect();
const figures = [...page.querySelectorAll('.leading .picture')];
return { wide: page.documentElement.scrollWidth, lead: lead.bottom,
         figures: figures.map(figure => figure.getBoundingClientRect().top),
         signed: page.querySelector('.signed').getBoundingClientRect().top };"""


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A page with long words wherever a study may have them."""
    folder = tmp_path_factory.mktemp("report")
    frame = results.candidates()
    result = finished(frame, chosen=5, runner_up=6, existing=31)
    study = study_with({"study.title": f"A machine of {'Unterschwarzenberg-' * 8}am Berg"})
    result = cast("Any", SimpleNamespace(**{**vars(result), "study": study}))
    figure, ax = blank()
    ax.set_xlabel("the axis")
    for name in FIGURES:
        write_figure(figure, folder, name, name)
    found = Findings(
        {"peak_voltage": results.peak_voltage(frame), "candidates": frame},
        Drawn(dict.fromkeys(FIGURES, lambda: figure)),
        text=tuple(result_text(result)),
        result=result,
        provenance={"study_digest": "0123456789abcdef" * 4, "files": ["x" * 90]},
    )
    return write_report(folder, study, found, "statorodds run x.toml").read_text("utf-8")


@needs_browser
def test_the_recommendation_and_its_figures_begin_on_the_first_screen(
    report: str, tmp_path: Path
) -> None:
    seen = framed(report, 1280, SEEN, tmp_path)
    assert seen["wide"] <= 1280
    assert seen["lead"] < 450
    assert len(seen["figures"]) == MOST_LEADING
    assert max(seen["figures"]) < 600 < 900 < seen["signed"]


@needs_browser
def test_a_phone_shows_the_recommendation_and_scrolls_no_page_sideways(
    report: str, tmp_path: Path
) -> None:
    seen = framed(report, 390, SEEN, tmp_path)
    assert seen["wide"] <= 390
    assert seen["lead"] < 900


@pytest.mark.parametrize(
    ("columns", "widest"), [(20, 60), (80, 80), (100, 100), (120, 110), (400, 110)]
)
def test_the_text_is_as_wide_as_the_terminal_within_reason(
    columns: int, widest: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    result = finished(results.candidates(), chosen=5, runner_up=6, existing=31)
    lines = terminal.shown(result_text(result)).splitlines()
    assert max(map(len, lines)) <= widest
    assert max(map(len, terminal.shown([Paragraph("word " * 99)]).splitlines())) > widest - 6


def test_signs_of_units_stand_where_letters_have_them() -> None:
    text = "200 ohm, 3 uF, 30 deg, resistance_ohm, 200_ohm.csv"
    signs = "200 Ω, 3 µF, 30°, resistance_ohm, 200_ohm.csv"
    assert with_symbols(text) == signs
    assert fitting(text, "utf-8") == signs
    for encoding in ("ascii", None, "no encoding"):
        assert fitting(text, encoding) == text
        assert fitting(signs, encoding) == text
    assert fitting("2 × 3 − 1 ≥ 5 · x", "ascii") == "2 x 3 - 1 >= 5 - x"
    assert fitting("Łódź", "ascii") == "Łódź"  # a name stays; the stream escapes it


def test_one_that_has_no_signs_is_told_in_ascii(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout", SimpleNamespace(encoding="cp437"))
    shown = terminal.shown([Paragraph("200 Ω at 30°")])
    assert shown == "200 Ω at 30°"  # that code page has both
    monkeypatch.setattr("sys.stdout", SimpleNamespace(encoding="latin-1"))
    assert terminal.shown([Paragraph("200 Ω at 30°")]) == "200 ohm at 30 deg"


# --- one number, one rounding -------------------------------------------------

MISSED, FALSE = (0.167843, 0.165218, 0.170417), (0.00763914, 0.00611233, 0.00887654)
PRINTED = {  # what begins so, and how it is printed wherever it stands
    r"16\.7\d*|16\.8\d*": "16.8",
    r"16\.5\d*": "16.5",
    r"17\.0\d*|17(?=\s%)": "17",
    r"0\.76\d*": "0.76",
    r"0\.00166\d*": "0.00166",
    r"0\.0091\d*|0\.0092\d*": "0.0092",
}


def test_a_quantity_is_printed_one_way_in_report_and_terminal(tmp_path: Path) -> None:
    frame = results.candidates()
    for name, values in (("p_missed", MISSED), ("p_false", FALSE)):
        frame.loc[4, [name, f"{name}_low", f"{name}_high"]] = values
    frame = frame.assign(missed_per_year=0.0099 * MISSED[0], false_per_year=1.2 * FALSE[0])
    result = finished(frame, chosen=5, runner_up=6, existing=31)
    mine = frame[frame["candidate"] == 5]
    columns = [name for name in mine if name.startswith(("candidate", "p_missed", "p_false"))]
    alone = mine[["candidate", "missed_per_year", "false_per_year"]]
    found = Findings(
        {
            "peak_voltage": results.peak_voltage(frame),
            "candidates": frame,
            "options": mine[columns],
            "rates": alone,
        },
        {},
        text=tuple(result_text(result)),
        result=result,
    )
    page = write_report(tmp_path, result.study, found, "").read_text("utf-8")
    shown = re.sub(
        r"<(script|style|section id=\"(inputs|method|checks|hand)).*?</(script|style|section)>",
        "",
        page,
        flags=re.DOTALL,
    )
    for text in (re.sub(r"<[^>]+>", " ", shown), terminal.text_of(found.text)):
        for pattern, wanted in PRINTED.items():
            ways = {way.group() for way in re.finditer(rf"(?<![\d.-])(?:{pattern})", text)}
            assert ways == {wanted}, pattern
