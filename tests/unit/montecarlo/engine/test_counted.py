"""What is solved side by side: nothing hangs on it."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.count import run_chunk
from montecarlo.engine.counted import Counted, by_block, counted_chunks
from montecarlo.engine.job import Job
from montecarlo.engine.keep import run_and_keep
from montecarlo.engine.sizes import designs
from montecarlo.estimates.tally import Tally
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.strata import strata
from tests.made.studies import study_with

STUDY = study_with(
    {
        "study.samples": 512,
        "study.installations": 64,
        "study.earth_fault_samples": 256,
        "states.open_ct_circuit_per_year": 0.01,
        "states.breaker_open_share": 0.3,
        "backup.neutral_current": {"pickup_a": 20.0, "delay_s": 0.5},
        "candidates.phase_pickup_a": [0.05, 0.2],
        "candidates.earth_pickup_a": [0.01, 0.05, 0.1],
    }
)


@pytest.fixture(scope="module")
def job() -> Job:
    lattices = candidate_lattices(STUDY)
    return Job(STUDY, lattices, *designs(STUDY), shares=(0.25, 0.5), paired=(0, 3))


def numbers(value: Any) -> list[Any]:
    """Everything that a tally holds, but for what stands with the first block alone."""
    if isinstance(value, np.ndarray):
        return [value]
    if isinstance(value, tuple | list):
        return [leaf for each in value for leaf in numbers(each)]
    if isinstance(value, dict):
        return [leaf for key in sorted(value) for leaf in numbers(value[key])]
    if value is None or isinstance(value, float):
        return [value]
    named = (each.name for each in fields(value) if each.name not in ("counts", "causes"))
    return [leaf for name in named for leaf in numbers(getattr(value, name))]


def assert_same(one: Tally, other: Tally) -> None:
    for mine, theirs in zip(numbers(one), numbers(other), strict=True):
        assert np.array_equal(mine, theirs, equal_nan=True) if mine is not None else theirs is None


@pytest.mark.parametrize("name", strata(STUDY), ids=str)
def test_each_block_has_the_tally_of_its_own_chunk_to_the_last_bit(job: Job, name: Stratum) -> None:
    tasks = job.design_of(name).tasks(name)
    assert max(map(len, tasks)) > 1
    task = max(tasks, key=len)
    given = Counted(job, task, False)
    tallies, kept = counted_chunks(given)
    found = by_block(given, tallies)
    assert kept == []
    assert [*found] == [chunk.installation_block for chunk in task]
    alone = [run_chunk(job, chunk) for chunk in task]
    for chunk, tally in zip(task, alone, strict=True):
        assert_same(found[chunk.installation_block], tally)
    for key in alone[0].counts:
        whole = sum(tally.counts[key] for tally in found.values())
        assert whole == pytest.approx(sum(tally.counts[key] for tally in alone), rel=1e-12)
    assert np.array_equal(
        sum(tally.causes for tally in found.values()), sum(tally.causes for tally in alone)
    )


@pytest.mark.parametrize("name", [EARTH, Stratum("internal.phase_phase")], ids=str)
def test_rows_side_by_side_are_those_of_one_chunk_after_the_other(job: Job, name: Stratum) -> None:
    task = job.design_of(name).tasks(name)[0]
    _, (together,) = counted_chunks(Counted(job, task, True))
    alone = [run_and_keep(job, chunk)[1] for chunk in task]
    for column, values in together.items():
        wanted = np.concatenate([rows[column] for rows in alone])
        assert np.array_equal(values, wanted, equal_nan=values.dtype.kind == "f"), column


def test_several_event_blocks_of_several_blocks_are_added_in_their_order(job: Job) -> None:
    name = Stratum("internal.phase_phase")
    small = replace(job.design, chunk_samples=8)  # two events of each of a block's installations
    own = replace(job, design=small)
    chunks = tuple(chunk for chunk in small.chunks(name) if chunk.installation_block < 2)
    assert len({chunk.event_block for chunk in chunks}) > 1
    given = Counted(own, chunks, False)
    found = by_block(given, counted_chunks(given)[0])
    for block in (0, 1):
        first, *others = [run_chunk(own, c) for c in chunks if c.installation_block == block]
        for other in others:
            first = first + other
        assert_same(found[block], first)
