"""A whole run: judge every candidate on one batch, then re-estimate the chosen few on an
independent sample."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

from montecarlo.engine.batch import Batch, in_all_assumption_sets
from montecarlo.engine.counted import compile_solvers
from montecarlo.engine.delays import across_the_delay
from montecarlo.engine.demand import InTheWay, demanded
from montecarlo.engine.enlarging import Enlarged, enlarged, plans
from montecarlo.engine.keep import KeepRows, of_part
from montecarlo.engine.notes import Method, method_notes
from montecarlo.engine.precision import Precise, precision_of, sizes_for
from montecarlo.engine.progress import COMPILING, Progress, named_progress, silent
from montecarlo.engine.racing import racing_of
from montecarlo.engine.rare import final_samples
from montecarlo.engine.search import Round, Searched, narrowed, own_batch, told_of
from montecarlo.engine.sizes import Sizes, check_size, with_sizes
from montecarlo.engine.workers import Workers, workers_of
from montecarlo.estimates.choose import Judgement, with_one_from
from montecarlo.quantities.compiled import all_kept, when_compiling
from montecarlo.secondary.remanence import other_model
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import (
    Lattice,
    candidate_lattices,
    existing_setting,
    is_searched,
    lattices_of,
    neighbours,
)
from montecarlo.study.description import Study

TRIES_MAX = 10  # independent samples before the run gives up on the policy
ANY = ""  # the group of all candidates, whatever their scheme


class Incident(Enum):
    """What may happen to a sample."""

    DRAWN_LARGER = auto()  # the first one missed the precision
    SEARCH_ENDED = auto()  # the search for settings, though a step beside the best is not judged
    NOT_ASKED = auto()  # none keeps to the policy, and circuits that were left out were not asked
    MISSES_LIMIT = auto()  # of the chosen setting, on the random numbers that alternatives share


@dataclass(frozen=True)
class Refused:
    """How many candidates independent samples refused; chosen: whether another one kept."""

    scheme: str  # "": of all
    number: int
    chosen: bool


Note = Method | Precise | Enlarged | Incident | Refused | Searched


@dataclass(frozen=True, eq=False)
class Outcome:
    """The selection sample, the independent sample of the chosen few, and how the choice came
    about.

    Attributes
    ----------
    study : Study
    first : Batch
        The study's own.
    fresh : Batch or None
    chosen, runner_up, existing : Setting or None
    tries : int
        Independent samples that were drawn.
    notes : tuple of Note
    other : Outcome or None
        Of the same study with the other remanence model.
    best : mapping of Setting or None
        Of each scheme, where the run was asked for them; all stand in the independent sample.
    sizes : mapping of int
        Of the independent sample, where they are not the study's own.
    refused : mapping of Batch
        The independent sample that refused each candidate.
    rounds : tuple of Round
        Of the search for settings, where the study has ranges that are searched.
    across_delay : Setting or None
        The best one without the chosen one's delay, or with one where that has none.
    undemanded : Setting or None
        What would be chosen without the policy's least radius.
    in_the_way : tuple of InTheWay
        What keeps candidates from having it.
    """

    study: Study
    first: Batch
    fresh: Batch | None
    chosen: Setting | None
    runner_up: Setting | None
    existing: Setting | None
    tries: int
    notes: tuple[Note, ...]
    best: Mapping[str, Setting | None]
    sizes: Sizes
    refused: Mapping[Setting, Batch]
    other: Outcome | None = None
    rounds: tuple[Round, ...] = ()
    across_delay: Setting | None = None
    undemanded: Setting | None = None
    in_the_way: tuple[InTheWay, ...] = ()

    def batch_of(self, setting: Setting) -> Batch:
        """The batch whose figures of a candidate are reported: an independent one that has it, else
        the study's own.

        Parameters
        ----------
        setting : Setting

        Returns
        -------
        Batch
        """
        if self.fresh is not None and setting in self.fresh.settings:
            return self.fresh
        if setting in self.refused:
            return self.refused[setting]
        return self.first.part_of(setting)

    def judgement_with_refused(self) -> Judgement:
        """How the policy judges every candidate: by the selection sample, those that independent
        samples refused by these.

        Returns
        -------
        Judgement
            In the order of `settings`.
        """
        judged = self.first.verdict_of_all()
        for setting in self.refused:
            batch = self.batch_of(setting)
            here, there = self.settings.index(setting), batch.settings.index(setting)
            judged = with_one_from(judged, here, batch.verdict, there)
        return judged

    @property
    def settings(self) -> list[Setting]:
        """Every candidate, in the order of their numbers."""
        return self.first.every


def run(
    study: Study,
    *,
    workers: int | Workers | None = None,
    progress: Progress = silent,
    by_scheme: bool = False,
    keep_samples: KeepRows | None = None,
    racing: bool = True,
) -> Outcome:
    """Judge every candidate on one batch and choose on an independent sample; if the study asks for
    it, once more with the other remanence model on the same ones.

    Parameters
    ----------
    study : Study
    workers : int or Workers, optional
        One a core unless given.
    progress : Progress, optional
    by_scheme : bool
        Choose the best setting of every scheme, and the chosen one among these.
    keep_samples : KeepRows, optional
        Takes the samples of the selection sample, chunk by chunk.
    racing : bool
        Whether circuits may be left out of it, if the study allows that.

    Returns
    -------
    Outcome

    Raises
    ------
    StudyError
        For more candidates, installations or samples than this machine can hold.
    RunStopped
    """
    crew = workers_of(workers)
    lattices = candidate_lattices(study)
    check_size(study, lattices)
    if crew.here or not all_kept():
        with when_compiling(lambda: progress(0, 0, COMPILING)):
            compile_solvers(study, lattices, crew)
    rounds: tuple[Round, ...] = ()
    if is_searched(study):
        study, rounds = narrowed(study, crew, progress)
    race = racing_of(study, by_scheme=by_scheme) if racing else None
    study, first, settled = own_batch(study, crew, progress, keep_samples, race)
    groups = study.scheme.kinds if by_scheme else (ANY,)
    outcome = _Run(study, first, crew, progress, groups).outcome()
    ended = () if settled else (Incident.SEARCH_ENDED,)
    notes = (*told_of(study, rounds), *ended, *outcome.notes)
    outcome = replace(outcome, rounds=rounds, notes=notes)
    if not study.study.compare_remanence_models:
        return outcome
    model = other_model(study.ct.remanence_model)
    cts = study.ct.model_copy(update={"remanence_model": model})  # of the same knees
    other = study.model_copy(update={"ct": cts})
    named = named_progress(progress, model)
    kept = of_part(keep_samples, model)
    race = racing_of(other, by_scheme=by_scheme, also=outcome.chosen) if racing else None
    again = in_all_assumption_sets(other, first.asked, 0, crew, named, keep=kept, racing=race)
    return replace(outcome, other=_Run(other, again, crew, named, groups, outcome.chosen).outcome())


class _Run:
    """From the study's own batch on: each group's candidate on trial, the runner-up, the
    existing setting, `also` and the neighbours of the one on trial again on an independent
    sample, until every group has one that keeps to the policy."""

    def __init__(
        self,
        study: Study,
        first: Batch,
        workers: Workers,
        tell: Progress,
        groups: Sequence[str],
        also: Setting | None = None,
    ) -> None:
        self.study, self.workers, self.tell, self.also = study, workers, tell, also
        order = [first.settings[candidate] for candidate in first.verdict.order()]
        self.undemanded = order[0] if order and study.policy.least_radius is not None else None
        self.first, self.in_the_way = first, tuple[InTheWay, ...]()
        for group in groups:
            self._demand([one for one in order if group in (ANY, one.scheme)])
        self.order = [self.first.settings[candidate] for candidate in self.first.verdict.order()]
        self.waiting = {
            group: [s for s in self.order if group in (ANY, s.scheme)] for group in groups
        }
        self.existing = existing_setting(study)
        self.sizes: Sizes = {}
        self.refused: dict[Setting, Batch] = {}

    def outcome(self) -> Outcome:
        tries, fresh, kept = 0, None, dict[str, Setting]()
        while (trial := self._on_trial()) and tries < TRIES_MAX:
            if fresh is None or not self._stand_in(fresh, trial):
                tries += 1
                fresh = self._again(trial, tries)
            fresh = self._demanded(fresh, trial)
            kept = self._keeping(fresh, trial)
            if kept.keys() == trial.keys():
                break
        notes: list[Note] = [*method_notes(self.study, self.first)]
        if fresh is not None and kept and self.study.study.precision is not None:
            fresh, more = self._narrowed(fresh, self._first_of(kept))
            fresh = self._demanded(fresh, kept)
            notes += more
            kept = self._keeping(fresh, kept)
        if fresh is not None:
            notes += self._enlarged()
            notes += [Incident.NOT_ASKED] if self.first.left_out and not kept else []
        for group in self.waiting:
            if number := sum(group in (ANY, setting.scheme) for setting in self.refused):
                notes.append(Refused(group, number, group in kept))
        chosen = self._first_of(kept) if kept else None
        return Outcome(
            self.study,
            self.first,
            fresh,
            chosen,
            None if chosen is None else self._runner_up(kept, chosen),
            self.existing,
            tries,
            tuple(notes),
            {} if ANY in self.waiting else {group: kept.get(group) for group in self.waiting},
            self.sizes,
            self.refused,
            across_delay=None if chosen is None else self._across_delay(chosen),
            undemanded=self.undemanded,
            in_the_way=self.in_the_way,
        )

    def _demand(self, order: Sequence[Setting]) -> None:
        """Refuse the best ones of a group that have not the demanded radius."""
        self.first, found = demanded(self.study, self.first, order, self.workers, self.tell)
        self.in_the_way += found

    def _demanded(self, fresh: Batch, trial: Mapping[str, Setting]) -> Batch:
        """Those on trial must have the demanded radius on the independent sample too."""
        for one in trial.values():
            known = fresh.judgement.demand
            asked = known is not None and known[fresh.settings.index(one)] <= 1
            if fresh.keeps_to_policy(one) and not asked:
                fresh, found = demanded(self.study, fresh, [one], self.workers, self.tell)
                self.in_the_way += found
        return fresh

    def _across_delay(self, chosen: Setting) -> Setting | None:
        return across_the_delay(self.order, self.first.settings, chosen)

    def _stand_in(self, fresh: Batch, trial: Mapping[str, Setting]) -> bool:
        """Whether an independent sample has those on trial: after a search it has all candidates,
        as the best of close ones often miss the limit on it."""
        searched = bool(self.study.candidates.found)
        return searched and {*trial.values()} <= {*fresh.settings}

    def _keeping(self, fresh: Batch, trial: Mapping[str, Setting]) -> dict[str, Setting]:
        """Those that keep to the policy on an independent sample too; the others are refused."""
        kept = {group: one for group, one in trial.items() if fresh.keeps_to_policy(one)}
        for group in trial.keys() - kept.keys():
            self.refused[trial[group]] = fresh
            self.waiting[group].remove(trial[group])
        return kept

    def _on_trial(self) -> dict[str, Setting]:
        """The best candidate of each group that is not refused yet."""
        return {group: left[0] for group, left in self.waiting.items() if left}

    def _first_of(self, settings: Mapping[str, Setting]) -> Setting:
        """The best of them in the selection sample."""
        return min(settings.values(), key=self.order.index)

    def _runner_up(self, trial: Mapping[str, Setting], chosen: Setting) -> Setting | None:
        """The next one; among the best of the schemes where there are several."""
        others = [setting for setting in trial.values() if setting != chosen]
        if ANY in self.waiting:
            others = self.waiting[ANY][1:2]
        return min(others, key=self.order.index, default=None)

    def _again(self, trial: Mapping[str, Setting], round_: int) -> Batch:
        """An independent sample of those on trial and what they are compared with, as large as the
        precision wants."""
        first = self._first_of(trial)
        self._paired = () if ANY in self.waiting else tuple(trial.values())
        foremost = (first, *trial.values(), self._runner_up(trial, first), self.existing, self.also)
        self._foremost = tuple(dict.fromkeys(s for s in foremost if s is not None))
        others = (
            self.first.settings
            if self.study.candidates.found
            else neighbours(self.first.every, first)
        )
        more = (self._across_delay(first), self.undemanded)
        beside = [one for one in more if one is not None]
        self._few = tuple(dict.fromkeys((*self._foremost, *others, *beside)))
        if self.study.study.precision is not None:
            self.sizes = sizes_for(self.study, self.first, first)
        return self._drawn(round_)

    def _drawn(self, round_: int) -> Batch:
        return in_all_assumption_sets(
            self.study,
            self._lattices(),
            round_,
            self.workers,
            self.tell,
            self.first.known,
            self.sizes,
            self._paired,
            self._foremost,
        )

    def _lattices(self) -> tuple[Lattice, ...]:
        """Of those in the independent sample; after a search the selection sample's own, which are
        counted many settings at a time."""
        if not self.study.candidates.found:
            return lattices_of(self.study, *self._few)
        there = {*self.first.settings}
        others = [setting for setting in self._few if setting not in there]
        return (*self.first.lattices, *lattices_of(self.study, *others))

    def _enlarged(self) -> list[Enlarged]:
        """Which events have more weighted samples in the independent sample, or would, and why."""
        own = final_samples(with_sizes(self.study, self.sizes))
        return [
            one
            for assumption_set, known in self.first.known.items()
            for one in enlarged(
                plans(known, self._foremost, own), own, self.first.every, assumption_set
            )
        ]

    def _narrowed(self, fresh: Batch, chosen: Setting) -> tuple[Batch, list[Note]]:
        """The independent sample, or a further one of fixed size planned from it where it missed
        the precision."""
        drawn = with_sizes(self.study, self.sizes)
        found = precision_of(drawn, fresh, chosen)
        if found.most is None or (more := sizes_for(drawn, fresh, chosen)) == self.sizes:
            return fresh, [found]
        self.sizes = more
        fresh = self._drawn(TRIES_MAX + 1)
        found = precision_of(with_sizes(self.study, more), fresh, chosen)
        return fresh, [Incident.DRAWN_LARGER, found]
