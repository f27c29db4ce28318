"""What a number of samples can show of false trips, before a single one is drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass

from montecarlo.sampling.design import Design
from montecarlo.study.description import Study

LEAST_WEIGHTED = 4096  # weighted samples worth drawing: batches carry the variance


def weighted_samples(study: Study) -> int:
    """Weighted samples of each external event that the study asks for; 0 where false trips are
    counted only.

    Parameters
    ----------
    study : Study

    Returns
    -------
    int
    """
    wanted = study.study.rare_samples
    wanted = study.study.samples if wanted is None else wanted
    return wanted if wanted >= LEAST_WEIGHTED else 0


def earth_fault_samples(study: Study) -> int:
    """Earth faults that the study asks for.

    Parameters
    ----------
    study : Study

    Returns
    -------
    int
    """
    general = study.study
    return general.earth_fault_samples or max(general.samples // 8, general.installations)


def event_samples(study: Study) -> dict[str, int]:
    """Number of samples of each kind of external event.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict of str to int
        In the order of `event_rates`.
    """
    names = [event.name for event in study.external_events]
    names += ["open_ct_circuit"] * (len(event_rates(study)) - len(names))
    return dict(zip(names, (samples for _, samples in event_rates(study)), strict=True))


def event_rates(study: Study) -> list[tuple[float, int]]:
    """Everything that counts as an external event.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of (float, int)
        Mean yearly rate (1/year) and number of samples of each.
    """
    general = study.study
    counted = Design(general.installations, general.samples).samples_drawn
    found = [(event.per_year.mean(), counted) for event in study.external_events]
    if study.states.open_ct_circuit_counts and study.states.open_ct_circuit_per_year is not None:
        few = Design(general.installations, earth_fault_samples(study)).samples_drawn
        found.append((study.states.open_ct_circuit_per_year.mean(), few))
    return found


def limit_of_p_false(study: Study) -> float:
    """The policy's limit as a probability of a false trip an event; infinite where it weighs costs
    instead. [-]

    Parameters
    ----------
    study : Study

    Returns
    -------
    float
    """
    policy = study.policy
    if policy.least_annual_cost is not None:
        return math.inf
    if policy.p_false_max is not None:
        return policy.p_false_max
    return (policy.false_per_year_max or 0.0) / _total(event_rates(study))


def shown_at_best(study: Study) -> float:
    """Upper bound of p_false at `policy.level` of a candidate that trips in no sample at all. [-]

    None in n samples of a type: 1 - (1 - level)^(1/n) (Clopper and Pearson, Biometrika 26, 1934,
    404-413); the types combined as independent, in squares, weighted by their rates.

    Parameters
    ----------
    study : Study

    Returns
    -------
    float
    """
    rates = event_rates(study)
    log = math.log1p(-study.policy.level)
    bounds = [rate * -math.expm1(log / samples) for rate, samples in rates]
    return math.hypot(*bounds) / _total(rates)


def samples_that_show(study: Study, limit: float) -> int:
    """Samples of each event, `study.samples`, without a false trip in any, whose bound is at most a
    limit; two digits.

    1 - (1 - level)^(1/n) < -ln(1 - level)/n. Where open CT circuits count, their samples grow
    along.

    Parameters
    ----------
    study : Study
    limit : float
        Of p_false (-).

    Returns
    -------
    int
    """
    rates = event_rates(study)
    needed = [rate * -math.log1p(-study.policy.level) / samples for rate, samples in rates]
    share = math.hypot(*needed) / _total(rates) / limit
    return rounded_up(rates[0][1] * share)


def _total(rates: list[tuple[float, int]]) -> float:
    """Of the rates; never 0. [1/year]"""
    return max(sum(rate for rate, _ in rates), 1e-300)


def rounded_up(count: float) -> int:
    """A whole number of two digits and zeros, at least `count`.

    Parameters
    ----------
    count : float

    Returns
    -------
    int
    """
    unit = int(10 ** max(math.floor(math.log10(max(count, 1.0))) - 1, 0))
    return math.ceil(count / unit) * unit


@dataclass(frozen=True)
class TooFew:
    """What a policy's limit on false trips asks for, and what the samples can show of it.

    Parameters
    ----------
    key : str
        Of the limit.
    samples : int
        Of each event, or of the kind of event with the fewest.
    event : str
        That kind; empty where the limit is on all events together.
    best, limit : float
        The bound without any false trip, and the limit; a probability or, if `yearly`, a year.
    level : float
        Of confidence.
    needed : int
        Samples that the study should have, at least.
    """

    key: str
    samples: int
    event: str
    best: float
    limit: float
    yearly: bool
    level: float
    needed: int


def too_few(study: Study) -> list[TooFew]:
    """The limits of the policy that no candidate can keep to, whatever the samples show; those left
    out of which weighted samples may show what counting cannot.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of TooFew
    """
    found = (_too_few_in_all(study), _too_few_of_one(study))
    return [one for one in found if one is not None]


def _too_few_of_one(study: Study) -> TooFew | None:
    """Of the limit on each kind of event: the kind with the fewest samples decides."""
    limit, level = study.policy.p_false_max_each, study.policy.level
    if limit is None:
        return None
    kinds = event_samples(study)
    if weighted_samples(study):  # which a CT circuit that opens has none of
        kinds = {name: samples for name, samples in kinds.items() if name == "open_ct_circuit"}
    if not kinds:
        return None
    kind, samples = min(kinds.items(), key=lambda item: item[1])
    best = -math.expm1(math.log1p(-level) / samples)
    if best <= limit:
        return None
    needed = rounded_up(study.study.samples * -math.log1p(-level) / limit / samples)
    return TooFew("policy.p_false_max_each", samples, kind, best, limit, False, level, needed)


def _too_few_in_all(study: Study) -> TooFew | None:
    policy, samples = study.policy, study.study.samples
    limit, best = limit_of_p_false(study), shown_at_best(study)
    if best <= limit or weighted_samples(study):
        return None
    needed = samples_that_show(study, limit)
    if policy.p_false_max is not None:
        return TooFew("policy.p_false_max", samples, "", best, limit, False, policy.level, needed)
    a_year = sum(rate for rate, _ in event_rates(study))
    return TooFew(
        "policy.false_per_year_max",
        samples,
        "",
        best * a_year,
        limit * a_year,
        True,
        policy.level,
        needed,
    )
