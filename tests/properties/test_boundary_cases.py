"""Cases at the boundary of a setting: they are the study's own samples, what they show is what was
judged, and their files say so."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import comtrade
import numpy as np
import pandas as pd
import pytest

from montecarlo import run_study
from montecarlo.engine.backup import one_cycle_rms
from montecarlo.engine.batch import STATED
from montecarlo.engine.block import Block
from montecarlo.engine.count import run_chunk
from montecarlo.engine.draws import CHUNK
from montecarlo.engine.job import Job
from montecarlo.engine.rare import first_draw
from montecarlo.engine.sizes import designs
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.cli.output import write_table
from studies.report.safety import REVIEW
from studies.report.sample_files import SampleFiles
from studies.waveforms import cases as boundary
from studies.waveforms.cases import KINDS, Case, Search, nearest_cases
from studies.waveforms.comtrade import FULL_SCALE
from studies.waveforms.records import Made, index, names_of, pickup_error_percent, records
from studies.waveforms.sampled import sampled
from tests.made.studies import FEW_TYPES, REMOVE, study_with

STEPS = 192  # of a case in a cycle
SETTING = Setting("two_phase_one_earth", 0.1, 0.04, 300.0, 0.0)
NEAR = Stratum("external.near_fault")
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
        quantity = boundary.ratios_of(Block(job, chunk), job.lattices[0])[row]
        assert quantity == pytest.approx(case.ratio, rel=0.02)  # 28 steps a cycle against 192


def test_the_search_counts_what_the_run_counts() -> None:
    """Without a pick-up error the two judge alike: every external event of a chunk."""
    study = study_with({**CHANGES, "relay.pickup_error_percent": 0})
    job = Job(study, lattices_of(study, SETTING), *designs(study))
    for name in (Stratum("external.near_fault"), Stratum("external.far_fault")):
        for chunk in job.design_of(name).chunks(name)[:4]:
            tripped = (boundary.ratios_of(Block(job, chunk), job.lattices[0]) > 1).sum()
            assert tripped == run_chunk(job, chunk).lattices[0].total.sum()


def test_the_legs_carry_the_cts_currents(study: Study, search: Search) -> None:
    table = scheme_of(study, SETTING.scheme).table
    for case in search.cases:
        assert np.abs(table @ case.cts_a - case.legs_a).max() < 1e-9


def test_the_waveform_shows_the_quantity_that_was_judged(study: Study, search: Search) -> None:
    """Largest one-cycle RMS of each watched leg, from the record's own points alone: sums, not the
    kernel's rule."""
    scheme = scheme_of(study, SETTING.scheme)
    for case in search.cases:
        rms = one_cycle_rms(case.legs_a[list(scheme.watch)], STEPS)[:, 1:].max(axis=1)
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
        plain = one_cycle_rms(case.legs_a, STEPS)[:, 1:].max(axis=1)
        assert np.all(case.quantity_a <= plain * 1.02)  # bias and delay only take away


# --- what passes in a case -----------------------------------------------------


def test_flux_is_the_integral_of_the_voltage_that_drives_the_current(
    study: Study, search: Search
) -> None:
    """Voltage of each core from the currents of its CT and of the legs, summed by trapezoids."""
    (lattice,) = lattices_of(study, SETTING)
    scheme = scheme_of(study, SETTING.scheme)
    for case in search.cases:
        block = alone(study, case)
        bank, ohm = block.bank(lattice.circuit), block.leg_ohm(lattice.circuit)[0]
        volts = bank.series_ohm[0][:, None] * case.cts_a + scheme.table.T @ (
            ohm[:, None] * case.legs_a
        )
        moved = np.cumsum((volts[:, 1:] + volts[:, :-1]) / 2, axis=1) / case.rate_hz
        linked = (case.flux[:, 1:] - case.flux[:, :1]) * bank.knee_flux_wb[0][:, None]
        assert np.abs(moved - linked).max() < 0.01 * bank.knee_flux_wb[0].max()


def test_what_excitation_takes_is_what_the_currents_lack(study: Study, search: Search) -> None:
    """Primary current over turns is the current without excitation; the legs' sums see the
    rest."""
    (lattice,) = lattices_of(study, SETTING)
    for case in search.cases:
        turns = alone(study, case).bank(lattice.circuit).turns[0]
        assert case.primary_a / turns[:, None] == pytest.approx(case.ideal_a)
        taken = np.abs(case.ideal_a - case.cts_a)
        assert taken[np.abs(case.flux) < 0.1].max(initial=0.0) < 0.05


def test_what_operates_is_seen_in_time(search: Search) -> None:
    for case in search.cases:
        assert np.isnan(case.starts_s).all() != (case.ratio > 1)
        above = case.difference_a > case.threshold_a
        for element, start in enumerate(case.starts_s):
            assert np.isnan(start) != (case.quantity_a[element] > case.setting_a[element])
            if not np.isnan(start):
                row = int(np.argmin(np.abs(case.times_s - start)))
                assert above[element, row]
                assert not above[element, row - 1] or case.times_s[row - 1] < 1e-9
        largest = case.difference_a[:, case.times_s > 0].max(axis=1)
        assert largest == pytest.approx(case.quantity_a, rel=1e-9)  # no delay, no bias


def alone(study: Study, case: Case) -> Block:
    """The case's own sample, drawn as the run draws it."""
    job = Job(study, lattices_of(study, SETTING), *designs(study))
    design = job.design_of(case.stratum)
    chunk = design.chunks(case.stratum)[case.installation // design.installations_per_block]
    row = case.installation % design.installations_per_block * design.events_in(chunk) + case.event
    return Block(job, chunk).only(np.array([row]))


# --- weighted samples ----------------------------------------------------------


@pytest.mark.slow
def test_weighted_false_trips_are_the_runs_own_samples(tmp_path: Path) -> None:
    """What the run keeps of its weighted samples, without a pick-up error: the same weight, the
    same critical pick-ups."""
    changes = {
        **CHANGES,
        **FEW_TYPES,
        "relay.pickup_error_percent": 0,
        "study.rare_samples": 4096,
        "candidates.phase_pickup_a": [2.6],
        "candidates.earth_pickup_a": [2.6],
        "candidates.stabilising_resistance_ohm": [300],
        "policy.p_false_max": 0.9,
    }
    study = study_with(changes)
    with SampleFiles(tmp_path) as keep:
        result = run_study(study, workers=1, keep_samples=keep)
    (setting,) = result.outcome.first.settings
    densities = result.outcome.first.known[STATED].densities
    assert not [case for case in nearest_cases(study, setting).cases if case.kind == "false_trip"]
    found = nearest_cases(study, setting, densities).cases
    weighted = [case for case in found if case.kind == "false_trip"]
    assert len(weighted) == boundary.EACH
    kept = pd.read_parquet(tmp_path / "samples_weighted_near_fault.parquet").set_index(
        "installation"
    )
    kept = kept.loc[: CHUNK - 1]
    pickups = kept.filter(like="critical_pickup_a").max(axis=1) / 2.6
    weights = [case.weight for case in weighted]
    assert weights == sorted(weights, reverse=True)  # type: ignore[type-var]
    assert weights[0] == pytest.approx(kept["weight"][pickups > 1].max(), rel=1e-12)
    (lattice,) = lattices_of(study, setting)
    draw = first_draw(Job(study, (lattice,), *designs(study)), NEAR, densities[NEAR])
    again = boundary.ratios_of(draw.block(draw.u()), lattice)
    assert again == pytest.approx(pickups.to_numpy(), rel=1e-12)  # every one, not the cases alone
    for case in weighted:
        assert case.weight == pytest.approx(kept["weight"][case.installation], rel=1e-12)
        assert case.ratio == pytest.approx(
            pickups[case.installation], rel=0.02
        )  # 192 steps against 28
        assert case.ratio > 1


def test_a_replayed_case_measures_what_the_run_has_counted(tmp_path: Path) -> None:
    """Plain samples against those that the run keeps."""
    study = study_with({**CHANGES, **FEW_TYPES, "relay.pickup_error_percent": 0})
    with SampleFiles(tmp_path) as keep:
        run_study(study, workers=1, keep_samples=keep)
    kept = pd.read_parquet(tmp_path / "samples_external_near_fault.parquet")
    kept = kept.set_index(["installation", "event"])
    compared = 0
    for case in nearest_cases(study, SETTING).cases:
        if case.stratum == NEAR:
            row = kept.loc[case.installation, case.event]
            counted = max(
                row[f"critical_pickup_a[{SETTING.scheme}, 300 ohm, {axis}, 0 s]"] / pickup
                for axis, pickup in (("phase", 0.1), ("earth", 0.04))
            )
            assert case.ratio == pytest.approx(counted, rel=0.02)
            compared += 1
    assert compared == 2 * boundary.EACH


# --- files --------------------------------------------------------------------


def _sampled(study: Study, search: Search) -> Made:
    names = names_of(search.cases)
    cases = [(case, sampled(study, case)) for case in search.cases]
    return dict(zip(names, cases, strict=True))


@pytest.mark.parametrize("form", ["ascii", "binary"])
def test_records_come_back_to_one_step_of_the_scale(
    form: str, study: Study, search: Search, tmp_path: Path
) -> None:
    named = _sampled(study, search)
    files = records(study, SETTING, named)
    names = index(study, SETTING, named, search.searched)["file"]
    assert len(files) == 6 * len(names)
    for name, (_, made) in zip(names, named.values(), strict=True):
        for ending in ("cfg", "dat"):
            (tmp_path / f"r.{ending}").write_bytes(files[f"{name}_{form}.{ending}"])
        back = comtrade.Comtrade(use_double_precision=True)
        back.load(str(tmp_path / "r.cfg"), str(tmp_path / "r.dat"))
        wanted = np.concatenate([made.cts_a, made.legs_a])
        step = np.abs(wanted).max(axis=1, keepdims=True) / FULL_SCALE
        assert np.all(np.abs(np.array(back.analog) - wanted) <= 0.51 * step)
        assert back.trigger_time == pytest.approx(made.before_s, abs=2e-6)
        assert back.analog_channel_ids[:2] == ["neutral_end.L1", "neutral_end.L2"]
        assert back.analog_channel_ids[-1] == "relay circuit earth"
        assert REVIEW in files[f"{name}_{form}.hdr"].decode()


def test_the_index_tells_margin_peak_and_what_is_expected(
    study: Study, search: Search, tmp_path: Path
) -> None:
    frame = index(study, SETTING, _sampled(study, search), search.searched)
    write_table(frame, tmp_path / "waveforms.csv")
    with (tmp_path / "waveforms.csv").open(newline="") as lines:
        rows: list[dict[str, Any]] = list(csv.DictReader(lines))
    for row, case in zip(rows, search.cases, strict=True):
        assert float(row["critical_pickup_a"]) / float(row["setting_a"]) - 1 == pytest.approx(
            float(row["margin"])
        )
        assert (float(row["margin"]) > 0) == KINDS[row["case"]][1]
        assert row["expected"].startswith("none operates") != KINDS[row["case"]][1]
        assert ("it may operate or not" in row["expected"]) == bool(
            np.any(
                np.abs(case.quantity_a / case.setting_a - 1) <= pickup_error_percent(study) / 100
            )
        )
        made = sampled(study, case)
        assert float(row["peak_secondary_a"]) == pytest.approx(np.abs(made.cts_a).max())
        assert float(row["before_s"]) == made.before_s == 0.3
        assert float(row["duration_s"]) == pytest.approx(case.times_s[-1] + 0.3, abs=2 / 4800)


def test_pickup_error_is_the_95_percent_limit() -> None:
    normal = {"dist": "normal", "mean": 0, "sd": 1, "truncate": [-30, 30]}
    assert pickup_error_percent(
        study_with({"relay.pickup_error_percent": normal})
    ) == pytest.approx(1.959964, abs=1e-4)
    assert pickup_error_percent(study_with({"relay.pickup_error_percent": -2})) == 2.0
