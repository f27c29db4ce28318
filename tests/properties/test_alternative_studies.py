"""Whole small studies of alternatives, on two installations."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo.estimates.verdicts import Verdict
from montecarlo.study.axes import KEYS
from montecarlo.study.read import parse_study
from studies.alternatives.frames import SideBySide, run_side_by_side
from studies.alternatives.run import findings
from studies.cli.folder import prepare
from studies.cli.output import StudyFile, write_findings
from studies.report.terminal import lines
from tests.made.said import words

CONFIGS = Path(__file__).parents[2] / "configs"
FEW = {"samples": 64, "earth_fault_samples": 64, "installations": 16, "kind": "alternatives"}
SAME = {"name": "the same", "changes": {"machine.armature_time_constant_s": 0.15}}
ON_UNIT = [
    SAME,
    {"name": "50 A", "changes": {"earthing.resistance_ohm": 160}},
    {"name": "impossible", "changes": {"policy.p_false_max": 1e-9}},
]


def compared(file: str, alternatives: list[dict[str, Any]] | None) -> SideBySide:
    table = tomllib.loads((CONFIGS / file).read_text(encoding="utf-8"))
    table["study"] |= FEW
    table["policy"]["p_false_max"] = 0.9
    table["candidates"]["stabilising_resistance_ohm"] = [200]
    if alternatives is not None:
        table["alternatives"] = alternatives
        table["machine"]["armature_time_constant_s"] = 0.15
    return run_side_by_side(parse_study(table, CONFIGS), workers=1)


@pytest.fixture(scope="module")
def hydro() -> SideBySide:
    return compared("alternatives_11kv.toml", None)


@pytest.fixture(scope="module")
def unit() -> SideBySide:
    return compared("unit_13_8kv.toml", ON_UNIT)


@pytest.mark.slow
def test_each_alternative_stands_at_its_own_choice(hydro: SideBySide) -> None:
    table = hydro.table.set_index("alternative")
    assert list(table.index) == [
        "as stated",
        "400 A resistor",
        "CTs of 450 V",
        "slow clearing",
        "2000 ohm",
        "no remanence",
    ]
    assert table.loc["2000 ohm", "stabilising_resistance_ohm"] == 2000
    assert table.loc["400 A resistor", "changes"].startswith(
        "earthing.resistance_ohm = {nominal = 15.9"
    )
    for name, outcome in hydro.alternatives.outcomes.items():
        batch = outcome.fresh
        assert batch is not None
        assert batch.settings[0] == outcome.chosen
        assert table.loc[name, "p_missed"] == batch.judgement.missed.total[0]
        assert table.loc[name, "p_false"] == batch.judgement.false.total[0]
        for axis in KEYS:
            value = getattr(outcome.chosen, axis)
            assert (
                np.isnan(table.loc[name, axis]) if value is None else table.loc[name, axis] == value
            )


@pytest.mark.slow
def test_twice_the_fault_current_misses_fewer(hydro: SideBySide) -> None:
    gap = hydro.differences.set_index(["alternative", "quantity"]).loc[
        ("400 A resistor", "p_missed")
    ]
    assert gap["high"] < -0.05  # about half of what is missed lies near the neutral
    assert gap["verdict"] is Verdict.APART
    table = hydro.table.set_index("alternative")["p_missed"]
    assert gap["difference"] == pytest.approx(
        table["400 A resistor"] - table["as stated"], rel=1e-9
    )


def test_what_changes_nothing_differs_by_nothing(unit: SideBySide) -> None:
    same = unit.differences[unit.differences["alternative"] == "the same"]
    assert list(same["quantity"]) == ["p_missed", "p_false"]
    assert (same[["difference", "low", "high"]] == 0).all(axis=None)
    assert (same["verdict"] == Verdict.ALIKE).all()


def test_an_alternative_without_a_choice_has_an_empty_row_and_no_difference(
    unit: SideBySide,
) -> None:
    row = unit.table.set_index("alternative").loc["impossible"]
    assert row["scheme"] == ""
    assert not row["allowed"]
    assert np.isnan(row["p_missed"])
    assert "impossible" not in set(unit.differences["alternative"])
    text = words(findings(unit).text)
    assert 'No setting can be chosen with "impossible".' in text


@pytest.mark.parametrize("installation", [pytest.param("hydro", marks=pytest.mark.slow), "unit"])
def test_the_folder_and_the_text_are_whole(
    installation: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    found = findings(request.getfixturevalue(installation))
    assert max(map(len, lines(found.text, 80))) <= 80
    assert "nan" not in words(found.text).split()
    destination = prepare(tmp_path / "out", replace=False)
    with destination.opened({}) as sitting:
        files = write_findings(
            found,
            destination,
            sitting.staging,
            StudyFile("s.toml", b"", {}, "statorodds run s.toml"),
        )
    assert {
        "alternatives.csv",
        "alternative_differences.csv",
        "candidates.csv",
        "inputs.csv",
        "alternatives.svg",
    } <= set(files)
    assert set(found.begin) <= set(files)
    assert "nan" not in (tmp_path / "out" / "alternatives.csv").read_text()
