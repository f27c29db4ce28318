"""Each candidate by its worst assumption set."""

from __future__ import annotations

from typing import Any

import numpy as np

from montecarlo.estimates.choose import Judgement
from montecarlo.estimates.robust import worst_of, worst_places
from montecarlo.estimates.totals import Total


def judged(
    missed: list[float], false: list[float], cost: list[float] | None = None, **other: Any
) -> Judgement:
    """Three candidates; limits a tenth to either side."""
    parts: dict[str, Any] = {
        "load_share": np.zeros(3),
        "knee_rule": np.full(3, True),
        "allowed": np.full(3, True),
        "usable": np.full(3, True),
        "limit_used": np.zeros(3),
        "bound": 1.5 * np.array(false),
    } | other
    return Judgement(
        missed=around(missed),
        false=around(false),
        open_ct_circuit_share=np.zeros(3),
        unresolved=np.zeros(3),
        cost=None if cost is None else around(cost),
        **parts,
    )


def around(values: list[float]) -> Total:
    return Total(np.array(values), 0.9 * np.array(values), 1.1 * np.array(values))


def test_each_candidate_has_the_figures_of_its_own_worst() -> None:
    one = judged([0.1, 0.5, 0.3], [0.2, 0.1, 0.0])
    other = judged([0.2, 0.4, 0.3], [0.1, 0.3, 0.0])
    worst = worst_of([one, other])
    assert worst_places([one, other]).tolist() == [1, 0, 0]
    assert worst.missed.total.tolist() == [0.2, 0.5, 0.3]
    assert worst.missed.high.tolist() == [0.2 * 1.1, 0.5 * 1.1, 0.3 * 1.1]
    assert worst.false.total.tolist() == [0.2, 0.3, 0.0]
    assert worst.bound.tolist() == [1.5 * 0.2, 1.5 * 0.3, 0.0]
    assert worst_of([one]) is one


def test_a_candidate_is_allowed_only_where_every_assumption_set_allows_it() -> None:
    one = judged([0.1, 0.2, 0.3], [0, 0, 0], allowed=np.array([False, True, True]))
    other = judged(
        [0.1, 0.2, 0.3],
        [0, 0, 0],
        usable=np.array([True, False, True]),
        load_share=np.array([0, 0.1, 0]),
    )
    worst = worst_of([one, other])
    assert worst.order() == (2,)
    assert worst.next_better(2) == 1
    assert worst.load_share.tolist() == [0, 0.1, 0]


def test_costs_decide_which_is_the_worst_where_the_policy_weighs_them() -> None:
    one, other = (
        judged([0.1, 0.2, 0.3], [0, 0, 0], [9, 1, 5]),
        judged([0.2, 0.1, 0.3], [0, 0, 0], [3, 2, 5]),
    )
    worst = worst_of([one, other])
    assert worst.aim.tolist() == [9, 2, 5]
    assert worst.missed.total.tolist() == [0.1, 0.1, 0.3]
    assert worst.order() == (1, 2, 0)


def test_no_result_is_the_worst() -> None:
    one, other = judged([0.1, np.nan, 0.3], [0, 0, 0]), judged([0.2, 0.1, 0.3], [0, 0, 0])
    assert worst_places([one, other]).tolist() == [1, 0, 0]
    assert np.isnan(worst_of([other, one]).aim[1])
