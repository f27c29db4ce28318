"""A rough answer through the command line, and the leading setting in the progress."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest

from montecarlo.engine.leading import Leading, Standing
from montecarlo.study.axes import Setting
from studies.cli.leading import leading_line
from studies.cli.main import main
from studies.cli.progress import Bar
from studies.report.record import PROVENANCE, ROUGH
from tests.made.said import words
from tests.made.studies import minimal_study_text

FOUND = Leading(
    samples=4096,
    of_samples=16384,
    number=46,
    setting=Setting("x", 0.05, 0.01, 150.0, 0.18),
    p_missed=0.087,
    low=0.085,
    high=0.089,
    bound=0.0008,
    allowed=True,
    aim=0.087,
    standing=cast("Standing", None),
)


@pytest.fixture
def study(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """good.toml in an empty current folder; its limit needs more than the least part."""
    monkeypatch.chdir(tmp_path)
    text = minimal_study_text().replace("samples = 512", "samples = 4096")
    (tmp_path / "good.toml").write_text(text.replace("p_false_max = 0.01", "p_false_max = 0.02"))
    return tmp_path / "good.toml"


def record(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / PROVENANCE).read_text())
    return found


def test_a_rough_answer_has_a_folder_of_its_own_and_is_marked_everywhere(
    study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", "good.toml", "--quick", "--workers", "1"]) == 0
    folder, out = study.parent / "good-quick", words(capsys.readouterr().out)
    assert not (study.parent / "good-results").exists()
    rough = record(folder)[ROUGH]
    assert rough["of_samples"] == 4096 > rough["samples"]
    assert rough["shows_limit"]
    assert out.startswith("Rough answer: ")
    marks = (
        f"Rough answer from {rough['samples']:,} of 4,096 samples of each event",
        "It leaves out weighted samples of rare false trips, waveforms, the setting sheet",
        "Make the whole run, without --quick, before a setting is used.",
    )
    page = words(re.sub(r"<[^>]*>", " ", (folder / "report.html").read_text(encoding="utf-8")))
    for mark in marks:
        assert mark in out
        assert mark in page
    names = {path.name for path in folder.iterdir()}
    assert names >= {"report.html", "candidates.csv", "tradeoff.svg", "good.toml", PROVENANCE}
    assert not names & {"results.xlsx", "installations.npz", "commissioning.html", "waveforms"}
    assert "Signature" not in page


@pytest.mark.slow
def test_its_numbers_do_not_depend_on_workers(study: Path) -> None:
    for count in ("1", "2"):
        arguments = ["run", "good.toml", "--quick", "--workers", count, "--out", f"of{count}"]
        assert main(arguments) == 0
    one, two = (study.parent / f"of{count}" for count in (1, 2))
    for name in ("candidates.csv", "by_type.csv"):
        assert (one / name).read_bytes() == (two / name).read_bytes()


def test_results_of_it_are_not_taken_for_those_of_a_run(
    study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", "good.toml", "--quick", "--workers", "1"]) == 0
    capsys.readouterr()
    assert main(["compare", "good-quick", "good-quick"]) == 2
    assert capsys.readouterr().err == (
        "statorodds: good-quick: holds a rough answer (run --quick);"
        " make the whole run and name its folder\n"
    )


@pytest.mark.parametrize("option", [["--samples", "100"], ["--keep-samples"], ["--pdf"]])
def test_options_that_mean_nothing_beside_it_are_refused(
    study: Path, capsys: pytest.CaptureFixture[str], option: list[str]
) -> None:
    assert main(["run", "good.toml", "--quick", *option]) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"statorodds: {option[0]}: --quick ")
    assert err.count("\n") == 1
    assert [*study.parent.iterdir()] == [study]


def test_a_study_of_drivers_has_no_rough_answer(
    study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = study.read_text().replace('"setting_sweep"', '"uncertainty_drivers"')
    study.write_text(text)
    assert main(["run", "good.toml", "--quick"]) == 2
    err = capsys.readouterr().err
    assert "--quick: study.kind" in err
    assert err.count("\n") == 1


def test_check_tells_the_time_of_both_runs(study: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "good.toml"]) == 0
    out = words(capsys.readouterr().out)
    number = r"[\d.]+ (s|min|h)"
    assert re.search(rf"A run takes about {number} on \d+ cores? of this machine\.", out)
    assert re.search(rf"A rough answer, run --quick, takes about {number}\.", out)


# --- the leading setting ------------------------------------------------------


def test_the_line_of_the_leading_setting_follows_the_width() -> None:
    whole = (
        "leading after 4,096 samples: no. 46, phase 0.05 A, earth 0.01 A, 150 ohm, 0.18 s:"
        " 8.7 % missed (8.5 % to 8.9 %), false trips at most 0.08 %"
    )
    assert leading_line(FOUND, 200) == whole
    for width in range(10, 140):
        assert len(leading_line(FOUND, width)) <= width
    assert "8.7 % missed, false trips at most 0.08 %" in leading_line(FOUND, 60)
    other = replace(FOUND, number=None, allowed=False)
    assert leading_line(other, 200).startswith(
        "none is allowed, closest after 4,096 samples: phase"
    )


def test_it_stands_in_a_line_of_its_own_where_somebody_looks(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    Bar().leading(FOUND)
    assert capsys.readouterr() == ("", "")
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "200")
    progress = Bar()
    progress(0, 10, "one")
    progress.leading(FOUND)
    shown = capsys.readouterr().err
    assert shown.endswith("\n")
    last = shown.splitlines()[-1].split("\r")[-1]
    assert last.startswith("leading after 4,096 samples: no. 46")
    progress.leading(FOUND)
    assert capsys.readouterr().err == ""
    progress.leading(replace(FOUND, number=47))
    assert "no. 47" in capsys.readouterr().err
