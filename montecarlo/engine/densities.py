"""Of each external event a density of samples that make elements operate.

    N(0, I) -> samples -> density beyond the finest settings -> samples -> ... -> density

Stages only look for the density. The estimates come from final batches that nothing was fitted to
(`montecarlo/engine/rare.py`), so that a search that ends early cannot bias them. Only the circuits
of the job have a part in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import chain, islice

import numpy as np

from montecarlo.engine.curves import curves
from montecarlo.engine.draws import Draw, draws_of
from montecarlo.engine.enlarging import MATTERS
from montecarlo.engine.job import Job
from montecarlo.engine.progress import Progress, search_stage
from montecarlo.engine.rare import Densities, final_samples, size_of, solved_on
from montecarlo.engine.space import space_of
from montecarlo.engine.workers import Workers
from montecarlo.estimates.rare import (
    BATCH,
    COMMON,
    Asked,
    Symmetric,
    is_enough,
    plain,
    pooled_log_weight,
    spans,
    tilted,
)
from montecarlo.quantities import Array
from montecarlo.quantities.keepable import keepable
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.sampling.streams import stream
from montecarlo.study.budget import LEAST_WEIGHTED, event_rates, limit_of_p_false
from montecarlo.study.candidates import Lattice
from montecarlo.study.description import Study

LEAST = 1e-7  # probability down to which settings shape the density


@dataclass(frozen=True)
class Way:
    """How a density is sought."""

    stages: tuple[float, ...]  # samples of each, in final batches
    least: int  # samples of a stage
    largest: float  # samples of a stage: a fit takes few of more
    most: float  # probability from which settings do not shape the density
    rows: int  # samples beyond a threshold that have a part in a fit


FIXED = Way((0.25, 0.5, 1.0, 2.0), LEAST_WEIGHTED, math.inf, 0.1, 1500)  # each fit from one stage
# Each fit from all stages so far, an event at a time until it is good enough
RACING = Way((0.25, 0.25, 0.5, 1.0), 2048, 32_768, COMMON, 750)


def way_of(study: Study) -> Way:
    """How a study's densities are sought.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Way
    """
    return RACING if study.study.racing else FIXED


def stage_size(study: Study, part: float) -> int:
    """Samples of each event in a stage.

    Parameters
    ----------
    study : Study
    part : float
        Of a final batch.

    Returns
    -------
    int
    """
    way = way_of(study)
    size = min(round(part * final_samples(study)), way.largest) // BATCH * BATCH
    return max(way.least, int(size))


def search_bytes(study: Study, lattices: Sequence[Lattice]) -> int:
    """Memory of the largest stage: critical pick-ups of all events, and once more joined. [bytes]

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
        The candidates.

    Returns
    -------
    int
        0 where nothing is sought.
    """
    if not final_samples(study):
        return 0
    samples = max(stage_size(study, part) for part in way_of(study).stages)
    return 16 * samples * len(curves(lattices)) * len(study.external_events)


@dataclass(frozen=True, eq=False)
class Stage:
    """Samples of one density, and every curve's critical pick-up in each."""

    draws: list[Draw]
    quantities: Array  # (n, curves)

    @property
    def density(self) -> Symmetric:
        """What they were drawn from."""
        return self.draws[0].density

    def u(self) -> Array:
        """(n, dims): their scores, drawn once more."""
        return np.concatenate([draw.u() for draw in self.draws])


@dataclass(frozen=True, eq=False)
class Fitting:
    """One event's next density, from the stages before it."""

    stages: tuple[Stage, ...]

    @property
    def first(self) -> Draw:
        """Of the newest stage."""
        return self.stages[-1].draws[0]

    @property
    def label(self) -> str:
        return f"{self.first.label}, fit"


@keepable
@dataclass(frozen=True, eq=False)
class Fitted:
    """A density; ended: whether no better one is worth a further stage."""

    density: Symmetric
    ended: bool


@dataclass
class Sought:
    """One event's search so far."""

    density: Symmetric
    stages: tuple[Stage, ...] = field(default=())
    ended: bool = False


def find_densities(job: Job, workers: Workers, progress: Progress) -> Densities:
    """Of every external event, in stages: the nearer the settings, the more samples.

    With `study.racing` a search ends where its density is good enough (`_raced`), else after all
    stages.

    Parameters
    ----------
    job : Job
    workers : Workers
    progress : Progress

    Returns
    -------
    mapping of Symmetric
        By stratum.
    """
    names = [Stratum.of(Side.EXTERNAL, event.name) for event in job.study.external_events]
    found = {name: Sought(_nominal(job.study, name)) for name in names}
    way = way_of(job.study)
    for stage, part in enumerate(way.stages):
        left = {name: sought for name, sought in found.items() if not sought.ended}
        if not left:
            break
        size = stage_size(job.study, part)
        draws = [
            draws_of(job, name, sought.density, size, 0, f"rare.stage_{stage}")
            for name, sought in left.items()
        ]
        solved = iter(_all_quantities([*chain(*draws)], workers, progress, stage + 1))
        for sought, own in zip(left.values(), draws, strict=True):
            new = Stage(own, np.concatenate([*islice(solved, len(own))]))
            sought.stages = (*sought.stages, new) if way is RACING else (new,)
        fits = [Fitting(sought.stages) for sought in left.values()]
        fit = _raced if way is RACING else _fitted
        for sought, fitted in zip(left.values(), workers.mapped(fit, fits), strict=True):
            sought.density, sought.ended = fitted.density, fitted.ended
    return {name: sought.density for name, sought in found.items()}


def _nominal(study: Study, name: Stratum) -> Symmetric:
    space = space_of(study, name)
    return plain(space.dims, space.images)


def _all_quantities(
    draws: Sequence[Draw], workers: Workers, progress: Progress, number: int
) -> list[Array]:
    """The critical pick-ups of every draw of a stage."""
    stages = way_of(draws[0].job.study).stages
    stage, total = search_stage(number, len(stages)), sum(draw.count for draw in draws)
    done, found = 0, list[Array]()
    progress(0, total, stage)
    for draw, quantities in zip(draws, workers.mapped(_quantities, draws), strict=True):
        found.append(quantities)
        done += draw.count
        progress(done, total, stage)
    return found


def _quantities(draw: Draw) -> Array:
    """(n, curves): critical pick-ups in the order of `curves`."""
    solved = solved_on(draw.block(draw.u()))
    columns = [curve.of(pickups) for lattice, pickups in solved for curve in curves([lattice])]
    return np.stack(columns, axis=1)


# --- a fit --------------------------------------------------------------------


def _fitted(fit: Fitting) -> Fitted:
    """From the newest stage."""
    u = fit.stages[-1].u()
    density = _tilted(fit, u, fit.first.density.log_weight(u), fit.stages[-1].quantities)
    return Fitted(density, False)


def _raced(fit: Fitting) -> Fitted:
    """From all stages. Ended: the newest stage's density is good enough, and stays; or no threshold
    is worth a fit."""
    newest = fit.stages[-1]
    u = [stage.u() for stage in fit.stages]
    own = [curve.thresholds for curve in curves(fit.first.job.lattices)]
    weights = newest.density.log_weight(u[-1])
    if is_enough(newest.quantities, weights, own, _asked(fit.first)):
        return Fitted(newest.density, True)
    every = np.concatenate(u)
    densities = [stage.density for stage in fit.stages]
    log_w = pooled_log_weight(densities, [*map(len, u)], every)
    quantities = np.concatenate([stage.quantities for stage in fit.stages])
    # A fit takes the first rows beyond a threshold: they must come from all stages alike
    rows = _stream(fit.first, "order").permutation(len(every))
    density = _tilted(fit, every[rows], log_w[rows], quantities[rows])
    return Fitted(density, density is newest.density)


def _tilted(fit: Fitting, u: Array, log_w: Array, quantities: Array) -> Symmetric:
    way = way_of(fit.first.job.study)
    beyond = [
        flags
        for column, curve in zip(quantities.T, curves(fit.first.job.lattices), strict=True)
        for flags in spans(column, log_w, curve.thresholds, way.most, LEAST)
    ]
    return tilted(u, log_w, beyond, fit.first.density, _stream(fit.first, "fit"), way.rows)


def _stream(first: Draw, purpose: str) -> np.random.Generator:
    seed = first.job.study.study.seed
    return stream(seed, first.chunk.stratum, 0, 0, f"{first.key}.{purpose}")


def _asked(first: Draw) -> Asked:
    """An event decides about a setting from a tenth of the limit on."""
    study, name = first.job.study, first.chunk.stratum
    names = [Stratum.of(Side.EXTERNAL, event.name) for event in study.external_events]
    rates = [rate for rate, _ in event_rates(study)]
    share = rates[names.index(name)] / max(sum(rates), 1e-300)
    limit = limit_of_p_false(study) / max(share, 1e-300)
    each = study.policy.p_false_max_each
    least = min(limit, math.inf if each is None else each)
    return Asked(size_of(first.job, name), MATTERS * least)
