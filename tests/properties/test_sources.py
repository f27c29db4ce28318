"""Where false trips come from and where missed earth faults lie, against the kept samples."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo import Result, run_study
from montecarlo.frames.sources import CLASSES, PARTS, false_trip_sources, missed_fault_places
from montecarlo.study.axes import Setting
from studies.report.sample_files import SampleFiles
from tests.made.studies import study_with

CHANGES: dict[str, Any] = {
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 2048,
    "study.rare_samples": 0,
    "candidates.earth_pickup_a": [0.02, 0.1],
    "candidates.stabilising_resistance_ohm": [300],
    "policy.p_false_max": 1e-9,  # nothing is drawn again: all figures are of the kept batch
}
ERRORS = 5.0  # standard errors: by chance once in a million and a half


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(scope="module")
def result(folder: Path) -> Result:
    with SampleFiles(folder) as keep:
        return run_study(study_with(CHANGES), workers=1, keep_samples=keep)


def operated(folder: Path, file: str, setting: Setting) -> pd.Series[bool]:
    """Whether each kept sample of a file operates the setting: its critical pick-ups alone."""
    rows = pd.read_parquet(folder / f"samples_{file}.parquet")
    critical = rows.filter(like="critical_pickup_a")
    phase = critical.filter(regex=r", phase[,\]]").max(axis=1) > setting.phase_pickup_a
    earth = critical.filter(regex=r", earth[,\]]").max(axis=1) > setting.earth_pickup_a
    return phase | earth


def test_shares_of_false_trips_are_counted(folder: Path, result: Result) -> None:
    numbers = {f"no. {number}": number for number in result.candidates["candidate"]}
    frame = false_trip_sources(result.outcome, result.by_type, numbers)
    rates = {event.name: event.per_year.mean() for event in result.study.external_events}
    compared = 0
    for number, rows in frame.groupby("candidate"):
        setting = result.outcome.settings[int(number) - 1]
        trips = {
            event: rate * operated(folder, f"external_{event}", setting).mean()
            for event, rate in rates.items()
        }
        for row in rows.itertuples():
            share = trips[row.event] / sum(trips.values())
            assert row.share_of_false_trips == pytest.approx(share, rel=1e-12)
            assert row.share_of_false_trips_low <= share <= row.share_of_false_trips_high
            assert row.share_of_events == pytest.approx(rates[row.event] / sum(rates.values()))
            compared += 0 < share < 1
    assert compared >= 4


def test_places_of_missed_faults_are_counted(folder: Path, result: Result) -> None:
    """Each cell against the faults that were sampled in it: the run integrates over the place, the
    count does not."""
    rows = pd.read_parquet(folder / "samples_internal_earth.parquet")
    ohm = rows["internal_faults.earth_fault_resistance_ohm"].to_numpy(np.float32)
    part = np.digitize(rows["internal_faults.position"], PARTS) - 1
    numbers = {f"no. {number}": number for number in result.candidates["candidate"]}
    frame = missed_fault_places(result.outcome, numbers)
    totals = result.by_type.set_index(["type", "candidate"])["p"]["earth"]
    for number, cells in frame.groupby("candidate"):
        setting = result.outcome.settings[int(number) - 1]
        missed = ~_operated_by(rows, setting)
        whole = float(np.sum(cells["share_of_faults"] * cells["p_missed"]))
        assert whole == pytest.approx(totals[number], rel=1e-5)
        assert np.sum(cells["share_of_missed"]) == pytest.approx(1.0)
        found = cells["p_missed"].to_numpy().reshape(CLASSES, PARTS.size - 1)
        high = cells["resistance_to_ohm"].unique()
        at = np.searchsorted(high.astype(np.float32), ohm)
        for k in range(CLASSES):
            p, mine = found[k].mean(), missed[at == k]
            assert len(mine) == pytest.approx(len(rows) / CLASSES, abs=1)
            assert mine.mean() == pytest.approx(p, abs=ERRORS * (0.25 / len(mine)) ** 0.5)
        for x in range(PARTS.size - 1):
            p, mine = found[:, x].mean(), missed[part == x]
            error = ERRORS * (max(p * (1 - p), 1e-4) / len(mine)) ** 0.5
            assert mine.mean() == pytest.approx(p, abs=error + 1e-3)


def _operated_by(rows: pd.DataFrame, setting: Setting) -> pd.Series[bool]:
    """Of earth faults: by the solution that counts for each pick-up."""
    flags = []
    for axis in ("phase", "earth"):
        pickup = getattr(setting, f"{axis}_pickup_a")
        mine = rows.filter(regex=rf"critical_pickup_a.*, {axis}, ")
        flags.append((mine > pickup).any(axis=1))
    return flags[0] | flags[1]


@pytest.mark.slow
def test_nothing_hangs_on_the_number_of_workers(result: Result) -> None:
    two = run_study(study_with(CHANGES), workers=2)
    roles = {"a": 1, "b": 4}
    frames = [missed_fault_places(each.outcome, roles) for each in (result, two)]
    pd.testing.assert_frame_equal(*frames, check_exact=True)
    frames = [false_trip_sources(each.outcome, each.by_type, roles) for each in (result, two)]
    pd.testing.assert_frame_equal(*frames, check_exact=True)


def test_without_earth_faults_there_is_no_map() -> None:
    shares = {"phase_phase": 0.9, "three_phase": 0.1}
    study = study_with(CHANGES | {"study.samples": 64, "internal_faults.shares": shares})
    assert not len(run_study(study, workers=1).missed_fault_places)
