"""Who clears the faults of whole small studies: against a batch of the same faults, against
certain failures, and against failures that are drawn one by one."""

from __future__ import annotations

import os
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.batch import Batch, run_batch
from montecarlo.engine.block import Block
from montecarlo.engine.clearing import Clearing, follow
from montecarlo.engine.clearing_paths import SOUND, STATED, Paths, cases_of
from montecarlo.engine.job import Job
from montecarlo.engine.path import Measured, solve
from montecarlo.engine.progress import silent
from montecarlo.engine.sizes import designs
from montecarlo.engine.winding import Along
from montecarlo.engine.workers import workers_of
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import EARTH, PHASE_PHASE_EARTH, Stratum
from montecarlo.study.candidates import lattices_of
from tests.made.clearing import (
    NEUTRAL,
    SCHEME,
    SMALL,
    followed,
    part,
    probabilities,
    setting_of,
    with_parts,
)
from tests.made.studies import study_with

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
BIASED: dict[str, Any] = {
    "scheme.kind": "biased",
    "candidates": {"phase_pickup_a": [0.05], "first_slope": [0.2]},
}
LOADED: dict[str, Any] = {"candidates.phase_pickup_a": [0.0025]}  # some loads operate it
AT_PLACES: dict[str, Any] = {
    "internal_faults.position": {"dist": "empirical", "values": [0.0, 0.05, 0.4, 1.0]}
}
CASES = pytest.mark.parametrize("changes", [{}, BIASED, LOADED, AT_PLACES])
SURE = {"rate": 100.0}


def batch(changes: dict[str, Any]) -> Batch:
    """The same setting on the same random numbers."""
    study = study_with(SMALL | changes)
    lattices = lattices_of(study, setting_of(study))
    return run_batch(study, lattices, 1, workers_of(1), silent)


def close(name: Stratum) -> float:
    return 1e-9 if name == EARTH else 0.0


# --- against a batch ----------------------------------------------------------


@CASES
def test_without_failures_the_scheme_clears_what_it_does_not_miss(changes: dict[str, Any]) -> None:
    """The back-up is slower, and clears what it alone sees."""
    found, counted = followed(changes), batch(changes)
    own = len([path for path in found.paths if path in SCHEME])
    for name, p in probabilities(found, SOUND).items():
        missed = counted.strata[name].p[0]
        assert 1 - p[:own].sum() == pytest.approx(missed, abs=close(name) or 1e-15)
        nobody = counted.nobody[name].p[0] if name in counted.nobody else missed
        assert p[-1] == pytest.approx(nobody, abs=close(name) or 1e-15)
        assert p.sum() == pytest.approx(1, abs=1e-12)
    if changes is LOADED:
        assert 0.05 < 1 - probabilities(found, SOUND)[EARTH][:own].sum() < 1


@CASES
def test_where_the_scheme_surely_fails_the_backup_clears_what_it_sees(
    changes: dict[str, Any],
) -> None:
    own = SCHEME[:1] if changes is BIASED else SCHEME
    found = followed(changes | with_parts(part("relay", *own, **SURE)))
    itself = batch(changes).backup
    for name, p in probabilities(found, STATED).items():
        assert p[: len(own)].sum() == 0
        operates = itself[name].p[0] if name in itself else 0.0
        assert p[len(own) : -1].sum() == pytest.approx(operates, abs=close(name) or 1e-15)
        assert p[-1] == pytest.approx(1 - operates, abs=1e-9)


# --- failures -----------------------------------------------------------------


@cache
def two_tables() -> tuple[Clearing, Clearing]:
    """Without parts, and with parts that never fail."""
    never = with_parts(part("relay", *SCHEME, rate=0), part("breaker", *SCHEME, *NEUTRAL, rate=0))
    return followed({}), followed(never)


def test_parts_that_never_fail_change_no_bit() -> None:
    without, never = two_tables()
    for name, blocks in without.cleared.items():
        for one, other in zip(blocks, never.cleared[name], strict=True):
            assert all(np.array_equal(one.sums[0], sums) for sums in other.sums)
            assert np.array_equal(one.alone, other.alone)


RATE = {"dist": "lognormal", "median": 0.05, "sigma": 0.7, "truncate": [0.005, 0.4]}
PARTS = (
    part("relay", *SCHEME, rate=RATE),
    part("second_relay", "neutral_current", rate=0.1),
    part("transformer", "neutral_voltage", rate=0.2),
    part("breaker", *SCHEME, *NEUTRAL, rate=0.07),
)


def test_paths_and_nobody_are_all() -> None:
    found = ClearingFrames(followed(with_parts(*PARTS))).who_clears()
    sums = found.groupby(["type", "failure_rates"])["p"].sum()
    assert len(sums) == 5 * 4
    assert sums.to_numpy() == pytest.approx(1, abs=1e-12)
    nobody = found[found["path"] == "nobody"].set_index(["failure_rates", "type"])["p"]
    order = [nobody[word, "all"] for word in ("none", "a third", "as stated", "three times")]
    assert order == sorted(order)
    assert order[0] < order[-1]


def test_a_part_of_all_paths_fails_before_anything_else_is_asked() -> None:
    q, own = 0.07, PARTS[:3]
    with_it = probabilities(
        followed(with_parts(*own, part("b", *SCHEME, *NEUTRAL, rate=q))), STATED
    )
    without = probabilities(followed(with_parts(*own)), STATED)
    for name, p in without.items():
        assert with_it[name][-1] == pytest.approx(q + (1 - q) * p[-1], rel=1e-12)
        assert with_it[name][:-1] == pytest.approx((1 - q) * p[:-1], rel=1e-12)


def test_paths_without_a_common_part_fail_independently() -> None:
    """P(nobody) is the mean of the product over the paths of 1 - sees (1 - q); along the winding
    from 4,096 places that are as likely as one another."""
    q = dict(zip((*SCHEME, *NEUTRAL), (0.1, 0.2, 0.3, 0.05), strict=True))
    parts = with_parts(*(part(f"of_{name}", name, rate=value) for name, value in q.items()))
    found = probabilities(followed(parts), STATED)
    works = 1 - np.array(list(q.values()))
    for name, p in found.items():
        fails = np.concatenate(
            [np.prod(1 - sees * works, axis=-1).ravel() for _, sees in all_sees(parts, name)]
        )
        assert p[-1] == pytest.approx(fails.mean(), abs=2e-4 if name == EARTH else 1e-12)


def all_sees(changes: dict[str, Any], stratum: Stratum) -> list[tuple[Paths, Array]]:
    """What each path sees, (n, places, J), of every chunk; of earth faults at many places."""
    study = study_with(SMALL | changes)
    job = Job(study, lattices_of(study, setting_of(study)), *designs(study))
    found = []
    for chunk in job.design_of(stratum).chunks(stratum, 1):
        block = Block(job, chunk)
        paths, solution = Paths(block, job.lattices[0]), solve(block)
        if isinstance(solution, Along):
            place = study.internal_faults.position.ppf((np.arange(4096) + 0.5) / 4096)
            sees = (place[:, None] > paths.places(solution)[:, None]).astype(float)
        else:
            assert isinstance(solution, Measured)
            sees = paths.seen(solution)[:, None]
        found.append((paths, sees))
    return found


@pytest.mark.parametrize("stratum", [EARTH, PHASE_PHASE_EARTH])
def test_failures_that_are_drawn_agree(stratum: Stratum) -> None:
    """Each part works or not by lot, each earth fault has a place by lot, and the fastest path that
    sees and works clears. Within four standard errors: by chance beyond once in 1,300 runs."""
    shares = {"internal_faults.shares": {stratum.kind: 1.0}}
    changes = with_parts(*PARTS) | shares
    frames = ClearingFrames(followed(changes))
    rng, draws = np.random.default_rng(SEED), 2000
    cleared, element, both, count = np.zeros(5), np.zeros(4), np.zeros(4), 0
    for paths, every in all_sees(changes, stratum):
        found = paths.block.study.dependability
        assert found is not None
        n, shape = len(paths.block), (len(paths.block), draws)
        sees = every[np.arange(n)[:, None], rng.integers(0, every.shape[1], shape)] == 1
        works = np.ones((*shape, 4), bool)
        for one in found.parts:
            fails = rng.random(shape) < found.failure(one, paths.block.samples)[:, None]
            works &= ~(fails[..., None] & np.isin(paths.names, one.paths))
        times = np.where(sees & works, paths.times_s, np.inf)
        first = np.where(np.isfinite(times).any(axis=-1), times.argmin(axis=-1), 4)
        cleared += np.bincount(first.ravel(), minlength=5)
        element += (~sees).sum(axis=(0, 1))
        both += (~(sees & works)).sum(axis=(0, 1))
        count += first.size
    table = frames.who_clears()
    stated = table[(table["failure_rates"] == "as stated") & (table["type"] == "all")]
    within(stated["p"].to_numpy(), cleared / count, count)
    rows = frames.dependability().set_index("what").loc["path"]
    assert rows["name"].tolist() == [*SCHEME, *NEUTRAL]
    within(rows["p_missed_element"].to_numpy(), element / count, count)
    within(rows["p_missed_both"].to_numpy(), both / count, count)


def within(p: Array, drawn: Array, count: int) -> None:
    """Few draws of a rare failure: at least those of once in a thousand."""
    error = np.sqrt(np.maximum(drawn * (1 - drawn), 1e-3) / count)
    assert np.all(np.abs(p - drawn) < 4 * error)


# --- what each path sees, and when --------------------------------------------

SOLID: dict[str, Any] = {  # all elements see a fault at the terminals, whatever its phase
    "scheme.kind": "biased_with_restricted_earth_fault",
    "ct.neutral_conductor": {},
    "candidates": {"phase_pickup_a": [0.1], "first_slope": [0.0], "earth_pickup_a": [0.1]},
    "earthing.resistance_ohm": 12.0,
    "internal_faults.position": 1.0,
    "internal_faults.earth_fault_resistance_ohm": 0.0,
    "internal_faults.shares": {"earth": 1.0},
}
Q = {"phase_elements": 0.1, "earth_element": 0.2}


@pytest.mark.parametrize(
    ("delay_s", "earth_delay_s", "first"),
    [(0.0, 0.3, SCHEME), (0.3, 0.0, SCHEME[::-1]), (0.1, 0.1, SCHEME)],
)
def test_the_faster_element_clears_and_the_other_one_when_it_fails(
    delay_s: float, earth_delay_s: float, first: tuple[str, str]
) -> None:
    """Of two as fast as one another that of the phases."""
    delays = {"candidates.delay_s": [delay_s], "candidates.earth_delay_s": [earth_delay_s]}
    parts = with_parts(*(part(f"of_{name}", name, rate=q) for name, q in Q.items()))
    p = probabilities(followed(SOLID | delays | parts), STATED)[EARTH]
    fast, slow = (SCHEME.index(name) for name in first)
    assert p[fast] == pytest.approx(1 - Q[first[0]], rel=1e-12)
    assert p[slow] == pytest.approx(Q[first[0]] * (1 - Q[first[1]]), rel=1e-12)


def test_what_operates_on_load_sees_no_fault() -> None:
    """The relay had tripped the machine before; the back-up goes on."""
    always = followed({"candidates.phase_pickup_a": [1e-6]})
    for name, p in probabilities(always, SOUND).items():
        assert p[:2].sum() == 0
        sees = np.sum([one.alone[0] for one in always.cleared[name]], axis=0)
        assert sees[:2].sum() == 0
        assert (sees[2:].sum() > 0) == (name in (EARTH, PHASE_PHASE_EARTH))


def test_parts_of_a_chunk_add_up_to_the_whole() -> None:
    study = study_with(SMALL | with_parts(*PARTS))
    job = Job(study, lattices_of(study, setting_of(study)), *designs(study))
    for name in (EARTH, PHASE_PHASE_EARTH):
        chunk = job.design_of(name).chunks(name, 1)[3]
        events = job.design_of(name).events_in(chunk)
        halves = [(0, events // 2), (events // 2, events)]
        cases = cases_of(study)
        whole, _ = follow(Block(job, chunk), cases)
        both = [follow(Block(job, replace(chunk, begin=a, end=b)), cases)[0] for a, b in halves]
        assert sum(one.sums for one in both) == pytest.approx(whole.sums, rel=1e-12)
        assert sum(one.faults for one in both) == pytest.approx(whole.faults)
