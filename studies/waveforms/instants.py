"""The critical instants of samples: where each lies in the plane of bias and differential current
when a phase element of one setting is farthest beyond its threshold, or else nearest below it.

Above the threshold the margin counts, the differential current less the threshold; below it the
share of the threshold that lacks, for the margin alone would be largest once all currents are gone.
An element that must hold it for a delay has the least of that time. The largest decides, over time
and phases. So a sample lies above the characteristic if and only if a phase element trips."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine import primary
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.waves import external_event
from montecarlo.quantities import Array, Flags, Index
from montecarlo.quantities.digits import alike
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.stratum import Side
from montecarlo.secondary import transient
from montecarlo.secondary.restraint import NO_BIAS, SUM, Bias, Form, threshold
from studies.waveforms.judging import Judging, cleared_s, pickups_a, traced

if TYPE_CHECKING:
    import pandas as pd

# Forms that give the differential current, and the same less the bias current
BOTH_CURRENTS = NO_BIAS, Bias(1.0).form(SUM)
Found = tuple[Array, Array, Array, Array]  # bias and differential current [A], score, time [s]


def instants(job: Job, chunk: Chunk) -> pd.DataFrame:
    """The critical instants of a chunk's samples, a row each; currents are NaN without a result.

    Parameters
    ----------
    job : Job
        With one setting.
    chunk : Chunk
        Of internal faults or an external event.

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    block = Block(job, chunk)
    external = chunk.stratum.side is Side.EXTERNAL
    parts = list(_passing(block) if external else _lasting(block))
    bias, difference, score, times = (np.concatenate(part) for part in zip(*parts, strict=True))
    design = block.design
    installation, event = np.divmod(np.arange(len(block)), design.events_in(chunk))
    opens = cleared_s(block)
    after: list[Any] = [None] * len(block)
    if external and np.isfinite(opens).all():
        after = (times > opens).tolist()
    return pd.DataFrame(
        {
            "side": chunk.stratum.side.value,
            "type": chunk.stratum.kind,
            "installation": installation + design.installations_in(chunk).start,
            "event": event + design.first_event(chunk),
            "time_s": times,
            "bias_a": alike(bias),
            "difference_a": alike(difference),
            "above": score > 0,
            "after_clearing": pd.Series(after, dtype=object),
        }
    )


def _passing(block: Block) -> Iterator[Found]:
    """An external event in time, few samples after the other."""
    (lattice,) = block.job.lattices
    passing = external_event(block)
    window = passing[0]
    judged = Judging.of(block, lattice, window)
    phases = list(block.scheme(lattice.circuit).of("phase"))
    pickups = pickups_a(block, lattice, judged)
    grid = judged.grid(window)
    phase = np.broadcast_to(judged.phase, len(block))
    for at, response in traced(block, lattice, passing, judged.wanted):
        resolved = _finite(judged.own(response.pickup))
        least = judged.least(response)
        each = [
            _critical(
                response.difference[:, k, grid.lead :],
                response.bias[:, k, grid.lead :],
                pickups[at, k],
                judged.forms[k],
                least[:, k, grid.lead :],
                judged.holds(window)[k],
                judged.wanted.drop_off,
            )
            for k in phases
        ]
        bias, difference, score, step = _of_deciding_phase(each, resolved)
        yield bias, difference, score, (step + 1 - phase[at]) * grid.step_s


def _lasting(block: Block) -> Iterator[Found]:
    """An internal fault at its sampled place, by phasors, as it lasts: no gate is on."""
    (lattice,) = block.job.lattices
    window = transient.Window(block.study.machine.frequency_hz, 0.0)
    judged = Judging.of(block, lattice, window)
    solved = block.solved(lattice.circuit, primary.lasting(block))
    wanted = replace(judged.wanted, forms=BOTH_CURRENTS)
    difference, less_bias = np.moveaxis(solved.quantities(wanted), 2, 0)
    bias, pickups = difference - less_bias, pickups_a(block, lattice, judged)
    each = [
        (
            bias[:, k],
            difference[:, k],
            scores(difference[:, k], bias[:, k], pickups[:, k], judged.forms[k]),
            np.full(len(block), np.nan),
        )
        for k in block.scheme(lattice.circuit).of("phase")
    ]
    yield _of_deciding_phase(each, _finite(difference))


def scores(
    difference: Array,
    bias: Array,
    pickups: Array,
    form: Form,
    least: Array | None = None,
) -> Array:
    """How far beyond the threshold: the margin above it [A], less than 0 below it, the share of the
    threshold that lacks.

    Parameters
    ----------
    difference, bias : ndarray, (n, ...)
        (A).
    pickups : ndarray, (n,)
        (A).
    form : Form
    least : ndarray, (n, ...), optional
        The slope that a gate makes at least.

    Returns
    -------
    ndarray, (n, ...)
    """
    slopes = np.zeros(bias.shape) if least is None else least
    each = zip(pickups.tolist(), bias, slopes, strict=True)
    trips_above = np.stack([threshold(pickup, one, form, slope) for pickup, one, slope in each])
    margin = difference - trips_above
    return np.where(margin > 0, margin, difference / trips_above - 1)


def _finite(values: Array) -> Flags:
    """Samples with a result."""
    return np.asarray(np.isfinite(values).all(axis=1))


def _of_deciding_phase(each: Sequence[Found], resolved: Flags) -> Found:
    """Of the phase with the largest score; NaN where there is no result."""
    parts = [np.stack(part) for part in zip(*each, strict=True)]
    with np.errstate(invalid="ignore"):
        phase = np.argmax(np.where(resolved, parts[2], 0.0), axis=0)
    rows = np.arange(resolved.size)
    bias, difference, score, time = (
        np.where(resolved, part[phase, rows], np.nan) for part in parts
    )
    return bias, difference, score, time


def _critical(
    difference: Array,
    bias: Array,
    pickups: Array,
    form: Form,
    least: Array,
    hold: int,
    drop_off: float,
) -> Found:
    """Of one element, (n, steps): bias and differential current at its critical instant, the score
    that it holds, and the step of the instant."""
    steps, rows = difference.shape[1], np.arange(len(pickups))
    held = min(hold, steps - 1)
    score = scores(difference, bias, pickups, form, least)
    level, kept = score[:, : steps - held], score
    if held:  # it may fall to its drop-off once it has picked up
        kept = scores(difference, bias, drop_off * pickups, form, least)
        level = np.minimum(level, least_of_next(kept, held)[:, 1:])
    start = _largest(level)
    best = level[rows, start]
    at = start + np.array([_deciding(score[r], kept[r], start[r], held) for r in rows])
    if hold > held:  # the window ends first
        best = np.minimum(best, 0.0)
    return bias[rows, at], difference[rows, at], best, at.astype(float)


def _largest(level: Array) -> Index:
    """The first of the largest of each row."""
    return np.asarray(np.argmax(np.where(np.isnan(level), -np.inf, level), axis=1))


def _deciding(score: Array, kept: Array, start: int, held: int) -> int:
    """Which step from the start on has the least score of those that hold it."""
    return int(np.argmin([score[start], *kept[start + 1 : start + held + 1]]))


def least_of_next(values: Array, count: int) -> Array:
    """The least of each value and the next ones, so many together.

    Parameters
    ----------
    values : ndarray, (..., steps)
    count : int
        At least 1.

    Returns
    -------
    ndarray, (..., steps - count + 1)
    """
    least, have = values, 1
    while have < count:
        more = min(have, count - have)
        least = np.minimum(least[..., :-more], least[..., more:])
        have += more
    return least
