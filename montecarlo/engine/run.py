"""A whole run: plan the chunks, map them, add the tallies in the order of their keys, judge, and re-estimate the
chosen few on fresh random numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from montecarlo.engine.block import EARTH, Job
from montecarlo.engine.case import run_chunk, strata
from montecarlo.engine.convergence import Point, points, shares_of
from montecarlo.engine.parallel import mapped, worker_count
from montecarlo.engine.precision import Sizes, falls_short, reached, sizes_for, with_sizes
from montecarlo.engine.precision import told as precision_told
from montecarlo.engine.rare import Densities, final_batch, final_samples, find_densities
from montecarlo.engine.winding import STEADY_INTERVALS, TRANSIENT_INTERVALS, beyond_phasors
from montecarlo.errors import StudyError
from montecarlo.estimates.assemble import Stratum, gather
from montecarlo.estimates.choose import OPEN_PILOT, Judgement, judge, open_pilot
from montecarlo.estimates.rare import Sums
from montecarlo.estimates.robust import worst_of
from montecarlo.estimates.tally import Tally
from montecarlo.estimates.weighted import COUNTED, compare
from montecarlo.sampling.design import BLOCKS, Chunk, Design
from montecarlo.sampling.nets import POINTS_MAX
from montecarlo.secondary.remanence import other_model
from montecarlo.study.budget import earth_fault_samples, too_few
from montecarlo.study.candidates import Lattice, Setting, candidate_lattices, lattices_of, neighbours, present_setting
from montecarlo.study.description import Study

Progress = Callable[[int, int, str], None]
Task = tuple[Job, Chunk]

CELLS_MAX = 40_000_000                                     # plants x candidates that the tables may hold
STATED = ""                                                # the study itself among its scenarios
TRIES_MAX = 10                                             # fresh batches before the run gives up on the policy


@dataclass(frozen=True, eq=False)
class Batch:
    """One set of random numbers on some candidates: the tallies as estimates need them, and the judgement."""

    round_: int
    lattices: tuple[Lattice, ...]
    strata: dict[str, Stratum]
    judgement: Judgement
    notes: dict[str, float]
    backup: dict[str, Stratum]                             # the back-up itself, one setting; types that it can see
    nobody: dict[str, Stratum]                             # what neither it nor a candidate sees; the same, internal
    densities: Mapping[str, Densities]                     # of rare false trips, by scenario and event; "": as stated
    exceedance: dict[str, Sums]                            # of every curve at its grid, by event
    scenarios: dict[str, Judgement] = field(default_factory=dict)  # beside the study as stated
    points: tuple[Point, ...] = ()                         # how it settles, of fresh batches: they have few candidates

    @property
    def verdict(self) -> Judgement:
        """By what the choice is made: the judgement, each candidate's by its worst scenario."""
        return worst_of([self.judgement, *self.scenarios.values()])

    @property
    def keeps_to_policy(self) -> bool:
        """Of the candidate on trial, which comes first."""
        return bool(self.verdict.within_limit[0] and self.verdict.admissible[0])

    @property
    def settings(self) -> list[Setting]:
        return [setting for lattice in self.lattices for setting in lattice.settings()]


@dataclass(frozen=True, eq=False)
class Outcome:
    """The study's batch, the fresh batch of the chosen few, and how the choice came about."""

    study: Study
    first: Batch
    fresh: Batch | None
    chosen: Setting | None
    runner_up: Setting | None
    present: Setting | None
    tries: int
    told: tuple[str, ...]
    other: Outcome | None = None                           # of the same study with the other remanence model


def designs(study: Study) -> tuple[Design, Design]:
    """Of the counted types and of earth faults, which are solved along the whole winding."""
    general = study.study
    return Design(general.plants, general.samples), Design(general.plants, earth_fault_samples(study), net=True)


def run(study: Study, *, workers: int | None = None, progress: Progress | None = None) -> Outcome:
    """The study; if it asks for it, once more with the other remanence model on the same random numbers."""
    lattices = candidate_lattices(study)
    _check_size(study, lattices)
    count = worker_count(workers)
    tell = progress or (lambda done, total, what: None)
    tell(0, 1, "compiling the solvers (first use only)")
    _compile(study, lattices)
    outcome = _run(study, lattices, count, tell)
    if not study.study.compare_remanence_models:
        return outcome
    other = with_other_model(study)
    name = other.ct.remanence_model
    return replace(outcome, other=_run(other, lattices, count, lambda done, total, what: tell(
        done, total, f"{what}, {name}"), outcome.chosen))


def with_other_model(study: Study) -> Study:
    """The same study, the knees of its CTs included, with the other remanence model."""
    model = other_model(study.ct.remanence_model)
    return study.model_copy(update={"ct": study.ct.model_copy(update={"remanence_model": model})})


def _run(study: Study, lattices: Sequence[Lattice], count: int, tell: Progress, also: Setting | None = None) -> Outcome:
    """Sample, solve, count, judge; then the chosen, the runner-up, the present setting, `also` and the neighbours of
    the chosen one again on fresh numbers."""
    first = _in_all_scenarios(study, lattices, 0, count, tell)
    present = present_setting(study)
    order = first.verdict.order()
    settings = first.settings
    told = [*study.told, *(text for design in dict.fromkeys(designs(study)) if (text := design.told()))]
    told += [*_method_notes(study, first), *([too_few(study)] if too_few(study) else [])]
    fresh, chosen, runner_up, tries = None, None, None, 0
    precision, sizes, few = study.study.precision, dict[str, int](), tuple[Setting, ...]()
    for place, candidate in enumerate(order[:TRIES_MAX]):
        chosen, tries = settings[candidate], tries + 1
        runner_up = settings[order[place + 1]] if place + 1 < len(order) else None
        around = neighbours(settings, chosen)
        few = tuple(dict.fromkeys(s for s in (chosen, runner_up, present, also, *around) if s is not None))
        if precision is not None:
            sizes = sizes_for(study, precision, first.strata, first.judgement, candidate)
        fresh = _in_all_scenarios(study, lattices_of(study, *few), tries, count, tell, first.densities, sizes)
        if fresh.keeps_to_policy:
            break
        chosen = None
    if precision is not None and fresh is not None and chosen is not None:
        if falls_short(reached(precision, fresh.judgement, 0)):
            more = sizes_for(with_sizes(study, sizes), precision, fresh.strata, fresh.judgement, 0)
            if more != sizes:                              # one further batch of fixed size, planned from this one
                sizes = more
                fresh = _in_all_scenarios(study, lattices_of(study, *few), TRIES_MAX + 1, count, tell,
                                          first.densities, sizes)
                told.append("The first fresh batch missed the precision; these figures are of a larger one.")
        told.append(precision_told(reached(precision, fresh.judgement, 0), with_sizes(study, sizes)))
        if not fresh.keeps_to_policy:
            chosen = None
    told += _choice_notes(tries, chosen)
    return Outcome(study, first, fresh, chosen, runner_up if chosen else None, present, tries, tuple(told))


def _in_all_scenarios(study: Study, lattices: Sequence[Lattice], round_: int, workers: int, tell: Progress,
                      densities: Mapping[str, Densities] | None = None, sizes: Sizes | None = None) -> Batch:
    """The batch of the study as stated, and how each scenario judges the same candidates on the same random numbers;
    `sizes` where they are not the study's own."""
    known, other_sizes = densities or {}, sizes or {}
    batch = run_batch(with_sizes(study.alone, other_sizes), lattices, round_, workers, tell, known.get(STATED))

    def told_of(name: str) -> Progress:
        return lambda done, total, what: tell(done, total, f"{what}, {name}")

    others = {name: run_batch(with_sizes(other, other_sizes), lattices, round_, workers, told_of(name), known.get(name))
              for name, other in study.scenarios}
    return replace(batch, scenarios={name: other.judgement for name, other in others.items()},
                   densities={**batch.densities, **{name: other.densities[STATED] for name, other in others.items()}})


def run_batch(study: Study, lattices: Sequence[Lattice], round_: int, workers: int, progress: Progress,
              densities: Densities | None = None) -> Batch:
    """All strata on one set of random numbers. Tallies are added in the order of the chunks' keys.

    densities: of rare false trips, from an earlier batch of the study; sought if not given and the study wants them."""
    job = Job(study, tuple(lattices), *designs(study))
    names = strata(study)
    if round_:
        job = replace(job, shares=shares_of([job.design_of(name) for name in names], final_samples(study)))
    tasks: list[Task] = [(job, chunk) for name in names for chunk in job.design_of(name).chunks(name, round_)]
    total, done = sum(_solutions(job, chunk) for _, chunk in tasks), 0
    sums: dict[tuple[str, int], Tally] = {}
    for (_, chunk), tally in zip(tasks, mapped(_run_task, tasks, workers), strict=True):
        key = chunk.stratum, chunk.plant_block
        sums[key] = sums[key] + tally if key in sums else tally
        done += _solutions(job, chunk)
        progress(done, total, chunk.stratum if round_ == 0 else f"{chunk.stratum}, fresh batch")
    gathered = {name: gather(name, [sums[name, block] for block in range(BLOCKS)]) for name in names}
    gathered |= open_pilot(study, lattices, gathered)
    if densities is None:
        densities = find_densities(job, workers, progress) if final_samples(study) else {}
    final = final_batch(job, densities, round_, workers, progress)
    for name, found in final.items():
        stratum = gathered[name]
        gathered[name] = replace(stratum, weighted=compare(found.candidates, stratum.total, stratum.trials,
                                                           stratum.unresolved, lattices))
    notes = {}
    if EARTH in names:
        blocks = [sums[EARTH, block].notes for block in range(BLOCKS)]
        notes = {key: float(np.sum([block[key] for block in blocks])) for key in blocks[0]}
    return Batch(round_, tuple(lattices), gathered, judge(study, lattices, gathered), notes, *_backup(sums, names),
                 {STATED: densities}, {name: found.curves for name, found in final.items()},
                 points=points(study, job, sums, gathered, final) if round_ else ())


def _backup(sums: dict[tuple[str, int], Tally], names: Sequence[str]) -> tuple[dict[str, Stratum], dict[str, Stratum]]:
    """The back-up itself, and what neither it nor a candidate sees, by type. Nothing of it enters the judgement."""
    operates, nobody = {}, {}
    for name in names:
        blocks = [part for block in range(BLOCKS) if (part := sums[name, block].backup) is not None]
        if blocks:
            operates[name] = gather(name, [Tally((part.operates,)) for part in blocks])
        if blocks and blocks[0].nobody:
            nobody[name] = gather(name, [Tally(part.nobody) for part in blocks])
    return operates, nobody


def _solutions(job: Job, chunk: Chunk) -> int:
    """What progress counts: samples, and every place on the winding for an earth fault."""
    places = STEADY_INTERVALS + 1 if chunk.stratum == EARTH else 1
    return job.design_of(chunk.stratum).samples_in(chunk) * places


def _run_task(task: Task) -> Tally:
    return run_chunk(*task)


def _compile(study: Study, lattices: Sequence[Lattice]) -> None:
    """Run the smallest chunk of every stratum once, so that workers find the compiled solvers in the cache."""
    small = Design(BLOCKS, BLOCKS)
    job = Job(study, tuple(lattices[:1]), small, replace(small, net=True))
    for name in strata(study):
        run_chunk(job, small.chunks(name)[0])


def _check_size(study: Study, lattices: Sequence[Lattice]) -> None:
    candidates = sum(int(np.prod(lattice.shape)) for lattice in lattices)
    cells = candidates * Design(study.study.plants, 1).plants_rounded
    if cells > CELLS_MAX:
        raise StudyError(f"study.plants: {study.study.plants} plants x {candidates} candidates = {cells} cells, at "
                         f"most {CELLS_MAX}; lower study.plants or thin the grids in [candidates]")
    if (earth := designs(study)[1]).samples_drawn > (most := BLOCKS * POINTS_MAX):
        raise StudyError(f"study.earth_fault_samples: {earth.samples_drawn} after rounding up to a power of two, at "
                         f"most {most}; give fewer")


# --- sentences ---------------------------------------------------------------------------------------------


def _method_notes(study: Study, batch: Batch) -> list[str]:
    notes = []
    circuits = list(dict.fromkeys(lattice.circuit for lattice in batch.lattices))
    if any((circuit.phase_pickup_a, circuit.earth_pickup_a) != (None, None) for circuit in circuits):
        notes.append(f"A burden in VA at setting changes the circuit with the pick-up: {len(batch.settings)} "
                     f"candidates need {len(circuits)} circuits.")
    late = [lattice for lattice in batch.lattices if any(part.any() for part in beyond_phasors(study, lattice))]
    if EARTH in batch.strata and late:
        these = ", ".join(dict.fromkeys(str(replace(lattice.circuit, phase_pickup_a=None, earth_pickup_a=None))
                                        for lattice in late))
        notes.append(f"Earth faults were solved in time, remanence included, where a pick-up drives more than a "
                     f"quarter of the knee voltage through the fault's path or where the CTs take more exciting "
                     f"current than the element ({these}); elsewhere by phasors.")
    if EARTH in batch.strata:
        notes.append(_solutions_told(study, batch))
    if batch.notes.get("interpolated"):
        mean = batch.notes["interpolation"] / batch.notes["interpolated"]
        notes.append(f"Places between the solved ones along the winding are interpolated: with half as many solved "
                     f"places the critical position would move by {100 * mean:.2g} % of the winding on average.")
    if batch.notes.get("re_entries"):
        share = batch.notes["re_entries"] / batch.notes["interpolated"]
        notes.append(f"In {100 * share:.2g} % of the cases the missed part of the winding is not one stretch from the "
                     f"neutral; p_missed counts everything up to its far end, which overstates it.")
    notes += _rare_notes(batch)
    lost = {name: int(stratum.unresolved.max(axis=0).sum()) for name, stratum in batch.strata.items()
            if name != OPEN_PILOT}
    for name, count in lost.items():
        if count:
            notes.append(f"{name}: up to {count} of {int(batch.strata[name].trials.sum())} samples gave no result; the "
                         f"intervals count them once as operating and once as not.")
    return notes


def _solutions_told(study: Study, batch: Batch) -> str:
    """How many earth faults, where along the winding, how many solutions."""
    design = designs(study)[1]
    circuits = len({lattice.circuit for lattice in batch.lattices})
    a_circuit = design.samples_drawn * (STEADY_INTERVALS + 1)
    late = batch.notes["transient_solutions"]
    in_time = f"; {late:,.0f} more in time at {TRANSIENT_INTERVALS + 1} places" if late else ""
    return (f"{design.samples_drawn:,} earth faults on {BLOCKS} randomised Sobol' nets, {design.plants_rounded} plants "
            f"x {design.events_per_plant} events, each at {STEADY_INTERVALS + 1} places along the winding: "
            f"{a_circuit:,} solutions a circuit, {a_circuit * circuits:,} in all{in_time}.")


def _rare_notes(batch: Batch) -> list[str]:
    """How far weighted samples carry, event by event, and why not further."""
    notes = []
    for name, stratum in batch.strata.items():
        if (weighted := stratum.weighted) is None:
            continue
        rare = ~np.array([text.startswith(COUNTED) for text in weighted.verdict])
        sentence = (f"{name}: p_false of {int(weighted.used.sum())} of {int(rare.sum())} candidates with rare false "
                    f"trips comes from {weighted.sums.trials} weighted samples")
        if (left := rare & ~weighted.used).any():
            sentence += f", of the other {int(left.sum())} from counts (the reasons stand in rare.csv)"
        seen = np.isfinite(weighted.gap)
        if seen.any():
            sentence += (f"; where both see enough ({int(seen.sum())}) they differ by at most "
                         f"{np.abs(weighted.gap[seen]).max():.1f} standard errors")
        notes.append(sentence + ".")
    return notes


def _choice_notes(tries: int, chosen: Setting | None) -> list[str]:
    if chosen is None and tries:
        return [f"{tries} candidate(s) met the policy in the study's batch and missed it on fresh random numbers."]
    if tries > 1:
        return [f"The {tries - 1} better candidate(s) of the study's batch did not keep to the policy on fresh random "
                "numbers; the one chosen is the first that did."]
    return []
