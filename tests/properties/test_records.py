"""Records begin with the load before the event, at the sampling rate that the study chooses."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.waveforms.cases import Case, nearest_cases
from studies.waveforms.sampled import Sampled, sampled
from tests.made.studies import REMOVE, study_with

SETTING = Setting("two_phase_one_earth", 0.1, 0.04, 300.0, 0.0)
CHANGES = {"study.samples": 256, "study.earth_fault_samples": 128, "study.installations": 16}
BEFORE = 15 * 96  # samples of 0.3 s, at 50 Hz and 4800 Hz
REACH = 25  # samples around the trigger that a jump may touch, 5 ms


@pytest.fixture(scope="module")
def study() -> Study:
    return study_with(CHANGES)


@pytest.fixture(scope="module")
def made(study: Study) -> list[tuple[Case, Sampled]]:
    return [(case, sampled(study, case)) for case in nearest_cases(study, SETTING).cases]


def test_every_record_begins_with_the_load_before_the_event(
    study: Study, made: list[tuple[Case, Sampled]]
) -> None:
    """Cycle by cycle the same until the trigger; each CT close to its sampled load current."""
    job = Job(study, lattices_of(study, SETTING), *designs(study))
    for case, record in made:
        assert record.times_s[0] == -0.3
        assert record.times_s[BEFORE] == 0
        load = record.cts_a[:, : BEFORE - REACH]
        assert np.abs(load[:, 96:] - load[:, :-96]).max() < 1e-3 * np.abs(load).max()
        design = job.design_of(case.stratum)
        block = case.installation // design.installations_per_block
        chunk = design.chunks(case.stratum)[block + case.event // design.events_per_chunk]
        within = case.installation % design.installations_per_block
        row = within * design.events_in(chunk) + case.event
        wanted = np.abs(Block(job, chunk).load_primary[row]) / study.ct.primary_a
        found = np.sqrt((load[:, :96] ** 2).mean(axis=1))
        assert found == pytest.approx(wanted, rel=0.02)  # ratio errors and excitation


def test_the_event_begins_at_the_trigger(made: list[tuple[Case, Sampled]]) -> None:
    """What differs from the cycle before begins there, but for the reach of the filter."""
    for _, record in made:
        changed = np.abs(record.cts_a[:, 96:] - record.cts_a[:, :-96]).max(axis=0)
        first = 96 + int(np.argmax(changed > 0.05 * changed.max()))
        assert BEFORE - 3 <= first <= BEFORE + 48  # a slow one: half a cycle later at most


def test_legs_are_sums_of_cts_and_the_solution_is_followed(
    study: Study, made: list[tuple[Case, Sampled]]
) -> None:
    """Away from jumps the record is the solution at the same times."""
    table = scheme_of(study, SETTING.scheme).table
    for case, record in made:
        assert np.abs(table @ record.cts_a - record.legs_a).max() < 1e-9
        exact = np.stack([np.interp(record.times_s, case.times_s, one) for one in case.cts_a])
        apart = np.abs(exact - record.cts_a).max(axis=0)
        assert np.median(apart) < 1e-3 * record.peak_a


def test_without_load_a_record_begins_with_nothing() -> None:
    study = study_with({**CHANGES, "load": REMOVE})
    for case in nearest_cases(study, SETTING).cases:
        before = np.abs(sampled(study, case).cts_a[:, : BEFORE - REACH]).max()
        assert before < 1e-3 * study.ct.secondary_a  # what the capacitances take


def test_rate_and_time_before_are_the_study_s() -> None:
    """7,680 samples a second at 60 Hz are 128 a cycle, 2,000 are none whole: both show one case."""
    found = {}
    for rate, before in ((7680, 0.2), (2000, 0.5)):
        study = study_with(
            {
                **CHANGES,
                "machine.frequency_hz": 60,
                "waveforms": {"sampling_rate_hz": rate, "before_s": before},
            }
        )
        case = nearest_cases(study, SETTING).cases[0]
        record = sampled(study, case)
        assert case.rate_hz >= 2 * rate - 1e-6
        assert np.diff(record.times_s) == pytest.approx(1 / rate)
        assert record.before_s == before
        found[rate] = (case, record)
    (slow, slowly), (fast, fastly) = found[2000], found[7680]
    assert (slow.stratum, slow.installation, slow.event) == (
        fast.stratum,
        fast.installation,
        fast.event,
    )
    assert slow.quantity_a == pytest.approx(fast.quantity_a, rel=0.01)
    common = np.arange(-0.19, 0.1, 1 / 40)  # times that both have
    one, other = (
        record.cts_a[:, np.rint((common + record.before_s) * record.rate_hz).astype(int)]
        for record in (slowly, fastly)
    )
    assert np.abs(one - other).max() < 0.01 * fastly.peak_a
