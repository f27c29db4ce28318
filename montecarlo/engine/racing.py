"""The selection sample of a batch: in one go, or in rounds that leave circuits out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from montecarlo.engine.counted import count_all
from montecarlo.engine.job import Job
from montecarlo.engine.keep import KeepRows
from montecarlo.engine.leading import Standing, best_place, leading_at, listens, tell_leading
from montecarlo.engine.progress import Progress
from montecarlo.engine.rounds import SHARES, Drawn, InRounds, in_rounds
from montecarlo.engine.workers import Workers
from montecarlo.estimates.choose import Judgement, gather_all, judge
from montecarlo.estimates.racing import ERROR, Race
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice, candidate_lattices, existing_setting, settings_of
from montecarlo.study.description import Study


@dataclass(frozen=True)
class Racing:
    """What may be left out.

    Attributes
    ----------
    kept : frozenset of Setting
        Candidates whose circuits stay.
    by_scheme : bool
        Whether the best of each scheme is wanted.
    refused_only : bool
        Whether only circuits go of which every candidate is surely refused: where assumption sets
        judge too, the study as stated does not say who comes first.
    followed : mapping of int to tuple of Lattice, optional
        What another assumption set left out after each round; the same goes here.
    """

    kept: frozenset[Setting] = frozenset()
    by_scheme: bool = False
    refused_only: bool = False
    followed: Mapping[int, tuple[Lattice, ...]] | None = field(default=None, hash=False)


def racing_of(study: Study, *, by_scheme: bool, also: Setting | None = None) -> Racing | None:
    """What a study's selection sample may leave out; None where it may not: not with a demanded
    radius, which a leader need not have.

    Parameters
    ----------
    study : Study
    by_scheme : bool
    also : Setting, optional
        A candidate whose circuit stays, beside the existing one and those to be compared.

    Returns
    -------
    Racing or None
    """
    if study.policy.least_radius is not None or not study.study.racing:
        return None
    by_scheme = by_scheme or bool(study.candidates.found)  # each scheme's own was sought
    asked = list[Setting]()
    if study.study.compare:
        every = settings_of(candidate_lattices(study))
        asked = [every[number - 1] for pair in study.study.compare for number in pair]
    kept = [one for one in (existing_setting(study), also, *asked) if one is not None]
    return Racing(frozenset(kept), by_scheme, bool(study.assumption_sets))


def selection(
    job: Job, workers: Workers, progress: Progress, racing: Racing | None, keep: KeepRows | None
) -> InRounds:
    """The selection sample, counted; in one go where rows are kept, which are of every candidate.

    Parameters
    ----------
    job : Job
    workers : Workers
    progress : Progress
    racing : Racing or None
        None: in one go, and nothing is left out.
    keep : KeepRows or None

    Returns
    -------
    InRounds

    Raises
    ------
    RunStopped
    """
    if racing is None or keep is not None:
        tallies, unresolved = count_all(job, 0, workers, progress, keep)
        whole = Drawn(job.lattices, tallies, job.design.samples_drawn)
        if listens(progress):
            _judged(job, whole, progress)
        return InRounds(whole, {}, tuple(unresolved))

    def decide(number: int, drawn: Drawn) -> Sequence[int]:
        if racing.followed is not None:
            gone = racing.followed.get(number, ())
            return [k for k, lattice in enumerate(drawn.lattices) if lattice in gone]
        return _judged(job, drawn, progress).left_out(
            racing.kept, by_scheme=racing.by_scheme, refused_only=racing.refused_only
        )

    return in_rounds(job, workers, progress, decide)


def _judged(job: Job, drawn: Drawn, progress: Progress) -> Race:
    """What was counted so far; the best is told to who listens."""
    study, lattices = job.study, drawn.lattices
    gathered = gather_all(study, lattices, drawn.tallies)
    judged = judge(study, lattices, gathered)
    if listens(progress):
        _tell(job, drawn, judged, progress)
    return Race(study, lattices, gathered, judged, ERROR / len(SHARES), job.lattices)


def _tell(job: Job, drawn: Drawn, judged: Judgement, progress: Progress) -> None:
    """The best setting by counted samples; without a number while candidates are searched."""
    if (place := best_place(judged)) is None:
        return
    settings, numbers = settings_of(drawn.lattices), None
    if not job.study.candidates.found:
        places = {one: number for number, one in enumerate(settings_of(job.lattices), start=1)}
        numbers = [places[one] for one in settings]
    standing = Standing(job.study, settings, judged, numbers)
    whole = job.design.samples_drawn
    tell_leading(progress, leading_at(standing, place, drawn.samples, whole))
