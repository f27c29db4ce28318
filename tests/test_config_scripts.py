"""The scripts beside the studies answer their questions on small runs of the studies that they
name."""

from __future__ import annotations

import os
import runpy
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from montecarlo import run_study
from montecarlo.study.read import parse_study
from studies.report.sample_files import SampleFiles

CONFIGS = Path(__file__).parents[1] / "configs"


@pytest.mark.slow
def test_the_example_reads_the_samples_of_a_study(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tomllib.loads((CONFIGS / "hydro_11kv.toml").read_text(encoding="utf-8"))
    table["study"] |= {
        "samples": 32,
        "earth_fault_samples": 16,
        "installations": 16,
        "rare_samples": 4096,
    }
    table["scheme"]["kind"] = "two_phase_one_earth"
    table["external_events"] = table["external_events"][:1]
    table["candidates"] = {
        "phase_pickup_a": [0.2],
        "earth_pickup_a": [0.05],
        "stabilising_resistance_ohm": [200],
    }
    with SampleFiles(tmp_path / "hydro_11kv-results") as keep:
        result = run_study(parse_study(table, CONFIGS), workers=1, keep_samples=keep)
    monkeypatch.chdir(tmp_path)
    found = runpy.run_path(str(CONFIGS / "read_samples.py"))
    assert "(120, 140]" in capsys.readouterr().out
    by = found["unlike"]
    p = (
        found["trips"].groupby(by, observed=True).sum()
        / found["rows"]["weight"].groupby(by, observed=True).sum()
    )
    assert p.iloc[-1] > 3 * p.iloc[0] > 0
    curve = result.exceedance.query("element == 'earth' and pickup_a == 0.05")
    assert found["trips"].mean() == pytest.approx(curve["p"].item(), rel=1e-9)


@pytest.mark.slow
def test_the_script_goes_from_a_study_to_a_figure(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(CONFIGS / "from_python.py"), "--quick"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(CONFIGS.parent)},
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert "p_missed" in done.stdout
    assert (tmp_path / "from_python.svg").read_text(encoding="utf-8").count("<path") > 10
