"""The workbook, read back by openpyxl: the tables' own values, and no text that a program would
run."""

from __future__ import annotations

import re
import shutil
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest
from openpyxl.cell.cell import MergedCell

from montecarlo.frames.digits import AS_STATED
from studies.report import sheets
from studies.report.blocks import Caution, Items, Paragraph, Section, Table
from studies.report.catalogue import sheet_head
from studies.report.print_plan import MOST_PAGES
from studies.report.refusals import in_words
from studies.report.sheets import HEAD
from studies.report.summary_sheet import PROVENANCE as RECORD
from studies.report.summary_sheet import SUMMARY
from studies.report.workbook import Told, sheet_plans, write_workbook
from tests.made.finished_runs import curves, judged
from tests.made.results import candidates

OFFICE = shutil.which("soffice")

PROVENANCE = {
    "study_title": "=1+1 & <b>",
    "version": "1.2",
    "study_digest": "abc",
    "seed": 7,
    "samples": {"internal.earth": 512},
}
CAUTION = "take care"
TEXT = (
    Paragraph("Setting no. 7 is recommended, with 200 ohm."),
    Caution("look twice"),
    Section("Notes", [Items(("one", "two")), Table(("a", "b"), (("1", "=2"),), "<<")]),
)


def book(tmp_path: Path, frames: dict[str, pd.DataFrame], **provenance: Any) -> Any:
    write_workbook(tmp_path / "t.xlsx", frames, Told(PROVENANCE | provenance, CAUTION, TEXT))
    return openpyxl.load_workbook(tmp_path / "t.xlsx")


def column(sheet: Any, name: str) -> list[Any]:
    at = next(cell.column for cell in sheet[HEAD] if cell.value == name)
    return [row[at - 1].value for row in sheet.iter_rows(min_row=HEAD + 1)]


def summary(read: Any) -> list[tuple[Any, ...]]:
    """Its lines, without the cells over which others reach."""
    rows = read[SUMMARY].iter_rows()
    return [tuple(cell.value for cell in row if not isinstance(cell, MergedCell)) for row in rows]


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("phase_pickup_a", "phase pick-up [A]"),
        ("stabilising_resistance_ohm", "stabilising resistance [\u03a9]"),
        ("winding_deg", "winding [\u00b0]"),
        ("delay_s", "delay [s]"),
        ("missed_per_year", "missed [1/year]"),
        ("p_missed_low", "p missed low"),
        ("missed_per_year_low", "missed low [1/year]"),
        ("cost_per_year", "cost per year"),
        ("v_knee_v", "v knee [V]"),
        ("samples", "samples"),
        ("x", "x"),
    ],
)
def test_units_stand_in_the_header(name: str, shown: str) -> None:
    assert sheet_head(name) == shown


def test_every_value_comes_back(tmp_path: Path) -> None:
    frame = in_words(candidates())
    sheet = book(tmp_path, {"candidates": frame})["candidates"]
    for name in frame.columns:
        back = column(sheet, sheet_head(name))
        for wanted, found in zip(frame[name].tolist(), back, strict=True):
            if wanted == "" or (isinstance(wanted, float) and np.isnan(wanted)):
                assert found is None
            elif isinstance(wanted, float):  # as in the CSV
                assert found == pytest.approx(wanted, rel=5e-8, abs=0)
                assert found == (wanted if name in AS_STATED else float(f"{found:.8g}"))
            else:
                assert (type(found), found) == (type(wanted), wanted)
    assert sheet.freeze_panes == "B4"
    assert sheet.auto_filter.ref.startswith("A3:")


@pytest.mark.parametrize(
    ("name", "value", "shown"),
    [
        ("p_missed", 0.25, "0.0000"),
        ("p_missed", 2.5e-5, "0.00E+00"),
        ("difference", -2.5e-5, "0.00E+00"),
        ("difference", -0.5, "0.0000"),
        ("p_false", 0.0, "0"),
        ("earth_pickup_a", 0.05, "0.0###"),
        ("expected", 0.66656, "0.####"),
        ("expected", 86.871, "0.##"),
        ("samples", 4096, "0"),
        ("heat", -3e7, "0.00E+00"),
    ],
)
def test_numbers_are_shown_with_their_sign_and_four_figures(
    name: str, value: float, shown: str
) -> None:
    # a format with conditions would drop the minus of a small difference
    assert sheets.number_format(name, value) == shown


HOSTILE = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "{=A1}",
    '=HYPERLINK("http://x","y")',
    "http://x.example",
    "<b>&amp;",
    "\ta",
]


def test_no_text_becomes_a_formula_or_a_link(tmp_path: Path) -> None:
    read = book(
        tmp_path,
        {"inputs": pd.DataFrame({"source": HOSTILE, "=key": [1] * len(HOSTILE)})},
        told=HOSTILE,
    )
    assert column(read["inputs"], "source") == HOSTILE
    for sheet in read.worksheets:
        for row in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in row)
            links = [cell.hyperlink for cell in row if cell.hyperlink]
            assert all(link.target is None and link.location.endswith("!A1") for link in links)
    with zipfile.ZipFile(tmp_path / "t.xlsx") as packed:
        assert not [
            name
            for name in packed.namelist()
            if "vba" in name.lower() or "external" in name.lower()
        ]
        assert not any(b"<f>" in packed.read(name) for name in packed.namelist())


def test_the_summary_comes_first_with_text_figures_and_links(tmp_path: Path) -> None:
    frame = in_words(judged(candidates(), 7))
    read = book(tmp_path, {"candidates": frame, "of_my_own": pd.DataFrame({"a": [1]})})
    assert read.sheetnames == [SUMMARY, "candidates", "of_my_own", RECORD]
    rows = summary(read)
    first = [row[0] for row in rows]
    assert first[:3] == [PROVENANCE["study_title"], "statorodds 1.2, study abc, seed 7", CAUTION]
    assert first[4:6] == ["Setting no. 7 is recommended, with 200 \u03a9.", "Caution: look twice"]
    assert first.index("quantity") < first.index("Notes") < first.index("sheet")
    own = frame.iloc[6]
    found = {row[0]: row[1:4] for row in rows}
    assert found["missed faults, share of the faults in scope"] == pytest.approx(
        (own["p_missed"], own["p_missed_low"], own["p_missed_high"])
    )
    assert found["missed faults a year"] == pytest.approx(
        (own["missed_per_year"], 0.01 * own["p_missed_low"], 0.01 * own["p_missed_high"])
    )
    assert found["of_my_own"] == (1, 1, "the table of of_my_own.csv")
    links = {cell.value: cell.hyperlink for cell in read[SUMMARY]["A"] if cell.hyperlink}
    assert {name: link.location for name, link in links.items()} == {
        name: f"'{name}'!A1" for name in ("candidates", "of_my_own", RECORD)
    }


def test_the_provenance_is_the_last_sheet(tmp_path: Path) -> None:
    read = book(tmp_path, {"candidates": judged(candidates())})
    rows = {row[0].value: row[1].value for row in read[RECORD].iter_rows()}
    assert (rows["version"], rows["study_digest"], rows["seed"]) == ("1.2", "abc", "7")
    assert rows["samples.internal.earth"] == "512"


def test_what_stands_elsewhere_is_not_in_the_provenance_and_sentences_have_lines(
    tmp_path: Path,
) -> None:
    record: dict[str, Any] = {
        "unresolved": {"internal.earth": "0 of 512"},
        "sentences": ["One thing.", "Another."],
    }
    read = book(tmp_path, {"candidates": judged(candidates())}, **record)
    rows = {row[0].value: row[1].value for row in read[RECORD].iter_rows()}
    assert (rows["sentences.1"], rows["sentences.2"]) == ("One thing.", "Another.")
    assert not [key for key in rows if str(key).startswith("unresolved")]


def test_the_foot_leaves_room_for_the_name_of_the_sheet(tmp_path: Path) -> None:
    digest = "0123456789abcdef" * 4
    read = book(tmp_path, {"candidates": judged(candidates())}, study_digest=digest)
    foot = read["candidates"].oddFooter.left.text
    assert digest[:16] in foot
    assert digest[:17] not in foot
    assert digest in " ".join(str(line) for line in summary(read))


def test_choices_beyond_those_shown_are_counted(tmp_path: Path) -> None:
    frame = judged(candidates())
    read = book(tmp_path, {"candidates": frame.assign(chosen=True)})
    lines = [str(line[0]) for line in summary(read) if line]
    assert f"The first 12 of {len(frame)}; the sheet candidates has all." in lines


def test_infinity_is_a_word_and_a_flag_a_flag(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "p": [np.inf, -np.inf, np.nan, 1e-300],
            "chosen": [True, False, True, False],
            "any": [None, "x", 2, np.float64(0.5)],
            "number": pd.array([1, None, 3, None], dtype="Int64"),
        }
    )
    sheet = book(tmp_path, {"t": frame})["t"]
    assert column(sheet, "p") == ["inf", "-inf", None, 1e-300]
    assert column(sheet, "chosen") == [True, False, True, False]
    assert column(sheet, "any") == [None, "x", 2, 0.5]
    assert column(sheet, "number") == [1, None, 3, None]


def test_rows_above_the_limit_of_a_sheet_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sheets, "ROWS_MAX", 10 + HEAD)
    read = book(tmp_path, {"protected_winding": pd.DataFrame({"x": np.arange(12.0)})})
    assert column(read["protected_winding"], "x") == [float(k) for k in range(10)]
    told = "only the first 10 rows fit a sheet, all 12 are in protected_winding.csv"
    assert read["protected_winding"]["A1"].value.endswith(told)
    assert next(row[3] for row in summary(read) if row[0] == "protected_winding").endswith(told)


def test_long_names_and_names_that_differ_only_in_case(tmp_path: Path) -> None:
    frames = {
        name: pd.DataFrame({"n": [k]})
        for k, name in enumerate(["a" * 40, "a" * 41, "A" * 31, "Summary", "empty"])
    }
    frames["empty"] = frames["empty"].iloc[:0]
    read = book(tmp_path, frames)
    assert len({name.lower() for name in read.sheetnames}) == 7
    assert max(map(len, read.sheetnames)) <= 31
    assert [read.worksheets[k]["A4"].value for k in range(1, 6)] == [0, 1, 2, 3, None]


def test_a_place_that_cannot_be_written_to_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="No such file"):
        write_workbook(tmp_path / "absent" / "t.xlsx", {}, Told(PROVENANCE, CAUTION))


# --- on paper -----------------------------------------------------------------


def long_tables() -> dict[str, pd.DataFrame]:
    """Some hundred candidates, and tables with many rows of each."""
    frame = judged(
        candidates(ohms=(0.0, 100.0, 300.0, 600.0), earths=tuple(0.01 * np.arange(1, 9)))
    )
    rows = len(frame)
    sources = pd.DataFrame({"key": ["k"] * 40, "source": ["a long reason " * 12] * 40})
    return {
        "candidates": in_words(frame.assign(chosen=frame["candidate"] == 7)),
        "protected_winding": curves(frame),
        "exceedance": pd.DataFrame({"event": ["e"] * 1500, "p": np.linspace(0, 1, 1500)}),
        "by_type": pd.DataFrame({"candidate": np.repeat(np.arange(1, rows + 1), 9), "p": 0.5}),
        "convergence": pd.DataFrame({"candidate": [7] * 5, "p_missed": 0.2}),
        "inputs": sources,
    }


def test_the_chosen_rows_are_printed_and_the_sheet_says_so(tmp_path: Path) -> None:
    read = book(tmp_path, long_tables(), chosen=7)
    sheet = read["protected_winding"]
    first = HEAD + 6 * 41 + 1
    assert sheet.print_area == f"'protected_winding'!$A${first}:$E${first + 40}"
    told = sheet["A2"].value
    assert told == (
        f"Printed: 41 rows of candidate 7, of {sheet.max_row - HEAD}. Change the print area to"
        " print more."
    )
    assert sheet.print_title_rows == "$1:$3"
    assert sheet.page_setup.orientation == "landscape"
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert read["exceedance"]["A2"].value.startswith("None of it is printed.")
    assert read["exceedance"].print_area == "'exceedance'!$A$1:$B$3"
    assert read["convergence"]["A2"].value == "All of it is printed."
    assert re.match(r"Printed: [0-9]+ rows, of 40\.", read["inputs"]["A2"].value)


def test_rows_and_columns_are_as_large_as_their_texts(tmp_path: Path) -> None:
    read = book(tmp_path, long_tables())
    sheet = read["inputs"]
    assert sheet.row_dimensions[HEAD + 1].height >= 3 * 15  # 168 letters in a column of 56
    assert sheet.column_dimensions["B"].width == pytest.approx(56, abs=1)
    assert read[SUMMARY].row_dimensions[1].height > 15


def test_a_workbook_has_few_pages() -> None:
    told = Told(PROVENANCE | {"chosen": 7}, CAUTION, TEXT)
    found = sheet_plans(long_tables(), told)
    assert sum(plan.pages for plan in found.values()) <= MOST_PAGES
    many = {f"{name}_{k}": frame for name, frame in long_tables().items() for k in range(3)}
    assert sum(plan.pages for plan in sheet_plans(many, told).values()) <= MOST_PAGES


@pytest.mark.slow
@pytest.mark.skipif(OFFICE is None, reason="no LibreOffice is installed")
def test_a_program_that_prints_makes_as_many_pages(tmp_path: Path) -> None:
    book(tmp_path, long_tables(), chosen=7)
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    order = [str(OFFICE), profile, "--headless", "--convert-to", "pdf", "--outdir", str(tmp_path)]
    subprocess.run([*order, str(tmp_path / "t.xlsx")], check=True, capture_output=True, timeout=300)
    content = (tmp_path / "t.pdf").read_bytes()
    pages = max(int(count) for count in re.findall(rb"/Count (\d+)", content))
    found = sheet_plans(long_tables(), Told(PROVENANCE | {"chosen": 7}, CAUTION, TEXT))
    planned = sum(plan.pages for plan in found.values())
    assert pages <= MOST_PAGES
    assert abs(pages - planned) <= 2  # its font is not that of the plan
