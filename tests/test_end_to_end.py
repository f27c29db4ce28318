"""The README's command on a tiny study: a process, a folder, an answer."""

from __future__ import annotations

import csv
import html
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from montecarlo import read_study
from montecarlo.study.read import digest
from studies.report.record import PROVENANCE
from studies.report.safety import CAUTION
from tests.made.browser import acted, needs_browser, opened
from tests.made.studies import minimal_study_text

Ran = tuple[Path, subprocess.CompletedProcess[str]]

COLUMNS = {  # that others rely on
    "candidates": (
        """
        candidate scheme phase_pickup_a earth_pickup_a stabilising_resistance_ohm delay_s p_missed p_missed_low
        p_missed_high p_false p_false_low p_false_high missed_per_year false_per_year protected_median protected_p05
        protected_p95 missed_line_end_law outside_scope_per_year installation_missed_p95 installation_false_p95 installations_above_limit
        usable allowed load_operates_share unresolved batch chosen"""
    ),
    "by_type": "candidate side type weight samples unresolved p p_low p_high",
    "protected_winding": "candidate x p_detected low high",
    "detection_map": "axis setting candidate x p_detected low high",
    "convergence": (
        """
        candidate share samples earth_fault_samples weighted_samples p_missed p_missed_low p_missed_high p_false
        p_false_low p_false_high batch"""
    ),
    "commissioning": (
        "test how injected_primary_a injected_secondary_a quantity unit expected low high "
        "measured uncertainty"
    ),
    "inputs": "key unit distribution varies per_ct source",
    "unresolved": (
        """
        side type samples batch of drawn unresolved unresolved_share not_finite not_converged circuit counted_as"""
    ),
    "peak_voltage": (
        """
        scheme stabilising_resistance_ohm fault current_a v_knee_v v_full_v peak_formula_v simulated_fault
        peak_simulated_v above_limit"""
    ),
    "ct_dimensioning": (
        """
        ct event remanence_percent current_a burden_v knee_v saturation_factor x_over_r cleared_after_s
        transient_factor required_knee_v formula_s saturates_after_s"""
    ),
}


def statorodds(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "studies", *arguments],
        cwd=folder,
        env={key: value for key, value in os.environ.items() if key != "COLUMNS"},
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as lines:
        return list(csv.DictReader(lines))


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    folder = tmp_path_factory.mktemp("run")
    text = minimal_study_text().replace(
        'kind = "two_phase_one_earth"', 'kind = ["two_phase_one_earth", "per_phase"]'
    )
    existing = 'existing = { scheme = "per_phase", phase_pickup_a = 0.3 }'
    text = text.replace("delay_s = [0]", f"delay_s = [0, 0.15]\n{existing}")
    (folder / "tiny.toml").write_text(text)
    return folder, statorodds(folder, "run", "tiny.toml", "--workers", "1")


def test_it_runs_and_says_so(ran: Ran) -> None:
    folder, done = ran
    assert (done.returncode, done.stderr) == (0, "")
    text = " ".join(done.stdout.split())
    first, *others = done.stdout.split("\n\n")
    assert first.startswith("An invented machine")
    assert others[0].startswith("Recommended setting: no. ")
    assert "independent sample" in text
    assert "existing" in text
    assert "tiny-results" in text
    assert text.endswith(CAUTION)
    assert max(map(len, done.stdout.splitlines())) <= 80  # where no terminal says its width
    assert {path.name for path in folder.iterdir()} == {"tiny.toml", "tiny-results"}


def test_the_folder_is_complete(ran: Ran) -> None:
    folder, _ = ran
    out = folder / "tiny-results"
    figures = {
        f"{name}.{ending}"
        for name in (
            "tradeoff",
            "protected_winding",
            "unprotected_winding",
            "convergence",
            "false_trip_sources",
            "missed_fault_places",
            "worst_cases",
            "missed_case",
        )
        for ending in ("svg", "png")
    }
    tables = {
        f"{name}.csv"
        for name in (
            "candidates",
            "by_type",
            "protected_winding",
            "inputs",
            "comparison",
            "neighbours",
            "front",
            "prices",
            "place_laws",
            "unprotected_winding",
            "peak_voltage",
            "ct_dimensioning",
            "convergence",
            "detection_map",
            "false_trip_sources",
            "missed_fault_places",
            "unresolved",
            "waveforms",
            "worst_cases",
            "missed_case",
            "commissioning",
        )
    }
    assert {path.name for path in out.iterdir()} == {
        *figures,
        *tables,
        "installations.npz",
        "results.xlsx",
        "waveforms",
        "commissioning.html",
        "report.html",
        PROVENANCE,
        "tiny.toml",
    }
    assert all(path.stat().st_size > 50 for path in out.rglob("*"))
    assert {
        f"{row['file']}_{form}.{ending}"
        for row in rows(out / "waveforms.csv")
        for form in ("ascii", "binary")
        for ending in ("cfg", "dat", "hdr")
    } == {f"waveforms/{path.name}" for path in (out / "waveforms").iterdir()}
    assert (out / "tiny.toml").read_bytes() == (folder / "tiny.toml").read_bytes()


def test_every_sheet_of_the_workbook_is_explained(ran: Ran) -> None:
    import openpyxl

    book = openpyxl.load_workbook(ran[0] / "tiny-results" / "results.xlsx")
    lines = [[cell.value for cell in row] for row in book["summary"].iter_rows()]
    told = {line[0]: next(reversed([text for text in line if text]), "") for line in lines}
    tables = book.sheetnames[1:-1]
    assert tables
    assert not [name for name in tables if told[name].startswith("the table of")]


def test_tables_have_their_columns(ran: Ran) -> None:
    out = ran[0] / "tiny-results"
    for name, columns in COLUMNS.items():
        assert set(columns.split()) <= rows(out / f"{name}.csv")[0].keys(), name


def test_the_chosen_candidate_keeps_the_policy(ran: Ran) -> None:
    out = ran[0] / "tiny-results"
    chosen = [row for row in rows(out / "candidates.csv") if row["chosen"] == "true"]
    assert len(chosen) == 1
    assert chosen[0]["batch"] == "2"
    assert chosen[0]["usable"] == "true"
    assert float(chosen[0]["p_false_bound"]) <= 0.01
    assert int(chosen[0]["candidate"]) == json.loads((out / PROVENANCE).read_text())["chosen"]


def test_intervals_hold_their_estimates(ran: Ran) -> None:
    for row in rows(ran[0] / "tiny-results" / "candidates.csv"):
        for name in ("p_missed", "p_false"):
            low, p, high = (float(row[f"{name}{end}"]) for end in ("_low", "", "_high"))
            assert 0 <= low <= p <= high <= 1


def test_a_scheme_without_an_earth_element_has_an_empty_cell(ran: Ran) -> None:
    for row in rows(ran[0] / "tiny-results" / "candidates.csv"):
        assert (row["earth_pickup_a"] == "") == (row["scheme"] == "per_phase")


def test_provenance_points_back_to_the_study(ran: Ran) -> None:
    out = ran[0] / "tiny-results"
    record = json.loads((out / PROVENANCE).read_text())
    assert record["product"] == "statorodds"
    assert record["study_digest"] == digest(read_study(out / record["study_file"]))
    assert record["seed"] == 20260101
    assert record["command"] == "statorodds run tiny.toml --workers 1"
    with np.load(out / "installations.npz", allow_pickle=False) as installations:
        assert all(installations[name].dtype.kind in "fiub" for name in installations.files)


def test_the_report_says_what_the_terminal_said_and_holds_the_table(ran: Ran) -> None:
    folder, done = ran
    text = (folder / "tiny-results" / "report.html").read_text(encoding="utf-8")
    answer = re.search('<p class="answer">(.*?)</p>', text)
    assert answer is not None
    assert " ".join(html.unescape(answer[1]).split()) in " ".join(done.stdout.split())
    embedded = re.search('id="explorer-data">(.*?)</script>', text)
    assert embedded is not None
    data = json.loads(embedded[1])
    table = rows(folder / "tiny-results" / "candidates.csv")
    assert [one["n"] for one in data["candidates"]] == [int(row["candidate"]) for row in table]
    for one, row in zip(data["candidates"], table, strict=True):
        assert one["is"] == [float(row[name]) if row[name] else None for name in data["numbers"]]
    figures = len([*(folder / "tiny-results").glob("*.svg")])
    leading, explorer, diagrams = 3, 2, 2  # small ones; its two; one a scheme
    assert text.count("<svg") == figures + leading + explorer + diagrams
    assert "statorodds run tiny.toml --workers 1" in text


@needs_browser
def test_the_report_opened_in_a_browser_shows_the_table(ran: Ran, tmp_path: Path) -> None:
    out = ran[0] / "tiny-results"
    document, console = opened(out / "report.html")
    assert console == []
    chosen = json.loads((out / PROVENANCE).read_text())["chosen"]
    assert f'data-candidate="{chosen}"' in document
    table = {int(row["candidate"]): row for row in rows(out / "candidates.csv")}
    seen = acted(
        (out / "report.html").read_text(encoding="utf-8"),
        """
      const panel = document.querySelector(".explorer"), seen = [];
      for (const input of panel.querySelectorAll("input[type=range]")) {
        for (let at = 0; at <= Number(input.max); at++) {
          input.value = at; input.dispatchEvent(new Event("input"));
          seen.push({ n: panel.dataset.candidate,
                      is: [...panel.querySelectorAll("data")].map(d => [d.dataset.name, d.value]) });
        }
      }
      return seen;""",
        tmp_path,
    )
    assert len({one["n"] for one in seen}) > 3
    for one in seen:
        for name, value in one["is"]:
            assert float(value) == float(table[int(one["n"])][name])


@pytest.mark.slow
def test_two_workers_give_the_same_tables(ran: Ran) -> None:
    folder, _ = ran
    done = statorodds(folder, "run", "tiny.toml", "--workers", "2", "--out", "two")
    assert done.returncode == 0, done.stderr
    for name in (
        "candidates.csv",
        "by_type.csv",
        "protected_winding.csv",
        "comparison.csv",
        "neighbours.csv",
        "tradeoff.svg",
        "convergence.csv",
        "convergence.svg",
        "installations.npz",
    ):
        assert (folder / "two" / name).read_bytes() == (
            folder / "tiny-results" / name
        ).read_bytes(), name


@pytest.mark.slow
def test_another_seed_gives_other_numbers(ran: Ran) -> None:
    folder, _ = ran
    assert statorodds(folder, "run", "tiny.toml", "--seed", "7", "--out", "other").returncode == 0
    one, other = (rows(folder / name / "candidates.csv") for name in ("tiny-results", "other"))
    assert [row["p_missed"] for row in one] != [row["p_missed"] for row in other]
