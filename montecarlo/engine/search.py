"""The best settings in ranges that are too long to be judged whole: rounds of ordinary counted
batches, each nearer to the best setting of the round before.

A round judges a few values of every axis, scheme by scheme, on the first part of the study's own
batch; the next one judges those about the best. What is left is small enough for the whole batch,
which `run` draws. Such a pattern search needs no derivative (Kolda, Lewis and Torczon, SIAM Review
45, 2003, 385-482, from memory). On common random numbers it is one of a deterministic function
(sample average approximation: Kim, Pasupathy and Henderson, Handbook of Simulation Optimization,
2015, from memory). It finds the best of what it judged: a better setting far from its path is not
excluded."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from montecarlo.engine.batch import Batch, in_all_assumption_sets
from montecarlo.engine.counted import count_all
from montecarlo.engine.front import FrontPoint, front_of
from montecarlo.engine.job import Job
from montecarlo.engine.keep import KeepRows
from montecarlo.engine.leading import Leading, Standing, best_of, leading_at, tell_leading
from montecarlo.engine.progress import Progress, narrowing_stage
from montecarlo.engine.racing import Racing
from montecarlo.engine.rare import Known
from montecarlo.engine.sizes import designs, first_part, with_sizes
from montecarlo.engine.workers import Workers
from montecarlo.estimates.choose import Judgement, gather_all, judge, side_by_side
from montecarlo.estimates.refusals import may_be_chosen
from montecarlo.estimates.robust import worst_of
from montecarlo.quantities import Index
from montecarlo.study.axes import Grids, Setting
from montecarlo.study.candidates import (
    Lattice,
    candidate_lattices,
    grids_of,
    lattices_on,
    settings_of,
    with_found,
)
from montecarlo.study.description import Study
from montecarlo.study.ranges import about, at_first, beside, combinations, is_fine

PART, EARTH_PART = 4, 8  # of the study's samples and earth faults, one in so many
ROUNDS_MAX = 8
NEARER_MAX = 4  # whole batches beyond the first
CELLS = 4_000_000  # candidates x installations of a batch, to bound its memory


@dataclass(frozen=True)
class Searched:
    """What a search was: settings that the ranges span, that its rounds judged, and that the whole
    batch judged; rounds; samples of each counted type in a round."""

    spanned: int
    judged: int
    left: int
    rounds: int
    samples: int


@dataclass(frozen=True)
class Round:
    """One round of one scheme.

    Attributes
    ----------
    number : int
        From 1.
    scheme : str
    candidates, circuits : int
        That it judged.
    samples : int
        Of each counted type.
    best : Setting
    p_missed, p_false, bound : float
        Of the best one; bound: the one-sided upper limit of p_false.
    allowed : bool
        Whether the policy allows it.
    front : tuple of FrontPoint
        Of this round and scheme.
    """

    number: int
    scheme: str
    candidates: int
    circuits: int
    samples: int
    best: Setting
    p_missed: float
    p_false: float
    bound: float
    allowed: bool
    front: tuple[FrontPoint, ...]


@dataclass(frozen=True, eq=False)
class Ranked:
    """Settings with their judgement."""

    settings: Sequence[Setting]
    verdict: Judgement

    def best(self, scheme: str) -> int:
        """The place of a scheme's best: as the policy orders them; where it allows none, the one
        that is nearest to its limit.

        Parameters
        ----------
        scheme : str

        Returns
        -------
        int
        """
        return best_of(self.verdict, self.places(scheme))

    def places(self, scheme: str) -> Index:
        """Where the settings of a scheme stand.

        Parameters
        ----------
        scheme : str

        Returns
        -------
        array of int
        """
        return np.flatnonzero([setting.scheme == scheme for setting in self.settings])


def narrowed(study: Study, workers: Workers, tell: Progress) -> tuple[Study, tuple[Round, ...]]:
    """The study with the few candidates that its whole batch should judge, and how they were found.

    Parameters
    ----------
    study : Study
        Whose ranges are searched.
    workers : Workers
    tell : Progress

    Returns
    -------
    Study
    tuple of Round

    Raises
    ------
    RunStopped
    """
    whole = {one.scheme: one for one in grids_of(study)}
    left = {scheme: at_first(one) for scheme, one in whole.items()}
    best: dict[str, Setting] = {}
    part = part_of(study)
    rounds: list[Round] = []
    leading: dict[str, Leading] = {}
    samples, of_samples = (designs(one)[0].samples_drawn for one in (part, study))
    for number in range(1, ROUNDS_MAX + 1):
        judged = _judged(part, [*left.values()], workers, tell, number)
        for scheme, grids in [*left.items()]:
            place = judged.best(scheme)
            circuits = len({lattice.circuit for lattice in lattices_on(part, grids)})
            rounds.append(_round(number, part, judged, place, circuits))
            best[scheme] = judged.settings[place]
            standing = Standing(part, judged.settings, judged.verdict, None)
            leading[scheme] = leading_at(standing, place, samples, of_samples)
            left[scheme] = about(whole[scheme], grids, best[scheme])
            if is_fine(whole[scheme], grids, best[scheme]):
                del left[scheme]
        tell_leading(tell, min(leading.values(), key=lambda one: one.rank))
        if not left:
            break
    found = [_beside(whole[scheme], setting) for scheme, setting in best.items()]
    return with_found(study, found), tuple(rounds)


def own_batch(
    study: Study,
    workers: Workers,
    tell: Progress,
    keep: KeepRows | None = None,
    racing: Racing | None = None,
) -> tuple[Study, Batch, bool]:
    """The study's own batch; of what a search left again on nearer candidates, while a step beside
    the best one was not judged.

    Parameters
    ----------
    study : Study
        Narrowed, if its ranges are searched.
    workers : Workers
    tell : Progress
    keep : KeepRows, optional
        Takes the rows of every chunk of the last batch.
    racing : Racing, optional
        What it may leave out; nothing unless given.

    Returns
    -------
    Study
        As it was judged.
    Batch
    bool
        Whether every step beside the best was judged.

    Raises
    ------
    RunStopped
    """

    def drawn(known: Mapping[str, Known] | None, keep: KeepRows | None = None) -> Batch:
        lattices = candidate_lattices(study)
        return in_all_assumption_sets(
            study, lattices, 0, workers, tell, known, keep=keep, racing=racing
        )

    if not study.candidates.found:
        return study, drawn(None, keep), True
    known = None
    batch = drawn(known)
    closer = nearer(study, Ranked(batch.settings, batch.verdict))
    for _ in range(NEARER_MAX):
        if closer is None:
            break
        study = closer
        known = {name: Known(one.densities) for name, one in batch.known.items()}
        batch = drawn(known)
        closer = nearer(study, Ranked(batch.settings, batch.verdict))
    if keep is not None:
        batch = drawn(known, keep)
    return study, batch, closer is None


def nearer(study: Study, judged: Ranked) -> Study | None:
    """The study with candidates nearer to each scheme's best one, where the whole batch left steps
    beside it unjudged.

    Parameters
    ----------
    study : Study
        As its whole batch judged it.
    judged : Ranked
        By that batch.

    Returns
    -------
    Study or None
        None where every step beside the best ones was judged.
    """
    whole = {one.scheme: one for one in grids_of(study)}
    found, fine = [], True
    for one in study.candidates.found:
        best = judged.settings[judged.best(one.scheme)]
        fine = fine and is_fine(whole[one.scheme], one, best)
        found.append(_beside(whole[one.scheme], best))
    return None if fine else with_found(study, found)


def part_of(study: Study) -> Study:
    """The study on the first part of its samples; no core is open unless that is an event.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Study
    """
    part = with_sizes(study, first_part(study, PART, EARTH_PART))
    if study.states.open_ct_circuit_counts:
        return part
    states = study.states.model_copy(update={"open_ct_circuit_per_year": None})
    return part.model_copy(update={"states": states})


def _beside(whole: Grids, best: Setting) -> Grids:
    """The steps about a setting, and the shortest delay: what a delay buys is a question of its
    own."""
    found = beside(whole, best)
    least = whole.values["delay_s"][0]
    delays = tuple(sorted({least, *found.values["delay_s"]}))
    return Grids(found.scheme, {**found.values, "delay_s": delays})


def _judged(
    study: Study, grids: Sequence[Grids], workers: Workers, tell: Progress, number: int
) -> Ranked:
    """A round: every combination of the grids by counted samples, as each assumption set has
    them."""
    lattices = [lattice for one in grids for lattice in lattices_on(study, one)]
    settings = settings_of(lattices)
    stage = narrowing_stage(number)
    batches = [*_batches(study, lattices)]
    sets = [study.alone, *(part_of(other) for _, other in study.assumption_sets)]
    verdicts = [
        side_by_side([_counted(one, some, workers, tell, stage) for some in batches])
        for one in sets
    ]
    return Ranked(settings, worst_of(verdicts))


def _batches(study: Study, lattices: Sequence[Lattice]) -> Iterator[list[Lattice]]:
    """Lattices in their order, some at a time."""
    installations = designs(study)[0].installations_rounded
    batch: list[Lattice] = []
    cells = 0
    for lattice in lattices:
        more = math.prod(lattice.shape) * installations
        if batch and cells + more > CELLS:
            yield batch
            batch, cells = [], 0
        batch.append(lattice)
        cells += more
    yield batch


def _counted(
    study: Study, lattices: Sequence[Lattice], workers: Workers, tell: Progress, stage: str
) -> Judgement:
    job = Job(study, tuple(lattices), *designs(study))
    tallies, _ = count_all(job, 0, workers, lambda done, total, _: tell(done, total, stage))
    return judge(study, lattices, gather_all(study, lattices, tallies))


def _round(number: int, study: Study, judged: Ranked, place: int, circuits: int) -> Round:
    best, verdict = judged.settings[place], judged.verdict
    own = judged.places(best.scheme)
    samples = designs(study)[0].samples_drawn
    return Round(
        number,
        best.scheme,
        len(own),
        circuits,
        samples,
        best,
        float(verdict.missed.total[place]),
        float(verdict.false.total[place]),
        float(verdict.bound[place]),
        may_be_chosen(verdict, place),
        tuple(front_of(study, judged.settings, verdict, best.scheme, samples)),
    )


def told_of(study: Study, rounds: Sequence[Round]) -> tuple[Searched, ...]:
    """What there is to say of a search; nothing without one.

    Parameters
    ----------
    study : Study
        As it was judged.
    rounds : sequence of Round

    Returns
    -------
    tuple of Searched
    """
    if not rounds:
        return ()
    return (
        Searched(
            combinations(grids_of(study)),
            sum(one.candidates for one in rounds),
            combinations(study.candidates.found),
            rounds[-1].number,
            rounds[0].samples,
        ),
    )
