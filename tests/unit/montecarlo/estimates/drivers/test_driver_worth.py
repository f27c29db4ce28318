"""What knowing an input is worth: against a choice that can be worked out by hand, and the rules
that must hold."""

import numpy as np
import pytest
from scipy.special import ndtri

from montecarlo.estimates.drivers import CELLS, Bound, Rule, Sampled, cells_of, worths
from tests.made.rare_cases import rng

COSTS = {"internal.a": 2.0, "external.b": 1.0}


def rule(candidates, costs=COSTS, limit=np.inf):
    one = np.ones(candidates)
    false = {"external.b": 1.0}
    bounds = (Bound(false, limit, one, 0 * one),)
    return Rule({"internal.a": 1.0}, false, one.astype(bool), bounds, costs)


def samples(n=8192, candidates=3, key=0):
    """Candidate k misses with (k + 1)/10 and trips with q·3^-k, where q is 0.9 in the upper half of
    the known input and 0.1 in the lower."""
    out = []
    for number, name in enumerate(("internal.a", "external.b")):
        u, chance = (
            rng(80, key, number).standard_normal((n, 1)),
            rng(81, key, number).random((n, 1)),
        )
        q = np.where(u > 0, 0.9, 0.1)
        p = (np.arange(candidates) + 1) / 10 if number == 0 else q * 3.0 ** -np.arange(candidates)
        dead = rng(82, key, number).standard_normal((n, 1))
        out.append(
            Sampled(
                name, 1.0, np.ones(n), (chance < p).astype(float), {"known": u, "dead": dead}, {}
            )
        )
    return out


def worth(parts, key, rule_):
    return worths(parts, [key], rule_, rng(84))[key]


def test_against_a_choice_worked_out_by_hand():
    """Costs 2·p_missed + p_false: upper half 0.2 + 0.9, 0.4 + 0.3, 0.6 + 0.1: both later 0.7; lower
    half 0.2 + 0.1 is best. Without knowing 0.7, 0.4 + 1/6 = 0.567, 0.6 + 1/18 = 0.656: the second.
    Known: (0.7 + 0.3)/2 = 0.5; worth -0.0667."""
    found = worth(samples(65_536), "known", rule(3))
    assert found.chosen_today == 1
    assert set(found.chosen[:2]) == {0}
    assert set(found.chosen[2:]) <= {1, 2}
    gap = found.difference["cost_per_year"]
    assert gap.p == pytest.approx(0.5 - (0.4 + 1 / 6), abs=4.5 * (gap.high - gap.low) / 3.92)
    assert gap.high < 0
    assert found.today["cost_per_year"] == pytest.approx(0.4 + 1 / 6, abs=0.02)


def test_a_fixed_setting_makes_measuring_worthless():
    for key in ("known", "dead"):
        found = worth(samples(candidates=1), key, rule(1))
        for gap in found.difference.values():
            assert float(gap.p) == float(gap.low) == float(gap.high) == 0
        assert not any(found.flattering.values())


@pytest.mark.parametrize("key", range(20))
def test_who_weighs_costs_and_knows_more_is_never_worse(key):
    """Exactly, where the samples that choose are those that are looked at; by halves, within the
    interval."""
    for name in ("known", "dead"):
        found = worth(samples(2048, key=key), name, rule(3))
        assert found.flattering["cost_per_year"] <= 1e-12
        assert found.difference["cost_per_year"].low <= 0


def test_halves_do_not_flatter_what_says_nothing():
    """Of an input without influence: on average worth 0 or a little below by halves, above 0
    without."""
    found = [worth(samples(2048, key=key), "dead", rule(3)) for key in range(40)]
    honest = np.array([float(one.found["cost_per_year"].p) for one in found])
    flattering = np.array([one.flattering["cost_per_year"] for one in found])
    assert honest.mean() > -4 * honest.std() / 40**0.5  # another seed fails once in 30,000
    assert flattering.mean() <= min(honest.mean(), 0)


def test_noise_under_a_limit_gains_nothing():
    """A limit just below what the finest candidate has: noise lets it pass in some cells. As found
    an input without influence seems worth something; less what cells by lot gain it does not, in 95
    % of cases."""
    parts = [samples(2048, key=key) for key in range(30)]
    found = [worth(one, "dead", rule(3, None, 0.49)) for one in parts]
    assert np.mean([float(one.found["p_missed"].p) for one in found]) < -0.005
    held = sum(
        bool(one.difference["p_missed"].low <= 0 <= one.difference["p_missed"].high)
        for one in found
    )
    assert held >= 24  # of 28.5 expected; fewer once in 700


def test_a_limit_is_kept_where_it_can_be():
    """Limit 0.35 on p_false: the upper half needs the second candidate (0.3), the lower takes the
    first; without knowing 0.5 is too much and the second (0.167) is chosen: known, half of the
    faults are missed with 0.1, not 0.2."""
    found = worth(samples(65_536), "known", rule(3, None, 0.35))
    assert (found.chosen_today, found.chosen) == (1, (0, 0, 1, 1))
    assert found.difference["p_missed"].p == pytest.approx(-0.05, abs=0.01)
    assert set(found.difference) == {"p_missed", "p_false"}


def test_where_none_keeps_to_the_limit_the_nearest_is_taken():
    found = worth(samples(16_384), "known", rule(3, None, 1e-6))
    assert (found.chosen_today, found.chosen) == (2, (2, 2, 2, 2))


def test_a_type_that_the_input_does_not_enter_shares_its_choice():
    """Missed faults that know nothing of the input are still judged by what is chosen for it."""
    missed, false = samples(16_384)
    blind = Sampled(missed.name, 1.0, missed.w, missed.y, {"dead": missed.scores["dead"]}, {})
    found = worth([blind, false], "known", rule(3, None, 0.35))
    assert found.chosen == (0, 0, 1, 1)
    assert found.today["p_missed"] + found.found["p_missed"].p == pytest.approx(0.15, abs=0.01)


@pytest.mark.parametrize("columns", [1, 4, 6])
def test_cells_are_equally_likely(columns):
    cells = cells_of(rng(83).standard_normal((100_000, columns)))
    share = np.bincount(cells, minlength=CELLS) / 100_000
    assert share == pytest.approx(
        np.full(CELLS, 0.25), abs=5 * (0.1875 / 1e5) ** 0.5
    )  # 12 of them: once in 150,000


def test_cells_of_one_value_are_its_quarters():
    assert list(cells_of(ndtri([[0.1], [0.3], [0.6], [0.9]]))) == [0, 1, 2, 3]
