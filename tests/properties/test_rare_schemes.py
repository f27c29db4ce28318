"""Weighted samples of rare false trips against counts, where elements are biased and where burdens
depend on the setting."""

from __future__ import annotations

from functools import reduce
from operator import add
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.count import run_chunk
from montecarlo.engine.densities import find_densities
from montecarlo.engine.job import Job
from montecarlo.engine.rare import final_batch
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import gather
from montecarlo.estimates.rare import rare_estimate
from montecarlo.estimates.weighted import Weighted, compare
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.candidates import candidate_lattices
from tests.made.studies import REMOVE, study_with

EVENT = "far_fault"
SIZES: dict[str, Any] = {
    "study.samples": 8192,
    "study.rare_samples": 4096,
    "study.installations": 64,
}
BIASED: dict[str, Any] = SIZES | {
    "scheme.kind": "biased",
    "scheme.bias_form": "greater_of",
    "external_events.far_fault.external_reactance_pu": 0.5,
    "external_events.far_fault.clearing_time_s": 0.15,
    "ct.remanence_percent": {"dist": "uniform", "low": -45, "high": 45},
    "candidates": {
        "phase_pickup_a": [0.2, 0.24, 0.28],
        "first_slope": [0.0, 0.2, 0.3],
        "delay_s": [0.05],
    },
}
BURDEN_VA: dict[str, Any] = SIZES | {
    "relay.phase_burden_va": 0.02,
    "relay.phase_burden_ohm": REMOVE,
    "relay.earth_burden_va": 0.02,
    "relay.earth_burden_ohm": REMOVE,
    "external_events.far_fault.external_reactance_pu": 0.3,
    "external_events.far_fault.clearing_time_s": 0.08,
    "candidates.stabilising_resistance_ohm": [300],
    "candidates.phase_pickup_a": [0.15],
    "candidates.earth_pickup_a": [0.015, 0.02, 0.025],
}


def compared(changes: dict[str, Any]) -> tuple[Job, Weighted, Array]:
    """The event's candidates, its weighted samples judged against its counts, and p counted,
    (C,)."""
    study = study_with(changes)
    study = study.model_copy(
        update={
            "external_events": tuple(
                event for event in study.external_events if event.name == EVENT
            )
        }
    )
    job, name = (
        Job(study, candidate_lattices(study), *designs(study)),
        Stratum.of(Side.EXTERNAL, EVENT),
    )

    def tell(done: int, total: int, what: str) -> None:
        pass

    final = final_batch(job, find_densities(job, Workers(1), tell), 0, Workers(1), tell)[name]
    tallies = [
        run_chunk(job, chunk) for chunk in job.design.chunks(name)
    ]  # block by block, then the next events
    counts = gather(name, [reduce(add, tallies[block::BLOCKS]) for block in range(BLOCKS)])
    judged = compare(final.candidates, counts.total, counts.trials, counts.unresolved, job.lattices)
    return job, judged, counts.estimate().p


def agree(judged: Weighted, counted: Array) -> bool:
    """Whether both saw enough of some rare candidates and differ by less than 4 standard errors: by
    chance beyond that once in 16,000 a candidate."""
    seen = np.isfinite(judged.gap) & (counted < 0.05)
    assert seen.sum() >= 3
    return bool(np.abs(judged.gap[seen]).max() < 4)


@pytest.mark.slow
def test_weighted_samples_of_greater_of_bias_agree_with_counts() -> None:
    job, judged, counted = compared(BIASED)
    assert agree(judged, counted)
    assert judged.used.sum() >= 6
    found = rare_estimate(judged.sums).p.reshape(3, 3)  # slope by slope, pick-up by pick-up
    assert [lattice.bias.first_slope for lattice in job.lattices if lattice.bias] == [0.0, 0.2, 0.3]
    assert (
        np.diff(found, axis=0) < 0
    ).all()  # the same samples: a steeper slope holds some of them back
    assert (np.diff(found, axis=1) < 0).all()


@pytest.mark.slow
def test_weighted_samples_of_burdens_in_va_agree_with_counts() -> None:
    """Every pick-up is a circuit of its own: the samples are solved on each, and weighted alike."""
    job, judged, counted = compared(BURDEN_VA)
    assert len({lattice.circuit for lattice in job.lattices}) == 3
    assert agree(judged, counted)
    assert judged.used.sum() >= 2
