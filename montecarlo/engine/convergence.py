"""How the estimates of a batch settle: the same estimators on the first eighth, quarter, half of
its events.

The first events of every installation are a valid batch of fewer events, on nets too (a power of
two of points from the first on is a net by itself), and a longer run begins with a shorter one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from montecarlo.engine.job import Job
from montecarlo.engine.rare import Final
from montecarlo.estimates.assemble import Gathered, weighted
from montecarlo.estimates.choose import gather_all, weights_of
from montecarlo.estimates.rare import BATCH
from montecarlo.estimates.tally import Tally
from montecarlo.estimates.totals import Total
from montecarlo.sampling.design import Design
from montecarlo.sampling.stratum import EARTH, Side, Stratum
from montecarlo.study.description import Study

MOST_POINTS = 12
FEWEST_BATCHES = 4  # of weighted samples, whose scatter gives the limits


@dataclass(frozen=True, eq=False)
class EarlyEstimate:
    """Estimates from the first `share` of a batch, every candidate (C,)."""

    share: float
    samples: int  # of each counted type
    earth_faults: int
    weighted: int  # weighted samples of each external event; 0: none
    missed: Total
    false: Total


def shares_of(designs: Iterable[Design], rare_samples: int) -> tuple[float, ...]:
    """Shares of a batch below 1 at which it is estimated: halves, down to one event per
    installation or to four batches of weighted samples; none where an installation has one event.

    Parameters
    ----------
    designs : iterable of Design
    rare_samples : int
        Weighted samples of each event, or 0.

    Returns
    -------
    tuple of float
    """
    fewest = min(design.events_per_installation for design in designs)
    if rare_samples:
        fewest = min(fewest, max(rare_samples // (FEWEST_BATCHES * BATCH), 1))
    halvings = min(fewest.bit_length(), MOST_POINTS) - 1
    return tuple(0.5**k for k in range(halvings, 0, -1))


def points(
    job: Job,
    tallies: Mapping[Stratum, Sequence[Tally]],
    strata: Mapping[Stratum, Gathered],
    final: Mapping[Stratum, Final],
) -> tuple[EarlyEstimate, ...]:
    """At each of the job's shares, then of the whole batch.

    Whether p of an event comes from weighted samples is taken from the whole batch, so that a step
    is never a change of method.

    Parameters
    ----------
    job : Job
    tallies : mapping of sequence of Tally
        By stratum and block of installations.
    strata : mapping of Gathered
        Of the whole batch.
    final : mapping of Final
        Of the events with weighted samples.

    Returns
    -------
    tuple of EarlyEstimate
    """
    found = []
    for share in job.shares:
        early = {name: [tally.early[share] for tally in blocks] for name, blocks in tallies.items()}
        first = gather_all(job.study, job.lattices, early)
        for name, part in final.items():
            if (whole := strata[name].weighted) is not None:
                first[name] = replace(first[name], weighted=replace(whole, sums=part.early[share]))
        found.append(_point(job.study, share, first))
    return (*found, _point(job.study, 1.0, strata))


def _point(study: Study, share: float, strata: Mapping[Stratum, Gathered]) -> EarlyEstimate:
    weight = weights_of(study)
    counted = [
        int(stratum.trials.sum())
        for name, stratum in strata.items()
        if name != EARTH and name.side is not Side.STATE
    ]
    rare = [
        stratum.weighted.sums.trials for stratum in strata.values() if stratum.weighted is not None
    ]
    return EarlyEstimate(
        share,
        max(counted),
        int(strata[EARTH].trials.sum()) if EARTH in strata else 0,
        max(rare, default=0),
        weighted(_of(strata, weight.internal), weight.shares),
        weighted(_of(strata, weight.external), weight.event_shares),
    )


def _of(strata: Mapping[Stratum, Gathered], names: Sequence[Stratum]) -> list[Gathered]:
    return [strata[name] for name in names]
