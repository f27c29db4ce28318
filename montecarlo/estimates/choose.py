"""Judging candidates by the study's policy: who may be chosen, in which order, and why not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from montecarlo.estimates.assemble import Gathered, weighted
from montecarlo.estimates.totals import Total
from montecarlo.quantities import Array
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import LOAD, OVERLOAD, Side, Stratum
from montecarlo.study.budget import limit_of_p_false
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, leg_ohm, scheme_of
from montecarlo.study.description import Study
from montecarlo.study.strata import OPEN_PILOT, OPEN_PILOTS, internal_shares, open_pilots

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Weights:
    """What each type counts for: shares of the reachable internal faults, yearly rates of external
    events."""

    internal: tuple[Stratum, ...]
    shares: tuple[float, ...]  # sum to 1 over `internal`
    reachable: float  # share of internal faults that the scheme can reach
    unreachable: float
    internal_per_year: float
    external: tuple[Stratum, ...]
    rates: tuple[float, ...]  # events a year
    rate_keys: tuple[str, ...]  # the input that each rate is

    @property
    def events_per_year(self) -> float:
        return sum(self.rates)

    @property
    def event_shares(self) -> tuple[float, ...]:
        total = self.events_per_year
        return tuple(rate / total if total > 0 else 1 / len(self.rates) for rate in self.rates)


def weights_of(study: Study) -> Weights:
    """Fixed weights are assumptions of the study; a rate given as a distribution enters by its
    mean."""
    shares = internal_shares(study)
    reachable = sum(shares.values())
    events = [
        (
            Stratum.of(Side.EXTERNAL, event.name),
            event.per_year,
            f"external_events.{event.name}.per_year",
        )
        for event in study.external_events
    ]
    if study.states.open_pilot_counts and study.states.open_pilot_per_year is not None:
        events.append((OPEN_PILOT, study.states.open_pilot_per_year, "states.open_pilot_per_year"))
    return Weights(
        tuple(shares),
        tuple(share / reachable for share in shares.values()),
        reachable,
        study.internal_faults.shares.inter_turn,
        study.internal_faults.per_year.mean(),
        tuple(name for name, _, _ in events),
        tuple(rate.mean() for _, rate, _ in events),
        tuple(key for _, _, key in events),
    )


@dataclass(frozen=True, eq=False)
class Judgement:
    """Every candidate of a batch under the policy, (C,) each. `bound`: one-sided upper limit of
    p_false."""

    missed: Total
    false: Total
    bound: Array
    load_share: Array  # of sampled loads, or overloads, in which it operates
    open_pilot_share: Array  # with one core open, whichever; NaN if not asked
    unresolved: Array
    knee_rule: Flags  # V_k >= 2·I_set·R in every element's own leg
    allowed: Flags  # its bounds are within the policy's limits
    usable: Flags  # quiet on load, and on the right side of the knee rule
    limit_used: Array  # bound over limit, the most of any; above 1: not allowed
    cost: Total | None = None  # a year, where the policy weighs costs
    # Bound of every kind of event; {} without such a limit
    each: Mapping[Stratum, Array] = field(default_factory=dict)

    @property
    def aim(self) -> Array:
        """What the policy wants small: the expected cost a year, else p_missed."""
        return self.missed.total if self.cost is None else self.cost.total

    def order(self) -> tuple[int, ...]:
        """Eligible candidates, best first: smallest aim, then smallest p_missed, then smallest
        p_false."""
        eligible = np.flatnonzero(self.usable & self.allowed)
        keys = np.lexsort(
            (self.false.total[eligible], self.missed.total[eligible], self.aim[eligible])
        )
        return tuple(int(i) for i in eligible[keys])

    def next_better(self, chosen: int) -> int | None:
        """The candidate that is better than `chosen` by the least, and so was refused; None if none
        is better. Of equal ones that with the fewest false trips."""
        better = np.flatnonzero(self.aim < self.aim[chosen])
        return (
            int(better[np.lexsort((self.false.total[better], -self.aim[better]))[0]])
            if better.size
            else None
        )


def judge(
    study: Study, lattices: Sequence[Lattice], strata: Mapping[Stratum, Gathered]
) -> Judgement:
    """p_missed, p_false and what the policy says of them, for every candidate of a batch."""
    weight, policy = weights_of(study), study.policy
    internal = [strata[name] for name in weight.internal]
    external = [strata[name] for name in weight.external]
    false = weighted(external, weight.event_shares)
    bound = weighted(external, weight.event_shares, policy.level, "high").high
    on_load = [_share(strata[name]) for name in (LOAD, OVERLOAD) if name in strata]
    load_share = np.max(on_load, axis=0)
    knee = meet_knee_rule(study, lattices)
    each = (
        {}
        if policy.p_false_max_each is None
        else {stratum.name: stratum.estimate(policy.level, "high").high for stratum in external}
    )
    used = limits_used(study, bound, each)
    return Judgement(
        weighted(internal, weight.shares),
        false,
        bound,
        load_share,
        _share(strata[OPEN_PILOT]) if OPEN_PILOT in strata else np.full(load_share.shape, np.nan),
        np.asarray(
            sum(
                stratum.unresolved.sum(axis=1)
                for name, stratum in strata.items()
                if name != OPEN_PILOT
            )
        ),
        knee,
        used <= 1,
        (load_share == 0) & (knee | policy.ignore_knee_rule),
        used,
        annual_cost(study, strata),
        each,
    )


def limits_used(study: Study, bound: Array, each: Mapping[Stratum, Array]) -> Array:
    """What bounds of p_false (C,), of all events and of each kind, take of the policy's limits: the
    most of any."""
    used = bound / limit_of_p_false(study)
    limit = study.policy.p_false_max_each
    return (
        used if limit is None else np.max([used, *(part / limit for part in each.values())], axis=0)
    )


def with_one_from(judged: Judgement, at: int, other: Judgement, there: int) -> Judgement:
    """The judgement with candidate `at` as another batch judges it, which has it at `there`."""

    def put(own: Any, new: Any) -> Any:
        if isinstance(own, Total):
            return Total(*(put(*parts) for parts in zip(own, new, strict=True)))
        if isinstance(own, Mapping):
            return {key: put(part, new[key]) for key, part in own.items()}
        if own is None:
            return None
        out = own.copy()
        out[at] = new[there]
        return out

    return Judgement(
        **{
            part.name: put(getattr(judged, part.name), getattr(other, part.name))
            for part in fields(Judgement)
        }
    )


def cost_weights(study: Study) -> dict[Stratum, float]:
    """What p = 1 of each type would cost a year, by type; {} unless the policy weighs costs."""
    cost, weight = study.policy.least_annual_cost, weights_of(study)
    if cost is None:
        return {}
    faults = weight.internal_per_year * weight.reachable * cost.missed_fault
    return {
        name: faults * share for name, share in zip(weight.internal, weight.shares, strict=True)
    } | {
        name: rate * cost.false_trip
        for name, rate in zip(weight.external, weight.rates, strict=True)
    }


def annual_cost(study: Study, strata: Mapping[Stratum, Gathered]) -> Total | None:
    """Expected cost a year of missed faults and false trips with limits (MOVER), (C,); None without
    such a policy."""
    weights = cost_weights(study)
    return weighted([strata[name] for name in weights], [*weights.values()]) if weights else None


def _share(stratum: Gathered) -> Array:
    """Share of a state's resolved samples in which each candidate operates, (C,); NaN where none
    is, so that nobody takes it for quiet."""
    resolved = (stratum.trials - stratum.unresolved).sum(axis=1)
    return np.asarray(
        np.divide(
            stratum.total.sum(axis=1),
            resolved,
            out=np.full(resolved.shape, np.nan),
            where=resolved > 0,
        )
    )


def open_pilot(
    study: Study, lattices: Sequence[Lattice], strata: Mapping[Stratum, Gathered]
) -> dict[Stratum, Gathered]:
    """One pilot core open, each of a candidate's own scheme as likely as the others: the mean of
    their strata, so that a scheme's figure does not depend on those it is compared with. Empty
    where no frequency is given."""
    if not (names := open_pilots(study)):
        return {}
    places = {kind: scheme_of(study, kind).places for kind in study.scheme.kinds}
    own = np.array(
        [
            [OPEN_PILOTS.index(name) in places[lattice.scheme] for name in names]
            for lattice in lattices
            for _ in lattice.settings()
        ],
        float,
    )
    cores = own.sum(axis=1)[:, None]  # whole counts are added first, and so exactly
    total, unresolved = (
        np.einsum("ck,kcm->cm", own, np.stack([getattr(strata[name], part) for name in names]))
        / cores
        for part in ("total", "unresolved")
    )
    return {
        OPEN_PILOT: Gathered(
            OPEN_PILOT, total, strata[names[0]].trials, unresolved, None, None, None, None
        )
    }


def element_ohms(
    study: Study, circuit: Circuit, centre: Mapping[str, Array] | None = None
) -> dict[Axis, float]:
    """Resistance of the leg of the phase elements and of the earth element, the largest of each,
    every input at its centre. [ohm]"""
    scheme = scheme_of(study, circuit.scheme)
    ohm = leg_ohm(study, circuit, centre or centres(study))[0]
    return {
        axis: max(ohm[scheme.elements[k].leg] for k in scheme.of(axis))
        for axis in AXES
        if scheme.of(axis)
    }


def centres(study: Study) -> dict[str, Array]:
    """One sample of every input, at its centre: (1,), or (1, 6) a CT and (1, 4) an element."""
    return {
        item.key: np.full((1,) if item.width == 1 else (1, item.width), item.distribution.centre())
        for item in list_inputs(study)
    }


def meet_knee_rule(study: Study, lattices: Sequence[Lattice]) -> Flags:
    """V_k >= 2·V_s for every element (common practice), at the smallest nominal knee voltage of the
    scheme's CTs: (C,).

    V_s: what the setting drives through its own leg."""
    centre = centres(study)
    flags = []
    for lattice in lattices:
        ohms = element_ohms(study, lattice.circuit, centre)
        knee = study.ct.weakest(scheme_of(study, lattice.scheme).groups).knee_voltage_v.centre()
        for s in lattice.settings():
            pickups = zip(AXES, (s.phase_pickup_a, s.earth_pickup_a), strict=True)
            flags.append(
                knee
                >= 2 * max(pickup * ohms[axis] for axis, pickup in pickups if pickup is not None)
            )
    return np.array(flags)
