"""Sobol' effects on what an element gets: the model at two nets of points and at their mixtures.

The output is the critical pick-up in multiples of the setting, the largest over the elements: above
1 one of them operates. Its logarithm is taken; below a floor it counts as the floor. Of earth
faults also the critical position."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.path import Measured, solve
from montecarlo.engine.winding import Along
from montecarlo.engine.workers import Workers
from montecarlo.estimates.drivers import Effects, sobol_effects
from montecarlo.quantities import Array
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.sampling.design import BLOCKS, Chunk, Design
from montecarlo.sampling.nets import Net, power_of_two
from montecarlo.sampling.stratum import EARTH, Side, Stratum
from montecarlo.sampling.streams import stream
from montecarlo.study.axes import PICKUPS
from montecarlo.study.candidates import Setting, lattices_of
from montecarlo.study.description import Study
from studies.drivers.columns import Columns, Group, columns_of, groups_of
from studies.drivers.earth import at_sampled_place, missed_parts

__all__ = ["PICKUP", "POSITION", "EffectsOf", "effects", "job_of", "nets", "rows_for"]

PICKUP, POSITION = "critical pick-up", "critical position"
AT_ONCE = 128  # rows of a net in a chunk, each solved k + 2 times
FLOOR = 0.1  # of the finest candidate
FEWEST = 256

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, eq=False)
class EffectsOf:
    """Effects of each group on one output of one fault type or event."""

    stratum: Stratum
    output: str
    groups: tuple[Group, ...]
    effects: Effects
    rows: int  # of each net
    floored: float  # share of the outputs that count as the floor
    lost: float  # share without a result, which count as the mean

    @property
    def solved(self) -> int:
        """Rows of both nets and of their mixtures."""
        return self.rows * (len(self.groups) + 2)


def job_of(study: Study, *settings: Setting) -> Job:
    """One-candidate lattices; the designs serve no purpose where points are given."""
    small = Design(BLOCKS, BLOCKS)
    return Job(study.alone, lattices_of(study, *settings), small, replace(small, net=True))


def rows_for(study: Study) -> int:
    """Rows of each net: an eighth of the samples, as a power of two, at least 256."""
    return max(FEWEST, power_of_two(study.study.samples) // 8)


def effects(
    study: Study, setting: Setting, workers: Workers, progress: Progress
) -> list[EffectsOf]:
    """On every external event, and on earth faults if there are any."""
    job, rows = job_of(study, setting), rows_for(study)
    strata = [
        *([EARTH] if study.internal_faults.shares.earth > 0 else []),
        *(Stratum.of(Side.EXTERNAL, event.name) for event in study.external_events),
    ]
    tasks = [
        Mixtures(job, setting, name, index) for name in strata for index in range(rows // AT_ONCE)
    ]
    solved: dict[Stratum, list[Array]] = {name: [] for name in strata}
    for done, (task, found) in enumerate(zip(tasks, workers.mapped(_solved, tasks), strict=True)):
        solved[task.stratum].append(found)
        progress(done + 1, len(tasks), f"{task.stratum}, effects of inputs")
    return [
        each
        for name in strata
        for each in _effects_of(study, setting, name, np.concatenate(solved[name], axis=2))
    ]


def _effects_of(study: Study, setting: Setting, name: Stratum, found: Array) -> list[EffectsOf]:
    """found (outputs, k + 2, rows)."""
    groups = groups_of(columns_of(study, name), study.ties)
    floor, out = _floor(study, setting), []
    for output, values in zip((PICKUP, POSITION), found, strict=False):
        rng = stream(study.study.seed, name, 0, 0, f"drivers.resampled.{output}")
        lost, low = ~np.isfinite(values), np.zeros(values.shape, bool)
        if output == PICKUP:
            low = values < floor
            with np.errstate(invalid="ignore"):
                values = np.log(np.maximum(values, floor))
        values = np.where(lost, np.nanmean(values[:2]), values)
        out.append(
            EffectsOf(
                name,
                output,
                groups,
                sobol_effects(values[0], values[1], values[2:], rng),
                values.shape[1],
                float(low.mean()),
                float(lost.mean()),
            )
        )
    return out


def _floor(study: Study, setting: Setting) -> float:
    """A tenth of the finest candidate, in multiples of the setting."""
    pairs = ((getattr(study.candidates, axis), getattr(setting, axis)) for axis in PICKUPS)
    return FLOOR * float(min(min((*grid, own)) / own for grid, own in pairs if own is not None))


# --- a chunk ------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Mixtures:
    """A run of rows of both nets: which setting is looked at, in which stratum."""

    job: Job
    setting: Setting
    stratum: Stratum
    index: int

    @property
    def label(self) -> str:
        return f"{self.stratum}, no. {self.index} of effects"


def _solved(task: Mixtures) -> Array:
    """(outputs, k + 2, rows): at the first net, at the second, at the first with each group from
    the second."""
    study, name = task.job.study, task.stratum
    columns = columns_of(study, name)
    rows = slice(task.index * AT_ONCE, (task.index + 1) * AT_ONCE)
    one, other = (values[rows] for values in nets(study, name, columns))
    groups = groups_of(columns, study.ties)
    stacked = np.stack([one, other, *(one,) * len(groups)])
    for page, group in zip(stacked[2:], groups, strict=True):
        page[:, columns.of(group.keys)] = other[:, columns.of(group.keys)]
    block = Block(
        task.job, Chunk(name, 0, task.index, 0, 0), columns.at(stacked.reshape(-1, columns.dims))
    )
    found = solve(block)
    if isinstance(found, Along):
        outputs = [
            multiples(at_sampled_place(block, found), task.setting),
            missed_parts(block, found)[:, 0],
        ]
    else:
        outputs = [multiples(_of_event(found), task.setting)]
    return np.stack([values.reshape(len(stacked), -1) for values in outputs])


def nets(study: Study, name: Stratum, columns: Columns) -> tuple[Array, Array]:
    """Two sets of uniforms (rows, dims), each a net of its own; the rows of the second stand in
    random order. As one net of twice the dimensions some pairs of high ones would be correlated
    (measured: 0.1 to 0.19 at 1,024 points, on any of six seeds)."""
    rows, seed, stratum = rows_for(study), study.study.seed, f"drivers.{name}"
    names = tuple(columns.widths.items())
    one, other = (Net(seed, stratum, 0, block, names).points(0, rows).values for block in (0, 1))
    return one, other[stream(seed, stratum, 0, 0, "order").permutation(rows)]


def _of_event(found: Measured) -> dict[Axis, Array]:
    """Critical pick-ups (n,) of the only candidate, by kind of element."""
    (lattice,) = found.block.job.lattices
    pickups = found.pickups(lattice)
    return {axis: part[:, 0] for axis in AXES if (part := getattr(pickups, axis)) is not None}


def multiples(pickups: Mapping[Axis, Array], setting: Setting) -> Array:
    """Largest critical pick-up over its setting among the elements, (n,); NaN where unresolved."""
    return np.asarray(
        np.max(
            [part / getattr(setting, f"{axis}_pickup_a") for axis, part in pickups.items()], axis=0
        )
    )
