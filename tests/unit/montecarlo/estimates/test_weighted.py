"""Where p_false comes from: weighted samples that pass their checks, else counts, and limits of
finer settings."""

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.estimates.intervals import with_unresolved
from montecarlo.estimates.rare import Seen, Sums, Why, rare_estimate
from montecarlo.estimates.weighted import Source, compare, least_of_finer
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit
from studies.report.refusals import trust_text

N, INSTALLATIONS = 12_800, 64
CIRCUIT = Circuit("per_phase", 0.0)


def lattice(*pickups):
    return Lattice(CIRCUIT, None, pickups, (), (0.0,))


def sums_of(*p):
    """Exact-looking samples of candidates with these probabilities, weights 1/10."""
    y = np.random.default_rng(3).permuted(
        np.arange(N)[:, None] < np.round(10 * np.array(p) * N), axis=0
    )
    return Sums.of(y, np.full(N, np.log(0.1)), 10.0)


def counts(*hits):
    total = np.zeros((len(hits), INSTALLATIONS))
    for row, count in zip(total, hits, strict=True):
        row += np.bincount(np.arange(count) % INSTALLATIONS, minlength=INSTALLATIONS)
    return total, np.full(INSTALLATIONS, 1000.0), np.zeros((len(hits), INSTALLATIONS))


def judged(p, hits, *pickups):
    return compare(sums_of(*p), *counts(*hits), (lattice(*pickups),))


def estimate(found, hits, level=0.95):
    return found.instead_of(with_unresolved(*counts(*hits), level), level)


def test_rare_and_trusted_comes_from_weighted_samples():
    found = judged([1e-3, 5e-4], [64, 32], 0.1, 0.2)
    assert [trust_text(trust) for trust in found.verdict] == ["good", "good"]
    assert found.source == (Source.WEIGHTED, Source.WEIGHTED)
    assert estimate(found, [64, 32]).p == pytest.approx([1e-3, 5e-4])
    assert np.abs(found.gap).max() < 3


@pytest.mark.parametrize(
    ("p", "hits", "words"),
    [
        (0.05, 3200, "counted: above 0.02"),
        (1e-3, 640, "counts disagree by"),
        (0.0, 0, "nothing seen"),
    ],
)
def test_else_the_count_and_a_reason(p, hits, words):
    found = judged([p], [hits], 0.1)
    assert found.source == (Source.COUNT,)
    assert not found.used[0]
    assert trust_text(found.verdict[0]).startswith(words)
    assert estimate(found, [hits]).p == pytest.approx([hits / 64_000])


def hits_of(effective: float, p: float = 3e-4, trials: int = N) -> Seen:
    return Seen(trials, p, effective, 0.05, 0.0)


@pytest.mark.parametrize("level", [0.95, 0.90])
@pytest.mark.parametrize("hits", [0, 3, 30])
def test_few_effective_hits_give_the_wider_of_both(hits, level):
    """38 samples operate at 3e-4: fewer than 50, whatever was counted."""
    found = judged([3e-4], [hits], 0.1)
    assert found.verdict[0].why is Why.FEW
    assert found.source == (Source.BOTH,)
    assert found.used[0]
    assert not found.alone[0]
    own = rare_estimate(found.sums, level)
    count = with_unresolved(*counts(hits), level)
    told = estimate(found, [hits], level)
    assert told.p == own.p
    assert told.low == min(own.low, count.low)
    assert told.high == max(own.high, count.high) >= told.p


def test_a_count_of_nothing_does_not_hide_what_weighted_samples_saw():
    """A count of 0 in 64,000 bounds p at 4.7e-5; the weighted samples say 3e-4, and the bound is
    theirs."""
    found = judged([3e-4], [0], 0.1)
    bound = estimate(found, [0], 0.90).high[0]
    assert bound > 3e-4 > with_unresolved(*counts(0), 0.90).high[0]


def test_an_earlier_batch_decides_by_the_hits_that_it_lets_expect():
    sums, lattices = sums_of(3e-4), (lattice(0.1),)

    def source(before):
        return compare(sums, *counts(3), lattices, [before]).source[0]

    (trust,) = compare(sums, *counts(3), lattices, [hits_of(20.0)]).verdict
    assert (
        trust_text(trust)
        == "some 20 effective hits expected from the selection sample; 50 are needed"
    )

    assert source(None) is source(hits_of(49.0)) is Source.BOTH
    assert source(hits_of(51.0)) is Source.WEIGHTED
    assert source(hits_of(26.0, trials=N // 2)) is Source.WEIGHTED
    assert source(hits_of(24.0, trials=N // 2)) is Source.BOTH


def test_few_counts_contradict_nothing():
    found = judged([1e-3], [5], 0.1)
    assert np.isnan(found.gap[0])
    assert found.used[0]


def test_none_counted_is_bounded_by_the_finer_setting():
    found = judged([1e-3, 0.0, 0.0], [64, 0, 0], 0.1, 0.3, 0.2)
    whole, bound = estimate(found, [64, 0, 0]), estimate(found, [64, 0, 0], 0.90)
    alone = with_unresolved(*counts(64, 0, 0))
    assert whole.high[1] == min(alone.high[1], whole.high[0])
    assert (whole.high[1:] <= whole.high[0]).all()
    assert (bound.high <= whole.high).all()
    rare = judged([1e-3, 0.0], [0, 0], 0.1, 0.2)
    tight = replace(
        rare,
        sums=replace(
            rare.sums,
            total=rare.sums.total * 1e-3,
            largest=rare.sums.largest * 1e-3,
            batch_squares=rare.sums.batch_squares * 1e-6,
        ),
    )
    assert estimate(tight, [0, 0]).high[1] == estimate(tight, [0, 0]).high[0] < 2e-6


def test_finer_is_lower_in_every_setting():
    grid = Lattice(CIRCUIT, None, (0.2, 0.1), (0.5, 0.4), (0.0, 0.1))
    high = np.arange(8.0)[::-1]
    found = least_of_finer(high, [grid, lattice(0.3)][:1]).reshape(2, 2, 2)
    table = high.reshape(2, 2, 2)
    assert found[0, 0, 1] == table.min()  # coarsest: phase 0.2, earth 0.5, 0.1 s
    assert found[1, 1, 0] == table[1, 1, 0]  # finest
    assert found[0, 1, 0] == min(table[0, 1, 0], table[1, 1, 0])
