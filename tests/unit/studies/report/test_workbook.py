"""The workbook, read back by openpyxl: the tables' own values, and no text that a program would
run."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest

from studies.report import workbook
from studies.report.catalogue import sheet_head
from studies.report.refusals import in_words
from studies.report.workbook import NOTES, write_workbook
from tests.made.results import candidates

PROVENANCE = {
    "study_title": "=1+1 & <b>",
    "version": "1.2",
    "study_digest": "abc",
    "seed": 7,
    "samples": {"internal.earth": 512},
}
CAUTION = "take care"


def book(tmp_path: Path, frames: dict[str, pd.DataFrame], **provenance: Any) -> Any:
    write_workbook(tmp_path / "t.xlsx", frames, PROVENANCE | provenance, CAUTION)
    return openpyxl.load_workbook(tmp_path / "t.xlsx")


def column(sheet: Any, name: str) -> list[Any]:
    at = next(cell.column for cell in sheet[1] if cell.value == name)
    return [row[at - 1].value for row in sheet.iter_rows(min_row=2)]


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("phase_pickup_a", "phase_pickup [A]"),
        ("stabilising_resistance_ohm", "stabilising_resistance [ohm]"),
        ("delay_s", "delay [s]"),
        ("missed_per_year", "missed [1/year]"),
        ("p_missed_low", "p_missed_low"),
        ("missed_per_year_low", "missed_low [1/year]"),
        ("cost_per_year", "cost_per_year"),
        ("v_knee_v", "v_knee [V]"),
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
            elif isinstance(wanted, float):  # 16 digits are written
                assert found == pytest.approx(wanted, rel=1e-15, abs=0)
            else:
                assert (type(found), found) == (type(wanted), wanted)
    assert sheet.freeze_panes == "B2"
    formats = {cell.value: sheet.cell(2, cell.column).number_format for cell in sheet[1]}
    assert formats["delay [s]"] == "0.0###"
    assert "E+00" in formats["p_false"]


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
            assert all(cell.data_type != "f" and cell.hyperlink is None for cell in row)
    with zipfile.ZipFile(tmp_path / "t.xlsx") as packed:
        assert not [
            name
            for name in packed.namelist()
            if "vba" in name.lower() or "external" in name.lower()
        ]
        assert not any(b"<f>" in packed.read(name) for name in packed.namelist())


def test_notes_tell_sheets_caution_and_origin(tmp_path: Path) -> None:
    read = book(tmp_path, {"candidates": candidates(), "of_my_own": pd.DataFrame({"a": [1]})})
    assert read.sheetnames == [NOTES, "candidates", "of_my_own"]
    rows = {row[0].value: (row[1].value, row[2].value) for row in read[NOTES].iter_rows()}
    assert read[NOTES]["A1"].value == PROVENANCE["study_title"]
    assert rows["caution"] == (None, CAUTION)
    assert rows["candidates"][0] == len(candidates())
    assert rows["of_my_own"] == (1, "the table of of_my_own.csv")
    assert (rows["version"][1], rows["study_digest"][1], rows["seed"][1]) == ("1.2", "abc", "7")
    assert rows["samples.internal.earth"][1] == "512"


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
    monkeypatch.setattr(workbook, "ROWS_MAX", 11)
    read = book(tmp_path, {"protected_winding": pd.DataFrame({"x": np.arange(12.0)})})
    assert column(read["protected_winding"], "x") == [float(k) for k in range(10)]
    told = [row[2].value for row in read[NOTES].iter_rows() if row[0].value == "protected_winding"]
    assert told[0].endswith(
        "only the first 10 rows fit a sheet, all 12 are in protected_winding.csv"
    )


def test_long_names_and_names_that_differ_only_in_case(tmp_path: Path) -> None:
    frames = {
        name: pd.DataFrame({"n": [k]})
        for k, name in enumerate(["a" * 40, "a" * 41, "A" * 31, "Notes", "empty"])
    }
    frames["empty"] = frames["empty"].iloc[:0]
    read = book(tmp_path, frames)
    assert len({name.lower() for name in read.sheetnames}) == 6
    assert max(map(len, read.sheetnames)) <= 31
    assert [read.worksheets[k]["A2"].value for k in range(1, 6)] == [0, 1, 2, 3, None]


def test_a_place_that_cannot_be_written_to_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="No such file"):
        write_workbook(tmp_path / "absent" / "t.xlsx", {}, PROVENANCE, CAUTION)
