"""Weighted samples handed out: each chunk once, however many travel together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.engine import rare
from montecarlo.engine.draws import CHUNK, TASKS_MAX, Draw, draws_of
from montecarlo.engine.job import Job
from montecarlo.engine.progress import silent
from montecarlo.engine.rare import final_batch, final_draws, first_draw
from montecarlo.engine.sizes import designs
from montecarlo.engine.space import space_of
from montecarlo.engine.workers import Workers
from montecarlo.estimates.rare import Symmetric, plain
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.candidates import candidate_lattices
from tests.made.studies import FEW_TYPES, study_with

NEAR = Stratum.of(Side.EXTERNAL, "near_fault")
SIZE = 4 * CHUNK + 128


@pytest.fixture(scope="module")
def job() -> Job:
    study = study_with(
        {**FEW_TYPES, "study.rare_samples": SIZE, "candidates.stabilising_resistance_ohm": [300]}
    )
    return Job(study, candidate_lattices(study), *designs(study), shares=(0.25, 0.5))


@pytest.fixture(scope="module")
def density(job: Job) -> Symmetric:
    space = space_of(job.study, NEAR)
    return plain(space.dims, space.images)


def test_several_chunks_of_a_task_are_those_that_would_travel_alone(
    job: Job, density: Symmetric
) -> None:
    alone = draws_of(job, NEAR, density, SIZE, 0, "key")
    together = draws_of(job, NEAR, density, SIZE, 0, "key", 2)
    assert [draw.count for draw in alone] == [CHUNK] * 4 + [128]
    assert [draw.count for draw in together] == [2 * CHUNK] * 2 + [128]
    assert together[1].label == f"{NEAR}, batch 0, no. 2 to 3 of key"
    assert together[2].label == alone[4].label
    parts = [part for draw in together for part in draw.chunks()]
    assert [(one.chunk, one.count) for one in parts] == [(one.chunk, one.count) for one in alone]
    assert all(np.array_equal(a.u(), b.u()) for a, b in zip(parts, alone, strict=True))


def test_a_batch_of_1e9_samples_is_handed_out_in_few_tasks(job: Job, density: Symmetric) -> None:
    large = replace(job, weighted=((NEAR, 10**9),))
    draws = final_draws(large, NEAR, density, 0)
    assert 0.9 * TASKS_MAX < len(draws) <= TASKS_MAX
    assert sum(draw.count for draw in draws) == 10**9
    first = first_draw(large, NEAR, density)
    assert (first.chunk.index, first.count) == (0, CHUNK)


def test_sums_do_not_hang_on_how_many_travel_together(
    job: Job, density: Symmetric, monkeypatch: pytest.MonkeyPatch
) -> None:
    def batch() -> tuple[rare.Final, list[int]]:
        rows: list[int] = []

        def keep(name: Stratum, own: rare.Rows, weighted: bool = False) -> None:
            assert (name, weighted) == (NEAR, True)
            rows.append(len(next(iter(own.values()))))

        return final_batch(job, {NEAR: density}, 0, Workers(1), silent, keep)[NEAR], rows

    alone, rows = batch()
    monkeypatch.setattr(rare, "TASKS_MAX", 2)
    assert len(final_draws(job, NEAR, density, 0)) == 2
    together, again = batch()
    assert rows == again == [CHUNK] * 4 + [128]
    pairs = [(alone.candidates, together.candidates), (alone.curves, together.curves)]
    pairs += [(alone.early[share], together.early[share]) for share in job.shares]
    for one, other in pairs:
        assert one.trials == other.trials
        assert one.hits.max() > 0
        assert np.array_equal(one.hits, other.hits)
        np.testing.assert_allclose(one.batch_squares, other.batch_squares, rtol=1e-12)


def test_a_task_of_one_chunk_is_called_as_the_chunk(job: Job, density: Symmetric) -> None:
    draw = Draw(job, first_draw(job, NEAR, density).chunk, density, CHUNK, "key")
    assert draw.label == f"{NEAR}, batch 0, no. 0 of key"
