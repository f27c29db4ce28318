"""Covered winding is exact: quantiles and curve of the raw critical positions, however candidates
are cut."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.engine import winding
from montecarlo.engine.batch import run_batch
from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.estimates import assemble
from montecarlo.estimates.assemble import Gathered, detection_curve, protected_winding
from montecarlo.estimates.counting import missed_stretch
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from tests.made.studies import study_with

PLACES = np.arange(41) / 40
QUANTILES = {"median": 0.5, "p95": 0.95, "p05": 0.05}


def check(found: Gathered, protected: Array) -> None:
    """protected (candidates, n): what each setting covers in each sampled fault."""
    told = protected_winding(found)
    for name, quantile in QUANTILES.items():
        assert getattr(told, name) == pytest.approx(
            np.quantile(protected, quantile, axis=1), abs=1e-6
        ), name
    share = np.mean(1 - protected[:, :, None] < PLACES - 1e-7, axis=1)
    assert detection_curve(found, PLACES).p == pytest.approx(share, abs=1e-12)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(9)


def sampled(rng: np.random.Generator, sizes: Array) -> tuple[Gathered, Array]:
    """Two lattices, (3 x 4 x 2) and (5 x 1 x 1), blocks of unlike size; and what each candidate
    covers."""
    phase_x, earth_x, protected = [], [], []
    for phase, earth, delays in ((3, 4, 2), (5, 1, 1)):
        x, y = (
            [rng.random((n, settings, delays)) ** 2 for n in sizes] for settings in (phase, earth)
        )
        for one in (*x, *y):
            one[rng.random(one.shape) < 0.1] = 1.0  # detected nowhere
            one[rng.random(one.shape) < 0.1] = np.nan  # operates on the load
        missed = np.concatenate(
            [
                np.minimum(a[:, :, None], b[:, None]).reshape(len(a), phase * earth * delays)
                for a, b in zip(x, y, strict=True)
            ]
        )
        protected.append(1 - np.where(np.isnan(missed), 1.0, missed).T)
        phase_x.append(tuple(one.astype(np.float32) for one in x))
        earth_x.append(tuple(one.astype(np.float32) for one in y))
    none = np.zeros((29, BLOCKS))
    return (
        Gathered("internal.earth", none, none[0], none, none, None, tuple(phase_x), tuple(earth_x)),
        np.concatenate(protected),
    )


@pytest.mark.parametrize("piece", [1, 500, 1 << 22])
def test_quantiles_and_curve_are_those_of_the_positions(
    rng: np.random.Generator, piece: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(assemble, "PIECE", piece)
    check(*sampled(rng, np.append(0, rng.integers(1, 40, BLOCKS - 1))))


def test_without_a_resolved_fault_nothing_is_said_to_be_protected(rng: np.random.Generator) -> None:
    found, _ = sampled(rng, np.zeros(BLOCKS, int))
    assert np.isnan(protected_winding(found).median).all()
    assert (detection_curve(found, PLACES).p == 0).all()


def protected_by(study: Study) -> Array:
    """Of every candidate in every sampled earth fault, (candidates, n), from the chunks
    themselves."""
    job = Job(study, candidate_lattices(study), *designs(study))
    chunks = []
    for chunk in job.earth_design.chunks(EARTH):
        block, rows = Block(job, chunk), []
        for lattice, phase_x, earth_x in winding.critical_places(block, winding.solved(block), {}):
            delays = len(lattice.delay_s)
            phase, earth = block.load_pickups(lattice).silent(*thresholds(lattice), delays)
            x = missed_stretch(
                phase_x[:, :, None], earth_x[:, None], phase[:, :, None] & earth[:, None]
            )
            rows.append(x.reshape(len(block), -1))
        chunks.append(np.concatenate(rows, axis=1))
    return 1 - np.concatenate(chunks).T


def test_a_run_tells_what_its_own_faults_say() -> None:
    study = study_with(
        {
            "study.samples": 64,
            "study.installations": 32,
            "study.earth_fault_samples": 128,
            "scheme.kind": ["per_phase", "two_phase_one_earth"],
            "candidates.delay_s": [0, 0.06],
            "candidates.stabilising_resistance_ohm": [0, 600],
        }
    )
    batch = run_batch(
        study, candidate_lattices(study), 0, Workers(1), lambda done, total, what: None
    )
    protected = protected_by(study)
    assert len(protected) == len(batch.settings)
    assert np.ptp(protected, axis=1).max() > 0.3
    check(batch.strata[EARTH], protected)
