"""How many weighted samples of each event an independent sample has: enough for steady limits of
the candidates that matter.

The selection sample decides it, before an independent one is drawn. A batch that grew until its own
hits sufficed would stop at a run of luck, and its probabilities would be too high."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from montecarlo.engine.rare import Known
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.rare import BATCH, HITS, PASSED, Seen, Why
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study

MATTERS = 0.1  # share of a candidate's p_false from which an event decides
MOST_TIMES = 8  # the study's own number: the most that are drawn


class Plan(NamedTuple):
    """An event's weighted samples, the candidate that needs them, and what the selection sample
    saw of it."""

    samples: int
    wanted: int  # more than `samples` where the limit binds
    setting: Setting
    seen: Seen


@dataclass(frozen=True)
class Enlarged:
    """An event's weighted samples in the independent sample; candidate: the number of who needs
    them."""

    stratum: Stratum
    assumption_set: str  # "": the study as stated
    plan: Plan
    own: int
    candidate: int


def deciding(
    study: Study, strata: Mapping[Stratum, Gathered], settings: Sequence[Setting]
) -> dict[Stratum, frozenset[Setting]]:
    """By event with weighted samples, the candidates whose p_false it decides: a tenth or more of
    the sum of its upper limits.

    Parameters
    ----------
    study : Study
    strata : mapping of Gathered
    settings : sequence of Setting
        The candidates.

    Returns
    -------
    dict of frozenset of Setting
    """
    weight = weights_of(study)
    parts = {
        name: share * strata[name].estimate().high
        for name, share in zip(weight.external, weight.event_shares, strict=True)
    }
    whole = np.sum([*parts.values()], axis=0)
    return {
        name: frozenset(settings[int(k)] for k in np.flatnonzero(part >= MATTERS * whole))
        for name, part in parts.items()
        if strata[name].weighted is not None
    }


def plans(known: Known, foremost: Iterable[Setting], own: int) -> dict[Stratum, Plan]:
    """Of the events of which an independent sample shall have more than its own number for one of
    the foremost candidates, or would if the limit allowed as many as help.

    Parameters
    ----------
    known : Known
    foremost : iterable of Setting
    own : int

    Returns
    -------
    dict of Plan
    """
    found = {}
    for name, seen in known.seen.items():
        wanted = [
            plan
            for setting in foremost
            if setting in known.deciding.get(name, ())
            and setting in seen
            and (plan := _plan(setting, seen[setting], own))
        ]
        if wanted:
            found[name] = max(wanted, key=lambda plan: (plan.samples, plan.wanted))
    return found


def _plan(setting: Setting, seen: Seen, own: int) -> Plan | None:
    """None where its own number is enough, and where more of the same would not help."""
    if seen.trust.why in (Why.NOTHING, Why.LOST):
        return None
    times = max(HITS / seen.steady_hits, PASSED / seen.effective)
    wanted = math.ceil(seen.trials * times / BATCH) * BATCH
    if wanted <= own:
        return None
    samples = max(own, min(wanted, MOST_TIMES * seen.trials))
    if wanted > samples and seen.expected(samples).trust.why in (Why.FEW, Why.ONE):
        samples = own  # the counts would still be needed beside them
    return Plan(samples, wanted, setting, seen)


def enlarged(
    found: Mapping[Stratum, Plan], own: int, settings: Sequence[Setting], assumption_set: str
) -> Iterator[Enlarged]:
    """What sizes were taken, and for whom.

    Parameters
    ----------
    found : mapping of Plan
    own : int
        The independent sample's own number.
    settings : sequence of Setting
        Candidates in the order of their numbers.
    assumption_set : str

    Yields
    ------
    Enlarged
    """
    for name, plan in found.items():
        yield Enlarged(name, assumption_set, plan, own, 1 + settings.index(plan.setting))
