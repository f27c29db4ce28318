"""Sobol' effects on what an element gets: the model at two nets of points and at their mixtures.

The output is the critical pick-up in multiples of the setting, the largest over the elements: above
1 one of them operates. Its logarithm is taken; below a floor it counts as the floor. Of earth
faults also the critical position and, where the study asks, the logarithm of the damage and how
likely nobody clears the fault, both over its place and the failures of parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.clearing import expected, wanted
from montecarlo.engine.guard import EFFECTS, Unresolved, looked_at
from montecarlo.engine.job import Job
from montecarlo.engine.path import solve
from montecarlo.engine.progress import Progress
from montecarlo.engine.winding import Along, critical_places, pickups_at_place
from montecarlo.engine.workers import Workers
from montecarlo.estimates.caught import missed_stretches
from montecarlo.estimates.drivers import Effects, sobol_effects
from montecarlo.quantities import Array
from montecarlo.relays.schemes import STAGES, Axis
from montecarlo.sampling.design import BLOCKS, Chunk, Design
from montecarlo.sampling.nets import Net, power_of_two
from montecarlo.sampling.stratum import EARTH, Side, Stratum
from montecarlo.sampling.streams import stream
from montecarlo.study.axes import PICKUPS, Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.description import Study
from studies.drivers.columns import Columns, Group, columns_of_effects, groups_of

EFFECTS_STAGE = "effects of inputs"
PICKUP, POSITION = "critical pick-up", "critical position"
DAMAGE, NOBODY = "damage", "nobody clears"
AT_ONCE = 128  # rows of a net in a chunk, each solved k + 2 times
FLOOR = 0.1  # of the finest candidate
FEWEST = 256


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

    def unresolved(self, study: Study) -> tuple[Unresolved, ...]:
        """Among the rows of both nets and of their mixtures. Raises StudyError for too many."""
        solved = self.rows * (len(self.groups) + 2)
        lost = round(self.lost * solved)
        return looked_at(study, self.stratum, EFFECTS, lost, solved, of=self.output)


def job_of(study: Study, *settings: Setting) -> Job:
    """One-candidate lattices; the designs serve no purpose where points are given.

    Parameters
    ----------
    study : Study
    *settings : Setting

    Returns
    -------
    Job
    """
    small = Design(BLOCKS, BLOCKS)
    return Job(study.alone, lattices_of(study, *settings), small, replace(small, net=True))


def rows_for(study: Study) -> int:
    """Rows of each net: an eighth of the samples, as a power of two, at least 256."""
    return max(FEWEST, power_of_two(study.study.samples) // 8)


def effects(
    study: Study, setting: Setting, workers: Workers, progress: Progress
) -> list[EffectsOf]:
    """On every external event, and on earth faults if there are any.

    Parameters
    ----------
    study : Study
    setting : Setting
        Which is looked at.
    workers : Workers
    progress : callable

    Returns
    -------
    list of EffectsOf
    """
    strata = [Stratum.of(Side.EXTERNAL, event.name) for event in study.external_events]
    if study.internal_faults.shares.earth > 0:
        strata.insert(0, EARTH)
    job, runs = job_of(study, setting), range(rows_for(study) // AT_ONCE)
    tasks = [Mixtures(job, setting, name, index) for name in strata for index in runs]
    solved: dict[Stratum, list[Array]] = {name: [] for name in strata}
    progress(0, len(tasks), EFFECTS_STAGE)
    for done, (task, found) in enumerate(
        zip(tasks, workers.mapped(_solved, tasks), strict=True), 1
    ):
        solved[task.stratum].append(found)
        progress(done, len(tasks), EFFECTS_STAGE)
    return [
        _effect_of(study, setting, name, output, values)
        for name, parts in solved.items()
        for output, values in zip(
            outputs_of(study, name), np.concatenate(parts, axis=2), strict=True
        )
    ]


def outputs_of(study: Study, name: Stratum) -> tuple[str, ...]:
    """What is asked of a fault type or event.

    Parameters
    ----------
    study : Study
    name : Stratum

    Returns
    -------
    tuple of str
    """
    if name != EARTH:
        return (PICKUP,)
    beside = () if study.damage is None else (DAMAGE,)
    return (PICKUP, POSITION, *beside, *((NOBODY,) if wanted(study) else ()))


def _effect_of(
    study: Study, setting: Setting, name: Stratum, output: str, values: Array
) -> EffectsOf:
    """values (k + 2, rows)."""
    lost, low = ~np.isfinite(values), np.zeros(values.shape, bool)
    if output in (PICKUP, DAMAGE):
        floor = _floor(study, setting) if output == PICKUP else _least(values)
        low = values < floor
        with np.errstate(invalid="ignore"):
            values = np.log(np.maximum(values, floor))
    one, other, *mixed = np.where(lost, np.nanmean(values[:2]), values)
    rng = stream(study.study.seed, name, 0, 0, f"drivers.resampled.{output}")
    return EffectsOf(
        name,
        output,
        groups_of(columns_of_effects(study, name), study.ties),
        sobol_effects(one, other, np.array(mixed), rng),
        len(one),
        float(low.mean()),
        float(lost.mean()),
    )


def _floor(study: Study, setting: Setting) -> float:
    """A tenth of the finest candidate, in multiples of the setting."""
    pairs = ((getattr(study.candidates, axis), getattr(setting, axis)) for axis in PICKUPS)
    return FLOOR * float(min(min((*grid, own)) / own for grid, own in pairs if own is not None))


def _least(damage_s: Array) -> float:
    """The smallest damage of a fault with a current."""
    some = damage_s[damage_s > 0]
    return float(some.min()) if some.size else 1.0


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
    columns = columns_of_effects(study, name)
    rows = slice(task.index * AT_ONCE, (task.index + 1) * AT_ONCE)
    one, other = (values[rows] for values in nets(study, name, columns))
    groups = groups_of(columns, study.ties)
    stacked = np.stack([one, other, *(one,) * len(groups)])
    for page, group in zip(stacked[2:], groups, strict=True):
        page[:, columns.of(group.keys)] = other[:, columns.of(group.keys)]
    block = Block(
        task.job, Chunk(name, 0, task.index, 0, 0), columns.at(stacked.reshape(-1, columns.dims))
    )
    found, (lattice,) = solve(block), task.job.lattices
    if isinstance(found, Along):
        pickups = {at.axis: part for at, part in pickups_at_place(block, lattice, found)}
        outputs = [multiples(pickups, task.setting), missed_parts(block, found)[:, 0]]
        if wanted(study):
            outputs += [each for each in expected(block, found) if each is not None]
    else:
        event = found.pickups(lattice)
        parts = {stage: getattr(event, stage) for stage in STAGES}
        pickups = {stage: part[:, 0] for stage, part in parts.items() if part is not None}
        outputs = [multiples(pickups, task.setting)]
    return np.stack([values.reshape(len(stacked), -1) for values in outputs])


def missed_parts(block: Block, found: Along) -> Array:
    """Of earth faults, from the neutral up to where each candidate operates.

    Parameters
    ----------
    block : Block
    found : Along

    Returns
    -------
    ndarray, (n, C)
        1 for a candidate that operates on the load, NaN where unresolved. Candidates lattice by
        lattice, as `Lattice.settings`.
    """
    parts = [
        missed_stretches(phase_x, earth_x, block.load_pickups(lattice), *thresholds(lattice))
        for lattice, phase_x, earth_x in critical_places(block, found, {})
    ]
    return np.concatenate(parts, axis=1)


def nets(study: Study, name: Stratum, columns: Columns) -> tuple[Array, Array]:
    """Two sets of uniforms (rows, dims), each a net of its own; the rows of the second stand in
    random order. As one net of twice the dimensions some pairs of high ones would be correlated
    (measured: 0.1 to 0.19 at 1,024 points, on any of six seeds)."""
    rows, seed, stratum = rows_for(study), study.study.seed, f"drivers.{name}"
    names = tuple(columns.widths.items())
    one, other = (Net(seed, stratum, 0, block, names).points(0, rows).values for block in (0, 1))
    return one, other[stream(seed, stratum, 0, 0, "order").permutation(rows)]


def multiples(pickups: Mapping[Axis, Array], setting: Setting) -> Array:
    """Largest critical pick-up over its setting among the elements, (n,); NaN where unresolved."""
    parts = [part / getattr(setting, f"{axis}_pickup_a") for axis, part in pickups.items()]
    return np.asarray(np.max(parts, axis=0))
