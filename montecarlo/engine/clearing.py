"""Who clears each internal fault with one setting in service, by all paths and the failures of
their parts; and the damage of an earth fault until then.

Of an earth fault every path sees all places beyond one of its own. Between two such places nothing
changes, so probabilities are exact along the winding. Its damage goes with the place: there several
places stand for the winding. Failures are averaged exactly (`formulas/clearing.py`)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields

import numpy as np

from montecarlo.engine import backup, primary
from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.course import Course
from montecarlo.engine.guard import CLEARING, Unresolved, looked_at
from montecarlo.engine.job import Job
from montecarlo.engine.path import Measured, solve
from montecarlo.engine.progress import Progress
from montecarlo.engine.sizes import designs
from montecarlo.engine.stages import Stage
from montecarlo.engine.winding import Along, critical_places
from montecarlo.engine.workers import Workers
from montecarlo.estimates.conditional import critical_position, winding_nodes
from montecarlo.estimates.tally import Pickups
from montecarlo.formulas.clearing import first_that_works
from montecarlo.formulas.damage import iron_volume_cm3
from montecarlo.plant.internal import EarthFault
from montecarlo.quantities import Array, Flags
from montecarlo.quantities.keepable import keepable
from montecarlo.sampling.design import BLOCKS, Chunk
from montecarlo.sampling.stratum import EARTH, PHASE_PHASE_EARTH, Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice, lattices_of
from montecarlo.study.clearing_checks import paths_of
from montecarlo.study.dependability import EARTH_ELEMENT, PHASE_ELEMENTS, Dependability
from montecarlo.study.description import Study
from montecarlo.study.strata import internal_shares

CLEARING_STAGE = "who clears faults"
PLACES = 8  # along the winding, of the damage of each earth fault

# Factors of all failure rates, and of all intervals between tests
SOUND = (0.0, 1.0)
STATED = (1.0, 1.0)
RATES = (SOUND, (1 / 3, 1.0), STATED, (3.0, 1.0))
TESTS = tuple((1.0, factor) for factor in (0.25, 0.5, 2.0, 4.0))


def cases_of(study: Study) -> tuple[tuple[float, float], ...]:
    """The factors that a study is followed with: none but 1 where nothing may fail.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of (float, float)
    """
    return (SOUND,) if study.dependability is None else (*RATES, *TESTS)


@keepable
@dataclass(frozen=True, eq=False)
class Cleared:
    """Faults of one type; J paths, then nobody, by how failures were taken."""

    sums: Array  # (cases, J + 1) of probabilities over the faults with a result
    alone: Array  # (3, J) of each path by itself: it sees, it works, both
    faults: Array  # (1,) with a result
    lost: Array  # (1,) without


@keepable
@dataclass(frozen=True, eq=False)
class Burnt:
    """Damage of earth faults at their places (faults x places, J + 1), failures as stated."""

    weight: Array  # probability of the path
    equivalent_s: Array  # seconds of the reference current
    after_share: Array  # part of it after the breaker has opened
    iron_cm3: Array  # at most
    beyond: Array  # number of the zone


@dataclass(frozen=True, eq=False)
class Clearing:
    """What a run of one setting shows."""

    study: Study
    setting: Setting
    paths: tuple[str, ...]
    cleared: dict[Stratum, tuple[Cleared, ...]]  # by block of installations
    burnt: tuple[Burnt, ...] | None  # likewise; None without [damage]

    def unresolved(self) -> tuple[Unresolved, ...]:
        """Faults without a result, of each type that has any; ends the run where there are too
        many.

        Returns
        -------
        tuple of Unresolved
        """
        rows: list[Unresolved] = []
        for stratum, blocks in self.cleared.items():
            lost, all_ = (sum(float(part(one)[0]) for one in blocks) for part in (_lost, _all))
            rows += looked_at(self.study, stratum, CLEARING, int(lost), int(all_), round_=1)
        return tuple(rows)


def _lost(one: Cleared) -> Array:
    return one.lost


def _all(one: Cleared) -> Array:
    return one.lost + one.faults


# --- a run --------------------------------------------------------------------


def wanted(study: Study) -> bool:
    """Whether a study asks who clears faults.

    Parameters
    ----------
    study : Study

    Returns
    -------
    bool
    """
    return study.damage is not None or study.dependability is not None


def clearing_stages(study: Study) -> Iterator[Stage]:
    """What `sample_clearing` is for progress.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Stage
    """
    if wanted(study):
        yield Stage(CLEARING_STAGE, sum(_size(study, name) for name in internal_shares(study)))


def _size(study: Study, stratum: Stratum) -> int:
    counted, earth = designs(study)
    return (earth if stratum == EARTH else counted).samples_drawn


def sample_clearing(
    study: Study, setting: Setting, round_: int, workers: Workers, progress: Progress
) -> Clearing:
    """Every internal fault of the study's design on the random numbers of a round.

    Parameters
    ----------
    study : Study
    setting : Setting
        In service.
    round_ : int
    workers : Workers
    progress : Progress

    Returns
    -------
    Clearing

    Raises
    ------
    RunStopped
        Too many faults without a result.
    """
    job = Job(study.alone, lattices_of(study, setting), *designs(study))
    tasks = [
        Followed(job, chunk)
        for name in internal_shares(study)
        for chunk in job.design_of(name).chunks(name, round_)
    ]
    done, total = 0, sum(_size(study, name) for name in internal_shares(study))
    progress(0, total, CLEARING_STAGE)
    cleared: dict[Stratum, list[list[Cleared]]] = {}
    burnt: list[list[Burnt]] = [[] for _ in range(BLOCKS)]
    for task, (one, harm) in zip(tasks, workers.mapped(_run_task, tasks), strict=True):
        chunk = task.chunk
        blocks = cleared.setdefault(chunk.stratum, [[] for _ in range(BLOCKS)])
        blocks[chunk.installation_block].append(one)
        burnt[chunk.installation_block] += [] if harm is None else [harm]
        done += job.design_of(chunk.stratum).samples_in(chunk)
        progress(done, total, CLEARING_STAGE)
    found = Clearing(
        study,
        setting,
        paths_of(study, setting.scheme),
        {name: tuple(map(_added, blocks)) for name, blocks in cleared.items()},
        tuple(map(_joined, burnt)) if study.damage is not None and any(burnt) else None,
    )
    found.unresolved()
    return found


def _added(parts: Iterable[Cleared]) -> Cleared:
    every = [*parts]
    return Cleared(*(sum(getattr(one, field.name) for one in every) for field in fields(Cleared)))


def _joined(parts: Iterable[Burnt]) -> Burnt:
    every = [*parts]
    return Burnt(
        *(np.concatenate([getattr(one, field.name) for one in every]) for field in fields(Burnt))
    )


@dataclass(frozen=True, eq=False)
class Followed:
    """One chunk of internal faults that are followed to who clears them."""

    job: Job
    chunk: Chunk

    @property
    def label(self) -> str:
        return f"{self.chunk.label}, who clears them"


def _run_task(task: Followed) -> tuple[Cleared, Burnt | None]:
    return follow(Block(task.job, task.chunk))


# --- a chunk ------------------------------------------------------------------


def follow(block: Block) -> tuple[Cleared, Burnt | None]:
    """One block of internal faults with the job's one setting.

    Parameters
    ----------
    block : Block

    Returns
    -------
    Cleared
    Burnt or None
        Of earth faults, where the study has [damage].
    """
    found = solve(block)
    (lattice,) = block.job.lattices
    paths = Paths(block, lattice)
    if isinstance(found, Along):
        places = paths.places(found)
        harm = None if block.study.damage is None else _burnt(paths, places)
        sees = 1 - block.study.internal_faults.position.cdf(places)
        return _cleared(paths.along(places), sees, paths.works), harm
    seen = paths.seen(found)
    never = np.where(np.isnan(seen), np.nan, np.inf)
    times = np.where(seen == 1, paths.times_s, never)
    each = np.stack([paths.first(times, *case) for case in paths.cases])
    return _cleared(each, seen, paths.works), None


def _cleared(each: Array, sees: Array, works: Array) -> Cleared:
    """From probabilities (cases, n, J + 1), and of each path alone (n, J)."""
    known: Flags = np.asarray(np.isfinite(each).all(axis=(0, 2)))
    count, alone = float(known.sum()), np.stack([sees, works, sees * works])
    return Cleared(
        np.where(known[:, None], each, 0.0).sum(axis=1),
        np.where(known[:, None], alone, 0.0).sum(axis=1),
        np.array([count]),
        np.array([known.size - count]),
    )


@dataclass(frozen=True, eq=False)
class Paths:
    """The paths of a setting on a block of samples."""

    block: Block
    lattice: Lattice

    @property
    def names(self) -> tuple[str, ...]:
        return paths_of(self.block.study, self.lattice.circuit.scheme)

    @property
    def cases(self) -> tuple[tuple[float, float], ...]:
        return cases_of(self.block.study)

    @property
    def times_s(self) -> Array:
        """From inception until each operates on what it sees: its delay, and a cycle in which it
        measures. (J,) [s]"""
        study = self.block.study
        own = {
            PHASE_ELEMENTS: lambda: self.lattice.delays_of("phase")[0],
            EARTH_ELEMENT: lambda: self.lattice.delays_of("earth")[0],
        }
        found = []
        for name in self.names:
            if name in own:
                found.append(own[name]())
            else:
                assert study.backup is not None
                found.append(study.backup.elements[name].delay_s)
        return np.array(found) + 1 / study.machine.frequency_hz

    def first(self, times_s: Array, rates: float, tests: float) -> Array:
        """Probability of each path, and of nobody, to clear: (n, J + 1), of times (n, J).

        Parameters
        ----------
        times_s : (n, J) array (s)
            Of as many rows as the block has samples, or a multiple, those of a sample together.
        rates, tests : float
            Factors of rates and of intervals.

        Returns
        -------
        (n, J + 1) array (-)
        """
        found = self.block.study.dependability
        if found is None or rates == 0:
            return first_that_works(times_s, np.zeros(len(self.names)))
        own, common, needs = self._failures(found, rates, tests)
        every = len(times_s) // len(self.block)
        return first_that_works(
            times_s, np.repeat(own, every, axis=0), np.repeat(common, every, axis=0), needs
        )

    def _failures(
        self, found: Dependability, rates: float, tests: float
    ) -> tuple[Array, Array, Array]:
        """Of each path's own parts (n, J), of common ones (n, g), and who needs these (g, J)."""
        works, common, needs = np.ones((len(self.block), len(self.names))), [], []
        for part in found.parts:
            needed = np.array([name in part.paths for name in self.names])
            fails = found.failure(part, self.block.samples, rates, tests)
            if needed.sum() > 1:
                common.append(fails)
                needs.append(needed)
            else:
                works[:, needed] *= 1 - fails[:, None]
        each = np.stack(common, axis=1) if common else np.zeros((len(self.block), 0))
        return 1 - works, each, np.reshape(needs, (len(common), len(self.names)))

    @property
    def works(self) -> Array:
        """Probability that all parts of each path work, failures as stated, (n, J)."""
        found = self.block.study.dependability
        if found is None:
            return np.ones((len(self.block), len(self.names)))
        own, common, needs = self._failures(found, *STATED)
        return np.asarray((1 - own) * np.prod(1 - common[:, :, None] * needs, axis=1))

    # --- what each path sees --------------------------------------------------

    def seen(self, measured: Measured) -> Array:
        """1 where a path sees a fault of a counted type, 0 where not or where an element had
        operated before, NaN where that is not known: (n, J)."""
        event, before = measured.pickups(self.lattice), measured.before(self.lattice)
        quiet = self._quiet(before)
        phase, earth = event.silent(*thresholds(self.lattice), len(self.lattice.delay_s))
        own = {PHASE_ELEMENTS: phase[:, 0, 0], EARTH_ELEMENT: earth[:, 0, 0]}
        resolved = event.resolved & before.resolved
        neutral = self._neutral_a() if self.block.stratum == PHASE_PHASE_EARTH else None
        found = []
        for name in self.names:
            if name in own:
                found.append(np.where(resolved, ~own[name] & quiet, np.nan))
            elif neutral is None:
                found.append(np.zeros(len(self.block)))
            else:
                known = np.isfinite(neutral)
                found.append(np.where(known, neutral > self._needed_a[name], np.nan))
        return np.stack(found, axis=1)

    def places(self, along: Along) -> Array:
        """Up to where along the winding each path sees nothing of an earth fault, (n, J); 1: it
        never does. NaN where that is not known."""
        ((_, phase_x, earth_x),) = critical_places(self.block, along, {})
        load = self.block.load_pickups(self.lattice)
        quiet = self._quiet(load)
        own = {PHASE_ELEMENTS: phase_x[:, 0, 0], EARTH_ELEMENT: earth_x[:, 0, 0]}
        backed = self._backed
        found = [
            np.where(load.resolved, np.where(quiet, own[name], 1.0), np.nan)
            if name in own
            else backed[name]
            for name in self.names
        ]
        return np.stack(found, axis=1)

    def _quiet(self, before: Pickups) -> Flags:
        """Whether no element of the scheme operates before the fault, (n,)."""
        phase, earth = before.silent(*thresholds(self.lattice), len(self.lattice.delay_s))
        return np.asarray(phase[:, 0, 0] & earth[:, 0, 0])

    @property
    def _needed_a(self) -> dict[str, Array]:
        found = self.block.study.backup
        return {} if found is None else backup.operating_currents(self.block, found)

    def _neutral_a(self) -> Array:
        fault = primary.phase_phase_earth(self.block)
        return np.asarray(np.abs(fault.neutral_voltage_v / primary.neutral(self.block)))

    @property
    def _backed(self) -> dict[str, Array]:
        """The place of each back-up element."""
        needed = self._needed_a
        if not needed:
            return {}
        nodes = winding_nodes(backup.INTERVALS)
        fault = primary.earth_fault(self.block, nodes)
        carried = np.abs(fault.neutral_voltage_v / primary.neutral(self.block)[:, None])
        return {
            name: critical_position(nodes, carried / needs[:, None], [1.0])[0][:, 0]
            for name, needs in needed.items()
        }

    # --- along the winding ----------------------------------------------------

    def along(self, places: Array) -> Array:
        """Probabilities (cases, n, J + 1) of earth faults, the mean over the law of the place."""
        cdf, n = self.block.study.internal_faults.position.cdf, len(self.block)
        known = np.where(np.isfinite(places), places, 1.0)
        ends = np.concatenate([np.zeros((n, 1)), np.sort(known, axis=1), np.ones((n, 1))], axis=1)
        up_to = np.asarray(cdf(ends))
        up_to[:, 0] = 0.0  # what the law has at the neutral itself belongs to the first stretch
        share = np.diff(up_to, axis=1)
        sees = known[:, None, :] <= ends[:, :-1, None]
        times = np.where(sees, self.times_s, np.inf).reshape(-1, len(self.names))
        lost = np.isnan(places).any(axis=1)
        found = []
        for case in self.cases:
            each = self.first(times, *case).reshape(n, -1, len(self.names) + 1)
            mean = (share[..., None] * each).sum(axis=1)
            mean[lost] = np.nan
            found.append(mean)
        return np.stack(found)


# --- damage -------------------------------------------------------------------


def _burnt(paths: Paths, x: Array) -> Burnt:
    """Damage of earth faults at places that stand for the winding alike."""
    block, given = paths.block, paths.block.study.damage
    assert given is not None
    s, place = block.samples, primary.stretched_places(block, PLACES)
    n, count = place.shape
    sees = place[:, :, None] > np.where(np.isnan(x), 1.0, x)[:, None]
    times = np.where(sees, paths.times_s, np.inf).reshape(n * count, -1)
    weight = paths.first(times, *paths.cases[_stated(paths)])
    weight[np.repeat(np.isnan(x).any(axis=1), count)] = np.nan
    trip = np.empty((n, count, len(paths.names) + 1))
    trip[..., :-1] = paths.times_s
    trip[..., -1] = s["fault_energy.undetected_time_s"][:, None]
    power = s["damage.exponent"][:, None, None]
    course = Course.of(block, place)
    heat = course.integral(_in_fault, trip, 1.0)[0]
    whole, after = course.integral(_in_fault, trip, power)
    limits = [zone.current_a**power * zone.time_s for zone in given.zones]
    share = np.divide(after, whole, out=np.zeros_like(whole), where=whole > 0)
    iron = iron_volume_cm3(heat, s["damage.arc_voltage_v"][:, None, None], given.core_share)
    beyond = np.sum([whole > limit for limit in limits], axis=0) + np.zeros_like(whole)
    every = (whole / given.reference_a**power, share, iron, beyond)
    return Burnt(weight, *(one.reshape(n * count, -1) for one in every))


def _in_fault(fault: EarthFault) -> Array:
    return np.abs(fault.fault_current_a)


def _stated(paths: Paths) -> int:
    return paths.cases.index(STATED) if STATED in paths.cases else 0
