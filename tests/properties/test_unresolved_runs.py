"""Whole runs in which some samples have no result: none is dropped, no probability is touched by
what is not finite, and too many of them end the run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from montecarlo import run_study
from montecarlo.engine import primary, waves
from montecarlo.engine.block import Block
from montecarlo.engine.count import count, run_chunk
from montecarlo.engine.guard import weighted
from montecarlo.engine.job import Job
from montecarlo.engine.path import solve
from montecarlo.engine.rare import final_batch
from montecarlo.engine.sizes import designs
from montecarlo.engine.space import space_of
from montecarlo.engine.workers import Workers
from montecarlo.errors import StudyError
from montecarlo.estimates.rare import plain, rare_estimate
from montecarlo.frames.result import Result
from montecarlo.sampling.stratum import EARTH, LOAD, Stratum
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from montecarlo.study.strata import strata
from studies.cli.main import main
from studies.earthing.lasting import sample_earth_faults
from studies.sweep.text import result_text
from tests.made.said import words
from tests.made.studies import MINIMAL, study_with

SMALL = {
    "study.samples": 256,
    "study.installations": 16,
    "study.rare_samples": 0,
    "candidates.phase_pickup_a": [0.2],
    "candidates.earth_pickup_a": [0.05, 0.1],
    "policy.p_false_max": 0.5,
}
SHARE = 1 / 16  # of the samples, whose first core has most remanence


def study(**changes: Any) -> Study:
    return study_with({**SMALL, "study.unresolved_share_max": 0.2, **changes})


@pytest.fixture
def spoilt(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both solvers fail on about one sample of sixteen, the same at every place along the
    winding."""

    def bad(bank: CtBank) -> Any:
        return bank.remanence[:, 0] > 0.6 * (1 - 2 * SHARE)

    in_time, by_phasors = transient.solve, steady.solve

    def no_time(*args: Any, **kwargs: Any) -> transient.Response:
        response = in_time(*args, **kwargs)
        response.pickup[bad(args[2])] = np.nan
        return response

    def no_phasors(*args: Any) -> steady.Steady:
        found = by_phasors(*args)
        for part in found:
            part[bad(args[2])] = np.nan
        return found

    monkeypatch.setattr(transient, "solve", no_time)
    monkeypatch.setattr(steady, "solve", no_phasors)


@pytest.fixture(scope="module")
def clean() -> Result:
    return run_study(study(), workers=1)


def test_without_a_failure_the_run_says_none(clean: Result) -> None:
    assert (clean.unresolved["unresolved"] == 0).all()
    assert set(clean.unresolved["batch"]) == {1, 2}
    drawn = int(clean.unresolved["drawn"].sum())
    assert f"Samples without a result: none of {drawn:,}." in words(result_text(clean))


@pytest.mark.usefixtures("spoilt")
def test_samples_without_a_result_are_counted_told_and_widen_the_limits(clean: Result) -> None:
    found = run_study(study(), workers=1)
    table = found.unresolved.set_index(["batch", "side", "type"]).sort_index()
    for name in strata(found.study):
        side, _, kind = name.partition(".")
        row, before = (
            one.set_index(["batch", "side", "type"]).sort_index().loc[(1, side, kind)]
            for one in (found.unresolved, clean.unresolved)
        )
        assert row["drawn"] == before["drawn"]
        assert SHARE / 3 < row["unresolved_share"] < 2 * SHARE
        # nothing was wrong with what drove them
        assert row["not_converged"] == row["unresolved"]
        assert row["not_finite"] == 0
    assert (table.loc[2, "unresolved"] > 0).all()
    assert "Samples without a result: " in words(result_text(found))
    lost = int(table.loc[(1, "external", "near_fault"), "unresolved"])
    assert (
        found.provenance["unresolved"]["external.near_fault, counted, selection sample"]
        == f"{lost} of 256"
    )
    by_type, then = (one.by_type[one.by_type["batch"] == 1] for one in (found, clean))
    for frame in (by_type, then):
        assert np.isfinite(frame[["p", "p_low", "p_high"]]).all(axis=None)
    assert (
        (by_type["p_low"] >= 0)
        & (by_type["p_low"] <= by_type["p"])
        & (by_type["p"] <= by_type["p_high"])
        & (by_type["p_high"] <= 1)
    ).all()
    external = by_type[by_type["side"] == "external"]
    part = external["unresolved"] / external["samples"]
    assert (part > 0).all()
    least = external["p"] * (1 - part)  # all of them silent, all of them operated
    assert ((external["p_low"] <= least) & (external["p_high"] >= least + part)).all()


@pytest.mark.usefixtures("spoilt")
def test_above_the_limit_the_run_ends_and_keeps_its_chunks_for_a_larger_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = MINIMAL.replace("samples = 512", "samples = 64").replace(
        "installations = 32", "installations = 16"
    )
    (tmp_path / "tiny.toml").write_text(text)
    monkeypatch.chdir(tmp_path)
    assert main(["run", "tiny.toml", "--workers", "1"]) == 2
    line, kept = [
        line
        for line in capsys.readouterr().err.splitlines()
        if "caution" not in line and "it/s" not in line
    ]
    assert line.startswith("statorodds: study.unresolved_share_max: 0.01, and ")
    assert "of internal.earth, counted, selection sample gave no result: " in line
    assert kept.endswith("; the same command goes on from there")
    assert [path.name for path in (tmp_path / "tiny-results").iterdir()] == ["unfinished"]
    (tmp_path / "tiny.toml").write_text(
        text.replace("installations = 16", "installations = 16\nunresolved_share_max = 0.9")
    )
    assert main(["run", "tiny.toml", "--workers", "1"]) == 0
    assert "going on with the unfinished run in tiny-results (" in capsys.readouterr().err
    assert (tmp_path / "tiny-results" / "unresolved.csv").exists()


@pytest.mark.slow
@pytest.mark.usefixtures("spoilt")
def test_an_assumption_set_has_rows_of_its_own() -> None:
    assumption_set = {
        "name": "slow",
        "changes": {"external_events.near_fault.clearing_time_s": 0.2},
    }
    rows = run_study(study(**{"policy.assumption_sets": [assumption_set]}), workers=1).unresolved
    assert set(rows["of"]) == {"", "slow"}
    assert (rows[rows["of"] == "slow"]["unresolved"] > 0).all()


@pytest.mark.slow
@pytest.mark.usefixtures("spoilt")
def test_weighted_samples_without_a_result_raise_the_upper_limit_alone() -> None:
    rare = study()
    rare = rare.model_copy(update={"study": rare.study.model_copy(update={"rare_samples": 4096})})
    job = Job(rare, candidate_lattices(rare)[:1], *designs(rare))
    space = space_of(rare, Stratum("external.far_fault"))
    density = {Stratum("external.far_fault"): plain(space.dims, space.images)}
    found = final_batch(job, density, 0, Workers(1), lambda done, total, what: None)[
        "external.far_fault"
    ]
    row = weighted(0, Stratum("external.far_fault"), found.candidates, found.causes, job.lattices)
    assert (row.drawn, row.not_finite, row.not_converged) == (4096, 0, row.number)
    assert row.share == pytest.approx(SHARE, abs=0.015)  # four standard deviations
    sums = found.candidates
    none = replace(
        sums,
        **{
            name: np.zeros_like(getattr(sums, name))
            for name in ("lost_hits", "lost", "lost_squares", "lost_largest")
        },
    )
    with_lost, without = rare_estimate(sums), rare_estimate(none)
    assert (with_lost.high >= without.high + row.share).all()
    assert (with_lost.low == without.low).all()
    assert np.isfinite(np.stack(with_lost)).all()


@pytest.mark.usefixtures("spoilt")
def test_energies_are_refused_where_too_many_faults_have_no_result() -> None:
    wanted = {"breaker_time_s": 0.1, "field_decay_time_constant_s": 1.0, "undetected_time_s": 5.0}
    some = study(fault_energy=wanted)
    setting = next(iter(candidate_lattices(some)[0].settings()))
    faults = sample_earth_faults(
        some, setting, round_=1, workers=Workers(1), progress=lambda done, total, what: None
    )
    (row,) = faults.unresolved(some, setting)
    assert SHARE / 3 < row.share < 2 * SHARE
    assert row.number == np.isnan(faults.seen).sum() == np.isnan(faults.fault_j).sum()
    strict = study(**{"study.unresolved_share_max": 0.01, "fault_energy": wanted})
    with pytest.raises(
        StudyError, match=r"internal\.earth, energy, independent sample gave no result"
    ):
        sample_earth_faults(
            strict, setting, round_=1, workers=Workers(1), progress=lambda done, total, what: None
        )


# --- what is not finite -------------------------------------------------------


@pytest.mark.parametrize("bad", [np.inf, -np.inf, np.nan])
@pytest.mark.parametrize(
    ("stratum", "module", "model"),
    [
        (EARTH, primary, "earth_faults"),
        (Stratum("internal.phase_phase"), primary, "lasting"),
        (LOAD, primary, "load"),
        (Stratum("external.near_fault"), waves, "external_event"),
    ],
    ids=["earth", "phase_phase", "load", "near_fault"],
)
@pytest.mark.filterwarnings("ignore:invalid value")
def test_currents_that_are_not_finite_neither_operate_nor_miss(
    stratum: Stratum, module: ModuleType, model: str, bad: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The tally of a spoilt chunk holds what the good samples of the whole one hold."""
    given = study(**{"study.samples": 512})
    job = Job(given, candidate_lattices(given)[:1], *designs(given))
    chunk = job.design_of(stratum).chunks(stratum)[0]
    before, rows = run_chunk(job, chunk), np.arange(0, job.design_of(stratum).samples_in(chunk), 7)
    alone = _tally_of(job, chunk, rows)
    original: Callable[..., Any] = getattr(module, model)

    def spoil(block: Block, *args: Any) -> Any:
        found = original(block, *args)
        if len(block) == len(rows):  # those without a result, looked at once more
            return _with(found, slice(None), bad)
        return _with(found, rows, bad)

    monkeypatch.setattr(module, model, spoil)
    after = run_chunk(job, chunk)
    assert after.causes.tolist() == [rows.size, 0]
    assert after.lattices[0].unresolved.sum() == rows.size
    left = before.lattices[0].total.sum(axis=0) - alone
    assert after.lattices[0].total.sum(axis=0) == pytest.approx(left, abs=1e-9)


def _with(found: Any, rows: Any, bad: float) -> Any:
    if isinstance(found, tuple):  # of an event: window, waves, phasors before
        window, waves, load = found
        wave = waves.wave.copy()
        wave[rows, 0, -1] = bad
        return window, replace(waves, wave=wave), load
    spoilt = found.copy()
    spoilt[rows, ..., 0] = bad
    return spoilt


def _tally_of(job: Job, chunk: Any, rows: Any) -> Any:
    """Σ y of some samples of a chunk, by judging these alone."""
    block = Block(job, chunk).only(rows)
    one_installation = replace(job.design_of(chunk.stratum), installations=16)
    block.design = one_installation
    return count(block, solve(block)).lattices[0].total.sum(axis=0)


@pytest.mark.slow
@pytest.mark.filterwarnings(
    "ignore:.*(still being processed|successfully executed)"
)  # chunks that nobody wants
def test_an_extreme_machine_is_refused_the_same_from_two_workers() -> None:
    """Cores that saturate at 1 V under a through fault of thousands of amperes: the solver itself
    gives up on some."""
    extreme = study_with({**SMALL, "ct.knee_voltage_v": 1.0, "ct.knee_current_a": 1e-6})
    said = []
    for workers in (1, 2):
        with pytest.raises(StudyError) as caught:
            run_study(extreme, workers=workers)
        said.append(caught.value.faults)
    assert said[0] == said[1]
    assert "gave no result: " in said[0][0]
    assert "not converged" in said[0][0]


@pytest.mark.parametrize("ohm", [1e-9, 0.0])
def test_next_to_no_resistance_anywhere_still_gives_results(ohm: float) -> None:
    keys = (
        "ct.winding_resistance_ohm",
        "ct.lead_resistance_ohm",
        "relay.phase_burden_ohm",
        "relay.earth_burden_ohm",
        "internal_faults.earth_fault_resistance_ohm",
    )
    found = run_study(
        study(**dict.fromkeys(keys, ohm), **{"earthing.resistance_ohm": 1e-9}), workers=1
    )
    assert (found.unresolved["unresolved"] == 0).all()
    assert np.isfinite(
        found.candidates[["p_missed", "p_missed_high", "p_false", "p_false_high"]]
    ).all(axis=None)
