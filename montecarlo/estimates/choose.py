"""Judging candidates by the study's policy: who may be chosen, in which order, and why not."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from montecarlo.estimates.assemble import LEVEL, Gathered, gather, weighted, weighted_at
from montecarlo.estimates.intervals import one_sided
from montecarlo.estimates.knee_rule import meet_knee_rule
from montecarlo.estimates.tally import Tally
from montecarlo.estimates.totals import Total
from montecarlo.quantities import Array, Distribution, Flags, Index
from montecarlo.quantities.digits import alike
from montecarlo.sampling.stratum import INTER_TURN, LOAD, OVERLOAD, Side, Stratum
from montecarlo.study.budget import limit_of_p_false
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.strata import (
    OPEN_CT_CIRCUIT,
    OPEN_CT_CIRCUITS,
    internal_shares,
    open_ct_circuits,
)


@dataclass(frozen=True, eq=False)
class Weights:
    """What each type counts for: shares of the internal faults, yearly rates of external
    events."""

    internal: tuple[Stratum, ...]
    shares: tuple[float, ...]  # sum to 1 over `internal`; 0 for what p_missed does not count
    in_scope: float  # share of internal faults that p_missed counts
    outside_scope: float
    internal_per_year: float
    external: tuple[Stratum, ...]
    rates: tuple[float, ...]  # events a year
    rate_keys: tuple[str, ...]  # the input that each rate is

    @property
    def events_per_year(self) -> float:
        """External events a year. [1/year]"""
        return sum(self.rates)

    @property
    def event_shares(self) -> tuple[float, ...]:
        """What each event makes of them; alike where there are none. [-]"""
        total = self.events_per_year
        if not total > 0:
            return (1 / len(self.rates),) * len(self.rates)
        return tuple(rate / total for rate in self.rates)


def weights_of(study: Study) -> Weights:
    """Fixed weights, which are assumptions of the study.

    Parameters
    ----------
    study : Study
        A rate given as a distribution enters by its mean.

    Returns
    -------
    Weights
    """
    shares = internal_shares(study)
    turns = study.internal_faults.turns
    if INTER_TURN in shares and not (turns and turns.count_in_p_missed):
        shares |= {INTER_TURN: 0.0}
    in_scope = sum(shares.values())
    rates: dict[Stratum, tuple[str, Distribution]] = {}
    for event in study.external_events:
        key = f"external_events.{event.name}.per_year"
        rates[Stratum.of(Side.EXTERNAL, event.name)] = (key, event.per_year)
    open_ct_circuits_a_year = study.states.open_ct_circuit_per_year
    if study.states.open_ct_circuit_counts and open_ct_circuits_a_year is not None:
        rates[OPEN_CT_CIRCUIT] = ("states.open_ct_circuit_per_year", open_ct_circuits_a_year)
    return Weights(
        tuple(shares),
        tuple(share / in_scope for share in shares.values()),
        in_scope,
        study.internal_faults.shares.inter_turn - shares.get(INTER_TURN, 0.0),
        study.internal_faults.per_year.mean(),
        tuple(rates),
        tuple(rate.mean() for _, rate in rates.values()),
        tuple(key for key, _ in rates.values()),
    )


@dataclass(frozen=True, eq=False)
class Judgement:
    """Every candidate of a batch under the policy, (C,) each."""

    missed: Total
    false: Total
    bound: Array  # one-sided upper limit of p_false
    load_share: Array  # of sampled loads, or overloads, in which it operates
    open_ct_circuit_share: Array  # with one core open, whichever; NaN if not asked
    unresolved: Array
    knee_rule: Flags  # V_k >= 2·I_set·R in every element's own leg
    allowed: Flags  # its bounds are within the policy's limits
    usable: Flags  # quiet on load, and on the right side of the knee rule
    limit_used: Array  # bound over limit, the most of any; above 1: not allowed
    cost: Total | None = None  # a year, where the policy weighs costs
    # Bound of every kind of event; {} without such a limit
    each: Mapping[Stratum, Array] = field(default_factory=dict)
    # Bound over limit at the radius that the policy demands; NaN: not asked
    demand: Array | None = None

    @property
    def aim(self) -> Array:
        """What the policy wants small: the expected cost a year, else p_missed."""
        return self.missed.total if self.cost is None else self.cost.total

    def order(self) -> tuple[int, ...]:
        """Eligible candidates, best first: smallest aim, then smallest p_missed, then smallest
        p_false, then in their own order. Last bits do not count.

        Returns
        -------
        tuple of int
        """
        eligible = np.flatnonzero(self.usable & self.allowed)
        keys = (self.false.total, self.missed.total, self.aim)
        order = np.lexsort([alike(key[eligible]) for key in keys])
        return tuple(int(i) for i in eligible[order])

    def next_better(self, chosen: int) -> int | None:
        """The candidate that is better by the least, and so was refused.

        Parameters
        ----------
        chosen : int

        Returns
        -------
        int or None
            Of equal ones that with the fewest false trips; None if none is better.
        """
        aim, false = alike(self.aim), alike(self.false.total)
        better = np.flatnonzero(aim < aim[chosen])
        if not better.size:
            return None
        return int(better[np.lexsort((false[better], -aim[better]))[0]])


def judge(
    study: Study, lattices: Sequence[Lattice], strata: Mapping[Stratum, Gathered]
) -> Judgement:
    """p_missed, p_false and what the policy says of them, for every candidate of a batch.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
        Of the candidates.
    strata : mapping of Stratum to Gathered

    Returns
    -------
    Judgement
    """
    weight = weights_of(study)
    policy = study.policy
    internal = [strata[name] for name in weight.internal]
    external = [strata[name] for name in weight.external]
    level = one_sided(policy.level)
    false, (_, _, bound) = weighted_at(external, weight.event_shares, (LEVEL, level))
    each: dict[Stratum, Array] = {}
    if policy.p_false_max_each is not None:
        each = {event.name: event.estimate(level).high for event in external}
    used = limits_used(study, bound, each)
    load_share = np.max([strata[name].p for name in (LOAD, OVERLOAD) if name in strata], axis=0)
    open_ct_circuit_share = np.full(load_share.shape, np.nan)
    if OPEN_CT_CIRCUIT in strata:
        open_ct_circuit_share = strata[OPEN_CT_CIRCUIT].p
    unresolved = [
        part.unresolved.sum(axis=1) for part in strata.values() if part.name != OPEN_CT_CIRCUIT
    ]
    knee = meet_knee_rule(study, lattices)
    return Judgement(
        missed=weighted(internal, weight.shares),
        false=false,
        bound=bound,
        load_share=load_share,
        open_ct_circuit_share=open_ct_circuit_share,
        unresolved=sum(unresolved),
        knee_rule=knee,
        allowed=used <= 1,
        usable=(load_share == 0) & (knee | policy.ignore_knee_rule),
        limit_used=used,
        cost=annual_cost(study, strata),
        each=each,
    )


def limits_used(study: Study, bound: Array, each: Mapping[Stratum, Array]) -> Array:
    """What bounds of p_false take of the policy's limits: the most of any. [-]

    Parameters
    ----------
    study : Study
    bound : (C,) array (-)
        Of all events.
    each : mapping of Stratum to (C,) array (-)
        Of each event.

    Returns
    -------
    (C,) array
    """
    used = bound / limit_of_p_false(study)
    limit = study.policy.p_false_max_each
    if limit is None:
        return used
    return np.asarray(np.max([used, *(part / limit for part in each.values())], axis=0))


def with_one_from(judged: Judgement, at: int, other: Judgement, there: int) -> Judgement:
    """The judgement with one candidate as another batch judges it.

    Parameters
    ----------
    judged : Judgement
    at : int
        The candidate's place.
    other : Judgement
    there : int
        Its place in the other.

    Returns
    -------
    Judgement
    """

    def put(own: Array, new: Array | None) -> Array:
        if new is None:
            return own
        out = own.copy()
        out[at] = new[there]
        return out

    return _part_by_part(put, judged, other)


def _part_by_part(made: Callable[..., Array], *judged: Judgement) -> Judgement:
    """A judgement whose every array is made of those of several; what the first has not, it has
    not."""

    def walked(first: Any, *others: Any) -> Any:
        if first is None:
            return None
        if isinstance(first, Total):
            return Total(*map(made, first, *others))
        if isinstance(first, Mapping):
            return {key: made(first[key], *(each[key] for each in others)) for key in first}
        return made(first, *others)

    names = [part.name for part in fields(Judgement)]
    return Judgement(**{name: walked(*(getattr(each, name) for each in judged)) for name in names})


def gather_all(
    study: Study, lattices: Sequence[Lattice], tallies: Mapping[Stratum, Sequence[Tally]]
) -> dict[Stratum, Gathered]:
    """Every stratum from the tallies of its blocks, and one CT circuit open as their mean.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
        Of the candidates.
    tallies : mapping of Stratum to sequence of Tally
        In the order of the blocks.

    Returns
    -------
    dict of Stratum to Gathered
    """
    gathered = {name: gather(name, blocks) for name, blocks in tallies.items()}
    return gathered | open_ct_circuit(study, lattices, gathered)


def side_by_side(judged: Sequence[Judgement]) -> Judgement:
    """One judgement of the candidates of several, in their order.

    Parameters
    ----------
    judged : sequence of Judgement
        Of one study.

    Returns
    -------
    Judgement
    """
    return _part_by_part(lambda *parts: np.concatenate(parts), *judged)


def in_order(judged: Judgement, order: Index) -> Judgement:
    """The same candidates in another order.

    Parameters
    ----------
    judged : Judgement
    order : (C,) array of int
        Places in it.

    Returns
    -------
    Judgement
    """
    return _part_by_part(lambda part: part[order], judged)


def cost_weights(study: Study) -> dict[Stratum, float]:
    """What p = 1 of each type would cost a year.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict of Stratum to float (cost/year)
        Empty unless the policy weighs costs.
    """
    cost = study.policy.least_annual_cost
    if cost is None:
        return {}
    weight = weights_of(study)
    faults = weight.internal_per_year * weight.in_scope * cost.missed_fault
    costs = {}
    for name, share in zip(weight.internal, weight.shares, strict=True):
        costs[name] = faults * share
    for name, rate in zip(weight.external, weight.rates, strict=True):
        costs[name] = rate * cost.false_trip
    return costs


def annual_cost(study: Study, strata: Mapping[Stratum, Gathered]) -> Total | None:
    """Expected cost a year of missed faults and false trips with limits (MOVER).

    Parameters
    ----------
    study : Study
    strata : mapping of Stratum to Gathered

    Returns
    -------
    Total (cost/year) or None
        (C,); None without such a policy.
    """
    weights = cost_weights(study)
    return weighted([strata[name] for name in weights], [*weights.values()]) if weights else None


def open_ct_circuit(
    study: Study, lattices: Sequence[Lattice], strata: Mapping[Stratum, Gathered]
) -> dict[Stratum, Gathered]:
    """One CT circuit open, each of a candidate's own scheme as likely as the others.

    The mean of their strata, so that a scheme's figure does not depend on those it is compared
    with.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
    strata : mapping of Stratum to Gathered

    Returns
    -------
    dict of Stratum to Gathered
        One, or none where no frequency is given.
    """
    names = open_ct_circuits(study)
    if not names:
        return {}
    cores = [OPEN_CT_CIRCUITS.index(name) for name in names]
    rows = []
    for lattice in lattices:
        own = np.isin(cores, scheme_of(study, lattice.scheme).places)
        rows += [own] * len(list(lattice.settings()))
    has = np.array(rows, float)  # (C, cores)

    def mean(parts: Sequence[Array]) -> Array:
        """Whole counts are added first, and so exactly."""
        sums = np.einsum("ck,kcm->cm", has, np.stack(parts))
        return np.asarray(sums / has.sum(axis=1)[:, None])

    total = mean([strata[name].total for name in names])
    unresolved = mean([strata[name].unresolved for name in names])
    trials = strata[names[0]].trials
    return {
        OPEN_CT_CIRCUIT: Gathered(
            OPEN_CT_CIRCUIT, total, trials, unresolved, None, None, None, None
        )
    }
