"""Cases at the boundary of a setting: they are the study's own samples, what they show is what was
judged, and their files say so."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import comtrade
import numpy as np
import pytest

from montecarlo.engine.backup import one_cycle_rms
from montecarlo.engine.block import Block
from montecarlo.engine.count import run_chunk
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.cli.output import write_table
from studies.report.safety import REVIEW
from studies.waveforms import cases as boundary
from studies.waveforms.cases import KINDS, Search, nearest_cases
from studies.waveforms.comtrade import FULL_SCALE
from studies.waveforms.records import index, pickup_error_percent, records
from tests.made.studies import REMOVE, study_with

SETTING = Setting("two_phase_one_earth", 0.1, 0.04, 300.0, 0.0)
CHANGES = {"study.samples": 256, "study.earth_fault_samples": 128, "study.installations": 16}


@pytest.fixture(scope="module")
def study() -> Study:
    return study_with(CHANGES)


@pytest.fixture(scope="module")
def search(study: Study) -> Search:
    return nearest_cases(study, SETTING)


def test_each_kind_lies_on_its_side_and_in_order(search: Search) -> None:
    assert {case.kind for case in search.cases} == set(KINDS)
    for kind, (internal, operates) in KINDS.items():
        cases = [case for case in search.cases if case.kind == kind]
        assert len(cases) == boundary.EACH
        assert all(case.stratum.startswith("internal.") == internal for case in cases)
        assert all((case.ratio > 1) == operates for case in cases)
        away = [abs(case.ratio - 1) for case in cases]
        assert away == sorted(away, reverse=kind == "false_trip")
    assert search.searched[EARTH] == 128
    assert search.searched["external.near_fault"] == 256


def test_the_same_study_gives_the_same_cases(study: Study, search: Search) -> None:
    again = nearest_cases(study, SETTING)
    for one, other in zip(search.cases, again.cases, strict=True):
        assert (one.kind, one.stratum, one.installation, one.event) == (
            other.kind,
            other.stratum,
            other.installation,
            other.event,
        )
        assert np.array_equal(one.cts_a, other.cts_a)


def test_they_are_the_first_samples_of_the_studys_own_batch(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Searched: 64 samples of a type, the first four events of each installation; the study has 16,
    or 8 earth faults."""
    monkeypatch.setattr(boundary, "SEARCHED", 64)
    few = nearest_cases(study, SETTING)
    job = Job(study, lattices_of(study, SETTING), *designs(study))
    for case in few.cases:
        design = job.design_of(case.stratum)
        assert case.event < 4 < design.events_per_installation
        chunk = design.chunks(case.stratum)[case.installation // design.installations_per_block]
        row = (
            case.installation % design.installations_per_block * design.events_in(chunk)
            + case.event
        )
        quantity = boundary._ratios(Block(job, chunk), job.lattices[0])[row]
        assert quantity == pytest.approx(case.ratio, rel=0.02)  # 28 steps a cycle against 96


def test_the_search_counts_what_the_run_counts() -> None:
    """Without a pick-up error the two judge alike: every external event of a chunk."""
    study = study_with({**CHANGES, "relay.pickup_error_percent": 0})
    job = Job(study, lattices_of(study, SETTING), *designs(study))
    for name in (Stratum("external.near_fault"), Stratum("external.far_fault")):
        for chunk in job.design_of(name).chunks(name)[:4]:
            tripped = (boundary._ratios(Block(job, chunk), job.lattices[0]) > 1).sum()
            assert tripped == run_chunk(job, chunk).lattices[0].total.sum()


def test_the_legs_carry_the_cts_currents(study: Study, search: Search) -> None:
    table = scheme_of(study, SETTING.scheme).table
    for case in search.cases:
        assert np.abs(table @ case.cts_a - case.legs_a).max() < 1e-9
        assert case.times_s[0] == pytest.approx(1 / case.rate_hz - 1 / study.machine.frequency_hz)


def test_the_waveform_shows_the_quantity_that_was_judged(study: Study, search: Search) -> None:
    """Largest one-cycle RMS of each watched leg, from the record's own points alone: sums, not the
    kernel's rule."""
    scheme, per_cycle = scheme_of(study, SETTING.scheme), 96
    for case in search.cases:
        rms = one_cycle_rms(case.legs_a[list(scheme.watch)], per_cycle)[:, 1:].max(axis=1)
        assert rms == pytest.approx(case.quantity_a, rel=0.02, abs=1e-4)


def test_a_delayed_and_a_biased_setting_have_cases_too() -> None:
    study = study_with(
        {
            **CHANGES,
            "scheme.kind": "biased",
            "candidates.first_slope": [0.05],
            "candidates.earth_pickup_a": REMOVE,
            "candidates.stabilising_resistance_ohm": REMOVE,
        }
    )
    setting = Setting("biased", 0.1, None, 0.0, 0.02, 0.05)
    for case in nearest_cases(study, setting).cases:
        assert case.setting_a.tolist() == [0.1] * 3
        plain = one_cycle_rms(case.legs_a, 96)[:, 1:].max(axis=1)
        assert np.all(case.quantity_a <= plain * 1.02)  # bias and delay only take away


# --- files --------------------------------------------------------------------


@pytest.mark.parametrize("form", ["ascii", "binary"])
def test_records_come_back_to_one_step_of_the_scale(
    form: str, study: Study, search: Search, tmp_path: Path
) -> None:
    files = records(study, SETTING, search.cases)
    names = index(study, SETTING, search.cases, search.searched)["file"]
    assert len(files) == 6 * len(names)
    for name, case in zip(names, search.cases, strict=True):
        for ending in ("cfg", "dat"):
            (tmp_path / f"r.{ending}").write_bytes(files[f"{name}_{form}.{ending}"])
        back = comtrade.Comtrade(use_double_precision=True)
        back.load(str(tmp_path / "r.cfg"), str(tmp_path / "r.dat"))
        wanted = np.concatenate([case.cts_a, case.legs_a])
        step = np.abs(wanted).max(axis=1, keepdims=True) / FULL_SCALE
        assert np.all(np.abs(np.array(back.analog) - wanted) <= 0.51 * step)
        assert back.trigger_time == pytest.approx(-case.times_s[0], abs=2e-6)
        assert back.analog_channel_ids[:2] == ["neutral_end.L1", "neutral_end.L2"]
        assert back.analog_channel_ids[-1] == "leg earth"
        assert REVIEW in files[f"{name}_{form}.hdr"].decode()


def test_the_index_tells_margin_peak_and_what_is_expected(
    study: Study, search: Search, tmp_path: Path
) -> None:
    write_table(index(study, SETTING, search.cases, search.searched), tmp_path / "waveforms.csv")
    with (tmp_path / "waveforms.csv").open(newline="") as lines:
        rows: list[dict[str, Any]] = list(csv.DictReader(lines))
    for row, case in zip(rows, search.cases, strict=True):
        assert float(row["critical_pickup_a"]) / float(row["setting_a"]) - 1 == pytest.approx(
            float(row["margin"])
        )
        assert (float(row["margin"]) > 0) == KINDS[row["case"]][1]
        assert row["expected"].startswith("none operates") != KINDS[row["case"]][1]
        assert ("either may be seen" in row["expected"]) == bool(
            np.any(
                np.abs(case.quantity_a / case.setting_a - 1) <= pickup_error_percent(study) / 100
            )
        )
        assert float(row["peak_secondary_a"]) == pytest.approx(np.abs(case.cts_a).max())
        assert float(row["duration_s"]) == pytest.approx(
            case.times_s[-1] - case.times_s[0] + 1 / case.rate_hz
        )


def test_pickup_error_is_the_95_percent_limit() -> None:
    normal = {"dist": "normal", "mean": 0, "sd": 1, "truncate": [-30, 30]}
    assert pickup_error_percent(
        study_with({"relay.pickup_error_percent": normal})
    ) == pytest.approx(1.959964, abs=1e-4)
    assert pickup_error_percent(study_with({"relay.pickup_error_percent": -2})) == 2.0
