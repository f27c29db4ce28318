"""One batch: plan the chunks, map them, add the tallies in the order of their keys, judge every
candidate."""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from montecarlo.engine.convergence import Point, points, shares_of
from montecarlo.engine.count import run_chunk
from montecarlo.engine.enlarging import deciding, plans
from montecarlo.engine.guard import Unresolved, counted, keep_to_limit, named, weighted
from montecarlo.engine.job import Job
from montecarlo.engine.keep import Rows, run_and_keep
from montecarlo.engine.precision import Sizes, with_sizes
from montecarlo.engine.rare import Known, final_batch, final_samples, find_densities
from montecarlo.engine.sample_files import SampleFiles, counted_name
from montecarlo.engine.tails import wider_sums
from montecarlo.engine.winding import STEADY_INTERVALS
from montecarlo.engine.workers import Workers
from montecarlo.errors import StudyError
from montecarlo.estimates.assemble import Gathered, gather
from montecarlo.estimates.choose import Judgement, judge, open_pilot
from montecarlo.estimates.rare import Sums
from montecarlo.estimates.robust import worst_of
from montecarlo.estimates.tally import Tally
from montecarlo.estimates.weighted import compare
from montecarlo.sampling.design import BLOCKS, Chunk, Design
from montecarlo.sampling.nets import POINTS_MAX
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.budget import earth_fault_samples
from montecarlo.study.candidates import Lattice, Setting, candidate_lattices, settings_of
from montecarlo.study.description import Study
from montecarlo.study.strata import strata

Progress = Callable[[int, int, str], None]

CELLS_MAX = 40_000_000  # plants x candidates that the tables may hold
SAMPLES_MAX = 10**9  # of a type: the list of its chunks takes 75 MB
BYTES_EACH = 30_000  # of a run's memory, measured: a candidate's rows,
BYTES_A_PLANT = 550  # and its tallies on each plant
STATED = ""  # the study itself among its scenarios


@dataclass(frozen=True, eq=False)
class Batch:
    """One set of random numbers on some candidates: the tallies as estimates need them, and the
    judgement."""

    round_: int
    lattices: tuple[Lattice, ...]
    strata: dict[Stratum, Gathered]
    judgement: Judgement
    counts: dict[str, float]
    backup: dict[Stratum, Gathered]  # the back-up itself, one setting; types that it can see
    nobody: dict[Stratum, Gathered]  # what neither it nor a candidate sees; the same, internal
    known: Mapping[str, Known]  # of rare false trips, by scenario; "": as stated
    exceedance: dict[Stratum, Sums]  # of every curve at its grid, by event
    scenarios: dict[str, Judgement] = field(default_factory=dict)  # beside the study as stated
    points: tuple[Point, ...] = ()  # how it settles, of fresh batches: they have few candidates
    wider: Mapping[Stratum, Sums] = field(
        default_factory=dict
    )  # of rare false trips with wider inputs, fresh batches too
    # K settings of which is told what one misses and another not
    paired: tuple[Setting, ...] = ()
    caught: dict[Stratum, Gathered] = field(
        default_factory=dict
    )  # that, K x K rows by type: missed by, caught by
    unresolved: tuple[Unresolved, ...] = ()  # a row a type, of scenarios and wider inputs too
    foremost: tuple[Setting, ...] = ()  # for whose limits its weighted samples were enlarged

    @cached_property
    def verdict(self) -> Judgement:
        """By what the choice is made: the judgement, each candidate's by its worst scenario."""
        return worst_of([self.judgement, *self.scenarios.values()])

    def keeps_to_policy(self, setting: Setting) -> bool:
        """Whether this batch, too, lets the policy allow a candidate."""
        at, verdict = self.settings.index(setting), self.verdict
        return bool(verdict.allowed[at] and verdict.usable[at])

    @cached_property
    def settings(self) -> list[Setting]:
        return settings_of(self.lattices)


def designs(study: Study) -> tuple[Design, Design]:
    """Of the counted types and of earth faults, which are solved along the whole winding."""
    general = study.study
    return Design(general.plants, general.samples), Design(
        general.plants, earth_fault_samples(study), net=True
    )


def in_all_scenarios(
    study: Study,
    lattices: Sequence[Lattice],
    round_: int,
    workers: Workers,
    tell: Progress,
    known: Mapping[str, Known] | None = None,
    sizes: Sizes | None = None,
    paired: Sequence[Setting] = (),
    foremost: Sequence[Setting] = (),
    files: SampleFiles | None = None,
) -> Batch:
    """The batch of the study as stated, and how each scenario judges the same candidates on the
    same random numbers; `known` as an earlier batch has it, `sizes` where they are not the study's
    own, `paired` and `files` (of the study as stated) and `foremost` as for `run_batch`."""
    earlier, other_sizes = known or {}, sizes or {}
    stated = with_sizes(study.alone, other_sizes)
    batch = run_batch(
        stated, lattices, round_, workers, tell, earlier.get(STATED), paired, foremost, files
    )
    if round_:
        job = Job(stated, tuple(lattices), *designs(stated))
        wider, unresolved = wider_sums(
            job, batch.strata, batch.known[STATED].densities, round_, workers, tell
        )
        batch = replace(batch, wider=wider, unresolved=(*batch.unresolved, *unresolved))

    def told_of(name: str) -> Progress:
        return lambda done, total, what: tell(done, total, f"{what}, {name}")

    others = {
        name: run_batch(
            with_sizes(other, other_sizes),
            lattices,
            round_,
            workers,
            told_of(name),
            earlier.get(name),
            foremost=foremost,
        )
        for name, other in study.scenarios
    }
    return replace(
        batch,
        scenarios={name: other.judgement for name, other in others.items()},
        unresolved=(
            *batch.unresolved,
            *(row for name, other in others.items() for row in named(other.unresolved, name)),
        ),
        known={**batch.known, **{name: other.known[STATED] for name, other in others.items()}},
    )


def run_batch(
    study: Study,
    lattices: Sequence[Lattice],
    round_: int,
    workers: Workers,
    progress: Progress,
    known: Known | None = None,
    paired: Sequence[Setting] = (),
    foremost: Sequence[Setting] = (),
    files: SampleFiles | None = None,
) -> Batch:
    """All strata on one set of random numbers. Tallies are added in the order of the chunks' keys.

    known: of rare false trips, from an earlier batch of the study; sought if not given and the
    study wants them. paired: candidates of which is told what each misses and another catches;
    foremost: those for whose limits there are more weighted samples, by what is known of them;
    files: where samples are kept, if at all."""
    settings = settings_of(lattices)
    job = Job(study, tuple(lattices), *designs(study), paired=tuple(map(settings.index, paired)))
    names = strata(study)
    if round_:
        job = replace(
            job, shares=shares_of([job.design_of(name) for name in names], final_samples(study))
        )
    if known is not None:
        wanted = plans(known, foremost, final_samples(study))
        job = replace(job, weighted=tuple((name, plan.samples) for name, plan in wanted.items()))
    tasks = [
        Counted(job, chunks, files is not None)
        for name in names
        for chunks in job.design_of(name).tasks(name, round_)
    ]
    total, done = sum(task.solutions for task in tasks), 0
    sums: dict[tuple[Stratum, int], Tally] = {}
    waiting, unresolved = Counter(task.chunks[0].stratum for task in tasks), list[Unresolved]()
    for task, (tally, kept) in zip(tasks, workers.mapped(_counted, tasks), strict=True):
        first = task.chunks[0]
        if files is not None:
            for rows in kept:
                files.append(counted_name(first.stratum), rows)
        key = first.stratum, first.plant_block
        sums[key] = sums[key] + tally if key in sums else tally
        waiting[first.stratum] -= 1
        if not waiting[first.stratum]:
            every = [sums[first.stratum, block] for block in range(BLOCKS)]
            unresolved += keep_to_limit(study, counted(round_, first.stratum, every, lattices))
        done += task.solutions
        progress(done, total, first.stratum if round_ == 0 else f"{first.stratum}, fresh batch")
    gathered = {
        name: gather(name, [sums[name, block] for block in range(BLOCKS)]) for name in names
    }
    gathered |= open_pilot(study, lattices, gathered)
    if known is None:
        known = Known(find_densities(job, workers, progress) if final_samples(study) else {})
    final, seen = (
        final_batch(job, known.densities, round_, workers, progress, files),
        dict(known.seen),
    )
    unresolved += keep_to_limit(
        study,
        *(
            weighted(round_, name, found.candidates, found.causes, lattices)
            for name, found in final.items()
        ),
    )
    for name, found in final.items():
        part = gathered[name]
        judged = compare(
            found.candidates,
            part.total,
            part.trials,
            part.unresolved,
            lattices,
            known.of(name, settings),
        )
        gathered[name] = replace(part, weighted=judged)
        seen.setdefault(name, dict(zip(settings, judged.diagnostics.seen, strict=True)))
    counts = {}
    if EARTH in names:
        blocks = [sums[EARTH, block].counts for block in range(BLOCKS)]
        counts = {key: float(np.sum([block[key] for block in blocks])) for key in blocks[0]}
    learnt = Known(known.densities, seen, known.deciding or deciding(study, gathered, settings))
    return Batch(
        round_,
        tuple(lattices),
        gathered,
        judge(study, lattices, gathered),
        counts,
        *_backup(sums, names),
        {STATED: learnt},
        {name: found.curves for name, found in final.items()},
        points=points(study, job, sums, gathered, final) if round_ else (),
        paired=tuple(paired),
        caught=_caught(sums, names),
        unresolved=tuple(unresolved),
        foremost=tuple(foremost),
    )


def _caught(
    sums: dict[tuple[Stratum, int], Tally], names: Sequence[Stratum]
) -> dict[Stratum, Gathered]:
    """What one paired candidate misses and another catches, by internal type."""
    found = {}
    for name in names:
        if blocks := [
            part for block in range(BLOCKS) if (part := sums[name, block].caught) is not None
        ]:
            found[name] = gather(name, [Tally((part,)) for part in blocks])
    return found


def _backup(
    sums: dict[tuple[Stratum, int], Tally], names: Sequence[Stratum]
) -> tuple[dict[Stratum, Gathered], dict[Stratum, Gathered]]:
    """The back-up itself, and what neither it nor a candidate sees, by type. Nothing of it enters
    the judgement."""
    operates, nobody = {}, {}
    for name in names:
        blocks = [part for block in range(BLOCKS) if (part := sums[name, block].backup) is not None]
        if blocks:
            operates[name] = gather(name, [Tally((part.operates,)) for part in blocks])
        if blocks and blocks[0].nobody:
            nobody[name] = gather(name, [Tally(part.nobody) for part in blocks])
    return operates, nobody


@dataclass(frozen=True, eq=False)
class Counted:
    """Chunks of one block of plants that are solved and counted together, in this order."""

    job: Job
    chunks: tuple[Chunk, ...]
    keep: bool  # their rows too

    @property
    def label(self) -> str:
        more = f" to {self.chunks[-1].index}" if len(self.chunks) > 1 else ""
        return f"{self.chunks[0].label}{more}"

    @property
    def solutions(self) -> int:
        """What progress counts: samples, and every place on the winding for an earth fault."""
        stratum = self.chunks[0].stratum
        places = STEADY_INTERVALS + 1 if stratum == EARTH else 1
        return places * sum(map(self.job.design_of(stratum).samples_in, self.chunks))


def _counted(task: Counted) -> tuple[Tally, list[Rows]]:
    """The sum of their tallies, and the rows of each where they are kept."""
    total, kept = None, []
    for chunk in task.chunks:
        if task.keep:
            tally, rows = run_and_keep(task.job, chunk)
            kept.append(rows)
        else:
            tally = run_chunk(task.job, chunk)
        total = tally if total is None else total + tally
    assert total is not None
    return total, kept


# --- before the first batch ---------------------------------------------------


def compile_solvers(study: Study, lattices: Sequence[Lattice]) -> None:
    """Run the smallest chunk of every stratum once, so that workers find the compiled solvers in
    the cache."""
    small = Design(BLOCKS, BLOCKS)
    job = Job(study, tuple(lattices[:1]), small, replace(small, net=True))
    for name in strata(study):
        run_chunk(job, small.chunks(name)[0])


def memory_bytes() -> float:
    """Of this machine; infinite where it does not say."""
    try:
        return float(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    except (AttributeError, OSError, ValueError):
        return math.inf


def check_sizes(study: Study) -> None:
    """Of the study, its variants and its options of earthing, as `run` would. Raises StudyError."""
    for one in (study, *(other for _, other in (*study.variant_studies, *study.options))):
        check_size(one, candidate_lattices(one))


def memory_needed(lattices: Sequence[Lattice], earth: Design) -> float:
    """About what a run of these candidates takes beside what every run does [bytes]: tables,
    tallies, and the critical position of each phase and earth setting in each earth fault, in
    single precision."""
    candidates = sum(math.prod(lattice.shape) for lattice in lattices)
    places = sum(
        (phases + earths) * delays for phases, earths, delays in (each.shape for each in lattices)
    )
    return (
        candidates * (BYTES_EACH + BYTES_A_PLANT * earth.plants_rounded)
        + 4 * places * earth.samples_drawn
    )


def check_size(study: Study, lattices: Sequence[Lattice]) -> None:
    """Samples, plants and candidates within what tables and memory hold. Raises StudyError."""
    candidates = sum(int(np.prod(lattice.shape)) for lattice in lattices)
    cells = candidates * Design(study.study.plants, 1).plants_rounded
    if cells > CELLS_MAX:
        raise StudyError(
            f"study.plants: {study.study.plants} plants x {candidates} candidates = {cells} cells,"
            f" at most {CELLS_MAX}; lower study.plants or thin the grids in [candidates]"
        )
    earth = designs(study)[1]
    if earth.samples_drawn > (most := BLOCKS * POINTS_MAX):
        general = study.study
        key = (
            "study.earth_fault_samples"
            if general.earth_fault_samples
            else "study.samples (or --samples)"
        )
        asked = general.earth_fault_samples or general.samples
        raise StudyError(
            f"{key}: {asked} would be {earth.samples_drawn} earth faults"
            " (study.earth_fault_samples, samples/8 unless given, rounded up to a power of two),"
            f" at most {most}; give fewer"
        )
    if study.study.samples > SAMPLES_MAX:
        raise StudyError(
            f"study.samples (or --samples): {study.study.samples}, at most {SAMPLES_MAX}; give"
            " fewer"
        )
    if (need := memory_needed(lattices, earth)) > (here := memory_bytes()):
        raise StudyError(
            f"candidates: {candidates} settings on {earth.plants_rounded} plants and"
            f" {earth.samples_drawn} earth faults need about {need / 1e9:.1f} GB, and this machine"
            f" has {here / 1e9:.1f} GB; thin the grids in [candidates], or lower study.plants or"
            " study.earth_fault_samples"
        )
