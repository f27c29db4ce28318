"""Runs with internal faults in time: what holds of evolving faults and of faults with their DC
offset, whatever the numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from montecarlo import run_study, sample_frames
from montecarlo.engine.block import Block
from montecarlo.engine.count import run_chunk
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.frames.result import Result
from montecarlo.sampling.stratum import EVOLVING as EVOLVING_TYPE
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from studies.waveforms.cases import nearest_cases, ratios_of
from studies.waveforms.records import records
from studies.waveforms.sampled import sampled
from tests.made.studies import FEW_TYPES, REMOVE, study_with

if TYPE_CHECKING:
    import pandas as pd

EVOLVING: dict[str, Any] = FEW_TYPES | {
    "study.samples": 128,
    "study.installations": 16,
    "study.earth_fault_samples": 16,
    "study.rare_samples": 0,
    "scheme": {"kind": "biased", "bias_form": "sum", "bias_current": "mean"},
    "candidates": {
        "phase_pickup_a": [0.1, 0.3, 1.0],
        "first_slope": [0.1, 0.5],
        "second_slope": [0.8],
        "turning_point_a": [1.0],
        "delay_s": [0, 0.03],
    },
    "relay.earth_burden_ohm": REMOVE,
    "internal_faults.allowed_time_s": 0.2,
    "internal_faults.phase_fault_resistance_ohm": 0.02,
    "internal_faults.shares": {"earth": 0.5, "phase_phase": 0.3, "evolving": 0.2},
    "internal_faults.evolving": {
        "event": "near_fault",
        "after_s": {"dist": "uniform", "low": 0.005, "high": 0.08},
        "kind": "phase_phase",
    },
    "backup.neutral_voltage": {"pickup_percent": 10, "delay_s": 0.1},
    "backup.allowed_time_s": 1.0,
    "policy.p_false_max": 0.9,
}
OFFSET = {"internal_faults.dc_offset": True}


@pytest.fixture(scope="module")
def result() -> Result:
    return run_study(study_with(EVOLVING | OFFSET), workers=1)


def of_type(result: Result, kind: str) -> pd.DataFrame:
    rows = result.by_type
    return rows[(rows["side"] == "internal") & (rows["type"] == kind)].set_index("candidate")


def test_it_is_a_type_of_its_own(result: Result) -> None:
    rows = of_type(result, "evolving")
    assert len(rows) == len(result.candidates)
    assert (rows["samples"] == 128).all()
    assert rows["weight"].unique() == pytest.approx([0.2])
    # the back-up sees nothing of it
    assert "evolving" not in set(result.backup["type"])
    assert (rows["p_nobody"] == rows["p"]).all()


def test_samples_tell_what_the_table_counts(result: Result) -> None:
    """By the critical pick-ups of each delay, as a reader of the frame finds them."""
    study = study_with(EVOLVING | OFFSET)
    for name in ("internal.evolving", "internal.phase_phase"):
        frame = sample_frames(study, [name])[name]
        rows = of_type(result, name.partition(".")[2])
        selection = result.candidates[result.candidates["batch"] == 1]
        assert len(selection) > 2
        for _, one in selection.iterrows():
            words = f"slope {one['first_slope']:g} (0.8 above 1 A)"
            delay = f"{one['delay_s']:g} s]"
            (column,) = (
                key
                for key in frame.columns
                if key.startswith("critical_pickup_a") and words in key and key.endswith(delay)
            )
            (load,) = (
                key
                for key in frame.columns
                if key.startswith("load_pickup_a")
                and words in key
                # of an evolving fault the external part too
                and key.endswith(delay if name == "internal.evolving" else "phase]")
            )
            blind = frame[column] <= one["phase_pickup_a"]
            had = frame[load] > one["phase_pickup_a"]
            missed = float((blind | had).mean())
            assert rows.loc[one["candidate"], "p"] == pytest.approx(missed, abs=1e-7)


def test_more_time_never_misses_more() -> None:
    """The same samples in windows of 60 and 200 ms: what is sustained within the shorter one is
    within the longer one, sample by sample."""
    longer, shorter = (
        sample_frames(study_with(EVOLVING | OFFSET | changes))
        for changes in ({}, {"internal_faults.allowed_time_s": 0.06})
    )
    for name in ("internal.evolving", "internal.phase_phase"):
        columns = [key for key in longer[name].columns if key.startswith("critical_pickup_a")]
        assert len(columns) == 4
        few, more = (frame[name][columns].to_numpy() for frame in (shorter, longer))
        assert (few <= more + 1e-9).all()  # rounding: exponentials are made by recurrence
        assert (few < more - 1e-3).any()


def test_a_longer_delay_never_misses_less(result: Result) -> None:
    """But for what operates before: a longer delay has less of that."""
    for kind in ("evolving", "phase_phase"):
        rows = of_type(result, kind)
        before = rows["p_operated_before"].fillna(0.0)
        assert (before <= rows["p"]).all()
        p = (rows["p"] - before).to_numpy().reshape(-1, 2)
        early = before.to_numpy().reshape(-1, 2)
        assert (early[:, 0] >= early[:, 1]).all()
        assert (result.candidates["delay_s"].to_numpy().reshape(-1, 2) == [0, 0.03]).all()
        assert (p[:, 0] <= p[:, 1]).all()


def test_other_types_have_the_numbers_that_they_had() -> None:
    """A type more and an offset that is not asked for change nothing else."""
    both = [
        sample_frames(study_with(changes), ["internal.phase_phase", "external.near_fault"])
        for changes in (
            EVOLVING,
            {key: value for key, value in EVOLVING.items() if not key.endswith("evolving")}
            | {"internal_faults.shares": {"earth": 0.7, "phase_phase": 0.3}},
        )
    ]
    for name, frame in both[0].items():
        for key in both[1][name].columns:
            np.testing.assert_array_equal(frame[key].to_numpy(), both[1][name][key].to_numpy())


# --- records ------------------------------------------------------------------

SETTING = Setting("biased", 0.3, None, 0.0, 0.0, 0.1, 0.8, 1.0)


def test_the_search_for_records_counts_what_the_run_counts() -> None:
    """Without a pick-up error: of the samples that the load does not operate."""
    study = study_with(EVOLVING | OFFSET | {"relay.pickup_error_percent": 0})
    job = Job(study, lattices_of(study, SETTING), *designs(study))
    for name in (EVOLVING_TYPE, Stratum("internal.phase_phase")):
        chunk = job.design_of(name).chunks(name)[0]
        missed = (ratios_of(Block(job, chunk), job.lattices[0]) <= 1).sum()
        assert missed == run_chunk(job, chunk).lattices[0].total.sum()


def test_a_record_shows_the_external_fault_that_comes_before() -> None:
    """Load for the time that every record has, then up to 80 ms of another current, then the
    trigger; the header says so."""
    alone = {"internal_faults.shares": {"evolving": 1.0}}
    study = study_with(EVOLVING | OFFSET | alone)
    found = [one for one in nearest_cases(study, SETTING).cases if one.stratum == EVOLVING_TYPE]
    assert found
    for case in found:
        record = sampled(study, case)
        assert record.times_s[0] == pytest.approx(-0.38)
        trigger, cycle = record.times_s.searchsorted(-1e-9), 96
        assert np.abs(record.times_s[trigger]) < 1e-9
        quiet = record.cts_a[:, : trigger - round(0.085 * record.rate_hz)]
        moves = np.abs(quiet[:, cycle:] - quiet[:, :-cycle]).max()
        assert moves < 2e-3 * np.abs(quiet).max()
        outside = record.cts_a[:, trigger - 20 : trigger]
        assert np.abs(outside).max() > 1.2 * np.abs(quiet).max()
    files = records(study, SETTING, {"one": (found[0], sampled(study, found[0]))})
    (words,) = {text for name, text in files.items() if name.endswith(".hdr")}
    assert b"0.38 s after the start of the record" in words
    assert b"an external fault, which lasts up to 0.08 s" in words
