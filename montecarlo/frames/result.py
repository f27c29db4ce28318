"""A finished run as pandas frames, each made when first asked for."""

from __future__ import annotations

from copy import copy
from functools import cached_property
from typing import TYPE_CHECKING, Any

from montecarlo.engine.guard import Unresolved, named
from montecarlo.engine.keep import KeepRows
from montecarlo.engine.margins import Radius
from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.run import Outcome, run
from montecarlo.engine.workers import Workers
from montecarlo.errors import StudyError
from montecarlo.estimates.optimality import Gap
from montecarlo.frames import (
    candidates,
    choosing,
    front,
    place_laws,
    prices,
    provenance,
    rare,
    search,
    sources,
    types,
)
from montecarlo.frames.batches import number_of
from montecarlo.frames.closest import closest_rows
from montecarlo.frames.digits import rounded_values
from montecarlo.frames.doubts import Doubt, as_data, doubts_of
from montecarlo.frames.optimality import gap_of_choice
from montecarlo.frames.radius import radius_frame
from montecarlo.frames.remanence import compare_models
from montecarlo.frames.robustness import assumption_set_choices
from montecarlo.frames.unresolved import unresolved_frame, unresolved_of
from montecarlo.quantities import Array
from montecarlo.study.description import Study

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.frames.clearing import ClearingFrames


def run_study(
    study: Study,
    *,
    workers: int | Workers | None = None,
    progress: Progress = silent,
    by_scheme: bool = False,
    keep_samples: KeepRows | None = None,
) -> Result:
    """Run a study: sample it, judge every candidate setting, choose one.

    Parameters
    ----------
    study : Study
        As `read_study` gives it.
    workers : int or Workers, optional
        How many processes; one a core unless given. Results do not depend on it.
    progress : callable, optional
        Is told (done, total, what) of samples.
    by_scheme : bool
        Choose the best setting of every scheme too.
    keep_samples : KeepRows, optional
        Takes the samples of the selection sample, chunk by chunk.

    Returns
    -------
    Result

    Raises
    ------
    StudyError
        Where too many samples have no result.
    """
    return Result(
        run(
            study,
            workers=workers,
            progress=progress,
            by_scheme=by_scheme,
            keep_samples=keep_samples,
        )
    )


class Result:
    """The tables of a finished run: the functions of this folder, each called once.

    Parameters
    ----------
    outcome : Outcome
        What `montecarlo.engine.run.run` gives.
    found : Radius, optional
        How far inputs may be off, of the choice.

    Attributes
    ----------
    study : Study
    margins : Radius or None
        How far inputs may be off, where that was sought.
    cleared : ClearingFrames or None
        Who clears faults with the choice, where that was followed.
    told : tuple of str
        What there is to say of the run.
    other : Result or None
        The same study with the other remanence model, where the study asks for it.
    """

    def __init__(self, outcome: Outcome, found: Radius | None = None) -> None:
        self.outcome, self.margins = outcome, found
        self.cleared: ClearingFrames | None = None
        self.study = outcome.study
        self.other = None if outcome.other is None else Result(outcome.other)

    def with_margins(self, found: Radius | None) -> Result:
        """The same with what was found later; tables that were made are kept.

        Parameters
        ----------
        found : Radius or None

        Returns
        -------
        Result
        """
        other = copy(self)
        other.margins = found
        other.__dict__.pop("radius", None)
        return other

    def with_cleared(self, found: ClearingFrames | None) -> Result:
        """The same with who clears faults; tables that were made are kept.

        Parameters
        ----------
        found : ClearingFrames or None

        Returns
        -------
        Result
        """
        other = copy(self)
        other.cleared = found
        return other

    @property
    def chosen(self) -> int | None:
        """Number of the chosen candidate in `candidates`."""
        return number_of(self.outcome, self.outcome.chosen)

    @property
    def runner_up(self) -> int | None:
        """Number of the next one."""
        return number_of(self.outcome, self.outcome.runner_up)

    @cached_property
    def candidates(self) -> pd.DataFrame:
        """Every candidate: `montecarlo.frames.candidates.candidates`."""
        return candidates.candidates(self.outcome)

    def row(self, number: int) -> dict[str, Any]:
        """A row of `candidates`.

        Parameters
        ----------
        number : int
            Of the candidate.

        Returns
        -------
        dict
        """
        rows = self.candidates.set_index("candidate", drop=False)
        return rows.loc[number].to_dict()  # type: ignore[no-any-return]

    @cached_property
    def by_type(self) -> pd.DataFrame:
        """Each candidate by fault type, event and state: `montecarlo.frames.types.by_type`."""
        return types.by_type(self.outcome)

    @cached_property
    def protected_winding(self) -> pd.DataFrame:
        """Detection along the winding: `montecarlo.frames.types.protected_winding`."""
        return types.protected_winding(self.outcome)

    @property
    def roles(self) -> dict[str, int]:
        """Numbers of the candidates that matter, by what each is: the chosen one, or the one
        closest to the policy's limits; the existing one."""
        own, existing = self.chosen, number_of(self.outcome, self.outcome.existing)
        one = {"closest": choosing.nearest(self.candidates)} if own is None else {"chosen": own}
        found = {role: number for role, number in one.items() if number is not None}
        if existing is not None and existing not in found.values():
            found["existing"] = existing
        return found

    @cached_property
    def false_trip_sources(self) -> pd.DataFrame:
        """Where false trips come from: `montecarlo.frames.sources.false_trip_sources`."""
        return sources.false_trip_sources(self.outcome, self.by_type, self.roles)

    @cached_property
    def missed_fault_places(self) -> pd.DataFrame:
        """Where missed earth faults lie: `montecarlo.frames.sources.missed_fault_places`."""
        return sources.missed_fault_places(self.outcome, self.roles)

    @cached_property
    def rare(self) -> pd.DataFrame:
        """Weighted samples beside counts: `montecarlo.frames.rare.rare`."""
        return rare.rare(self.outcome)

    @cached_property
    def exceedance(self) -> pd.DataFrame:
        """How often an event exceeds a pick-up: `montecarlo.frames.rare.exceedance`."""
        return rare.exceedance(self.outcome)

    @cached_property
    def backup(self) -> pd.DataFrame:
        """How often the back-up operates: `montecarlo.frames.types.backup`."""
        return types.backup(self.outcome)

    @cached_property
    def turn_faults_missed(self) -> pd.DataFrame:
        """Missed faults between turns by class: `montecarlo.frames.types.turn_faults_missed`."""
        return types.turn_faults_missed(self.outcome)

    @property
    def unresolved_rows(self) -> tuple[Unresolved, ...]:
        """Samples without a result by type and batch, those of the other remanence model too."""
        rows, other = unresolved_of(self.outcome), self.other
        if other is not None:
            rows += named(other.unresolved_rows, other.study.ct.remanence_model)
        return rows

    @cached_property
    def unresolved(self) -> pd.DataFrame:
        """A row a type and batch: samples drawn, how many gave no result, why, and how they were
        counted."""
        return unresolved_frame(self.unresolved_rows)

    @cached_property
    def inputs(self) -> pd.DataFrame:
        """Every number and distribution of the study."""
        return provenance.inputs(self.study)

    @cached_property
    def search(self) -> pd.DataFrame:
        """How the candidates were found: `montecarlo.frames.search.search`."""
        return search.search(self.outcome)

    @cached_property
    def front(self) -> pd.DataFrame:
        """What each limit of false trips would allow: `montecarlo.frames.front.front`."""
        return front.front(self.outcome)

    @cached_property
    def radius(self) -> pd.DataFrame:
        """How far inputs may be off before the choice breaks the policy's limit:
        `montecarlo.frames.radius.radius_frame`."""
        return radius_frame(self.margins, self.outcome.settings)

    @cached_property
    def place_laws(self) -> pd.DataFrame:
        """Missed faults under other laws of the fault's place:
        `montecarlo.frames.place_laws.place_laws`."""
        roles, runner_up = {**self.roles}, self.runner_up
        if runner_up is not None and runner_up not in roles.values():
            roles["runner-up"] = runner_up
        return place_laws.place_laws(self.outcome, roles)

    @cached_property
    def prices(self) -> pd.DataFrame:
        """What one step of each setting would change: `montecarlo.frames.prices.prices`."""
        return prices.prices(self.outcome, self.neighbours, self.exceedance)

    @cached_property
    def gap(self) -> Gap | None:
        """How much better the best setting that the policy allows may be:
        `montecarlo.frames.optimality.gap_of_choice`."""
        return gap_of_choice(self.outcome)

    @cached_property
    def closest(self) -> pd.DataFrame:
        """Of schemes without a choice the closest to the policy:
        `montecarlo.frames.closest.closest_rows`."""
        best = self.outcome.best
        without = [scheme for scheme in self.study.scheme.kinds if best.get(scheme) is None]
        if self.chosen is not None and not best:
            without = []
        return closest_rows(self.study, self.candidates, without)

    @cached_property
    def doubts(self) -> tuple[Doubt, ...]:
        """What speaks against the chosen setting although the policy allows it; () without one."""
        return () if self.outcome.chosen is None else doubts_of(self.outcome, self.outcome.chosen)

    @cached_property
    def comparison(self) -> pd.DataFrame:
        """The chosen candidate minus runner-up and existing one, then `study.compare`; paired on
        the same events."""
        return choosing.comparison(self.outcome)

    def compare(self, one: int, other: int) -> pd.DataFrame:
        """One candidate minus another, paired on the same events.

        Parameters
        ----------
        one, other : int
            Their numbers in `candidates`.

        Returns
        -------
        DataFrame
            A row a quantity, with limits.

        Raises
        ------
        StudyError
            For a number that no candidate has.
        """
        settings = self.outcome.settings
        if not all(1 <= number <= len(settings) for number in (one, other)):
            raise StudyError(
                f"compare: {one} and {other}, must be candidates' numbers, 1 ... {len(settings)};"
                " take them from candidates"
            )
        pair = choosing.ASKED, settings[one - 1], settings[other - 1]
        if choosing.common_batch(self.outcome, *pair[1:]) is None:
            raise StudyError(
                f"compare: {one} and {other}, a relay circuit of theirs was left out before all"
                " samples were drawn; name the pair in study.compare, or set study.racing = false"
            )
        return choosing.difference_rows(self.outcome, [pair])

    @cached_property
    def neighbours(self) -> pd.DataFrame:
        """Each candidate one step of the grids away from the chosen one, minus the chosen one;
        empty without one."""
        return choosing.neighbour_rows(self.outcome)

    @cached_property
    def assumption_sets(self) -> pd.DataFrame:
        """How each assumption set of the policy judges the candidates of the independent sample;
        empty without."""
        return choosing.assumption_set_rows(self.outcome)

    @cached_property
    def assumption_set_choices(self) -> pd.DataFrame:
        """What each assumption set would choose by itself, and the regret of the study's choice
        there; empty without any."""
        return assumption_set_choices(self.outcome)

    @cached_property
    def hinge(self) -> choosing.Hinge | None:
        """What kept the next better candidate from being chosen; None if none is better."""
        return choosing.hinge(self.outcome)

    @cached_property
    def remanence_models(self) -> pd.DataFrame | None:
        """What each remanence model chooses, and what that is in the other; None unless the study
        asks for both."""
        if self.other is None:
            return None
        both = (self, self.other)
        return compare_models(
            {one.study.ct.remanence_model: (one.candidates, one.chosen) for one in both}
        )

    @cached_property
    def installations(self) -> dict[str, Array]:
        """The sampled installations, and what each showed:
        `montecarlo.frames.provenance.installations`."""
        return provenance.installations(self.outcome)

    @cached_property
    def provenance(self) -> dict[str, Any]:
        """Where the numbers come from: `montecarlo.frames.provenance.provenance`, with what the run
        has to tell."""
        other = self.other
        return {
            **provenance.provenance(self.outcome),
            "doubts": [as_data(doubt) for doubt in self.doubts],
            "optimality_gap": None if self.gap is None else rounded_values(self.gap._asdict()),
            "other_model": None if other is None else provenance.of_one_model(other.outcome),
        }
