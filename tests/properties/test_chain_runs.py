"""The relay's signal chain in whole studies: the same numbers whoever solves them, no other draws,
and what is shown of a sample is what the run counts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pandas.testing import assert_frame_equal

from montecarlo import run_study
from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.job import Job
from montecarlo.engine.path import Measured, solve
from montecarlo.engine.sizes import designs
from montecarlo.sampling.stratum import Side
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.description import Study
from montecarlo.study.strata import strata
from studies.waveforms import instants as critical
from studies.waveforms.cases import KINDS, nearest_cases
from tests.made.studies import FEW_TYPES, REMOVE, study_with

CHAIN: dict[str, Any] = {
    "filter": {"cutoff_hz": {"dist": "uniform", "low": 300, "high": 450}},
    "samples_per_cycle": 20,
    "window": "half",
}
BIASED: dict[str, Any] = FEW_TYPES | {
    "study.samples": 256,
    "study.earth_fault_samples": 64,
    "study.installations": 16,
    "scheme.kind": "biased",
    "scheme.watched_phases": REMOVE,
    "ct.knee_voltage_v": 60,
    "relay.measure": "fundamental",
    "candidates.first_slope": [0.1],
    "candidates.second_slope": [0.6],
    "candidates.turning_point_a": [1.5],
    "candidates.delay_s": [0.0, 0.02],
    "candidates.earth_pickup_a": REMOVE,
    "candidates.stabilising_resistance_ohm": REMOVE,
}
EARTHED: dict[str, Any] = FEW_TYPES | {
    "study.samples": 256,
    "study.earth_fault_samples": 64,
    "study.installations": 16,
    "relay.measure": "fundamental",
}
SETTING = Setting("biased", 0.2, None, 0.0, 0.02, 0.1, 0.6, 1.5)


def chained(changes: dict[str, Any], **chain: Any) -> Study:
    return study_with(changes | {"relay.chain": CHAIN | chain})


def job_of(study: Study, setting: Setting) -> Job:
    return Job(study, lattices_of(study, setting), *designs(study))


def test_two_workers_give_the_numbers_of_one() -> None:
    study = chained(EARTHED)
    one, two = (run_study(study, workers=workers) for workers in (1, 2))
    for table in ("candidates", "by_type", "protected_winding", "rare"):
        assert_frame_equal(getattr(one, table), getattr(two, table), check_exact=True)


def test_chunks_side_by_side_are_as_alone() -> None:
    study = chained(BIASED | {"study.samples": 4096})
    job = job_of(study, SETTING)
    (external,) = (one for one in strata(study) if one.side is Side.EXTERNAL)
    chunks = tuple(job.design_of(external).chunks(external))[:2]
    assert len(chunks) == 2
    alone, both = [solve(Block(job, chunk)) for chunk in chunks], solve(Block(job, chunks))
    assert isinstance(both, Measured)
    for circuit, judged in both.by_circuit.items():
        parts = [one.by_circuit[circuit].quantity for one in alone]  # type: ignore[union-attr]
        assert np.array_equal(np.sort(judged.quantity, axis=0), np.sort(np.concatenate(parts), 0))


@pytest.mark.parametrize("changes", [BIASED, EARTHED])
def test_all_other_draws_are_as_without(changes: dict[str, Any]) -> None:
    setting = (
        SETTING if changes is BIASED else Setting("two_phase_one_earth", 0.1, 0.04, 300.0, 0.0)
    )
    plain, through = (job_of(one, setting) for one in (study_with(changes), chained(changes)))
    for stratum in strata(plain.study):
        chunk = plain.design_of(stratum).chunks(stratum)[0]
        one, other = Block(plain, chunk), Block(through, chunk)
        assert all(np.array_equal(one.samples[key], other.samples[key]) for key in one.samples)
        phases = other.samples["relay.chain.sampling_phase"]
        assert ((phases >= 0) & (phases < 1)).all()
        assert len(np.unique(phases)) == len(phases)


def test_whole_cycles_of_many_samples_judge_as_without() -> None:
    """No filter: what is left are pulses hardly longer than a step."""
    whole: dict[str, Any] = {"filter": None, "samples_per_cycle": 28, "window": "full"}
    table = {key: value for key, value in (CHAIN | whole).items() if value is not None}
    plain = run_study(study_with(BIASED), workers=1).candidates
    through = run_study(study_with(BIASED | {"relay.chain": table}), workers=1).candidates
    for column in ("p_missed", "p_false"):
        assert through[column].to_numpy() == pytest.approx(plain[column].to_numpy(), abs=0.02)
    assert plain["p_false"].max() > 0.05


@pytest.mark.parametrize("delay_s", [0.0, 0.02])
@pytest.mark.parametrize("drop_off", [1.0, 0.8])
def test_what_lies_above_is_what_the_run_counts(delay_s: float, drop_off: float) -> None:
    study = chained(BIASED | {"relay.drop_off_ratio": drop_off})
    job = job_of(study, Setting("biased", 0.2, None, 0.0, delay_s, 0.1, 0.6, 1.5))
    (lattice,) = job.lattices
    (external,) = (one for one in strata(study) if one.side is Side.EXTERNAL)
    tripped = []
    for chunk in job.design_of(external).chunks(external):
        pickups = solve(Block(job, chunk)).pickups(lattice)  # type: ignore[union-attr]
        silent, _ = pickups.silent(*thresholds(lattice), len(lattice.delay_s))
        above = critical.instants(job, chunk)["above"].to_numpy()
        assert np.array_equal(above, ~silent[:, 0, 0])
        tripped += above.tolist()
    assert 0 < sum(tripped) < len(tripped)


def test_cases_start_where_they_operate() -> None:
    found = nearest_cases(chained(BIASED), SETTING).cases
    assert {case.kind for case in found} == set(KINDS)
    for case in found:
        assert case.difference_a.shape == (3, case.times_s.size)
        assert np.array_equal(np.isfinite(case.starts_s), case.quantity_a > case.setting_a)
        assert not (case.starts_s <= 0).any()
