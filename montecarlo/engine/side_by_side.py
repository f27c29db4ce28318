"""Several studies on common random numbers: each makes its own choice, and any two choices are
compared in pairs.

Streams are keyed by input, so a study with other values draws the same uniforms; the independent
samples of all are of one round."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from montecarlo.engine.batch import in_all_assumption_sets
from montecarlo.engine.keep import KeepRows, of_part
from montecarlo.engine.progress import Progress, named_progress, silent
from montecarlo.engine.run import Incident, Outcome, run
from montecarlo.engine.workers import Workers, workers_of
from montecarlo.estimates.compare import Side, differences_of, level_of, trip_cost_difference
from montecarlo.estimates.intervals import Estimate
from montecarlo.study.description import Study


@dataclass(frozen=True, eq=False)
class Alternatives:
    """Outcomes by name, in the order given. The independent samples of all that have one are of one
    round."""

    outcomes: Mapping[str, Outcome]

    def differences(
        self, pairs: Sequence[tuple[str, str]]
    ) -> dict[tuple[str, str], dict[str, Estimate]]:
        """The choice of the first minus the choice of the second of each pair, by quantity, with
        limits that hold for all pairs together.

        Parameters
        ----------
        pairs : sequence of (str, str)

        Returns
        -------
        dict of dict of Estimate
            By pair and quantity; without pairs of which either chose nothing.
        """
        standing = self._standing(pairs)
        level = level_of(len(standing))
        return {pair: differences_of(*sides, level) for pair, sides in standing.items()}

    def trip_cost_differences(
        self, pairs: Sequence[tuple[str, str]]
    ) -> dict[tuple[str, str], Estimate]:
        """What false trips cost a year more with the choice of the first of each pair, with limits
        that hold for all pairs together.

        Parameters
        ----------
        pairs : sequence of (str, str)

        Returns
        -------
        dict of Estimate
            By pair; without those of which either chose nothing or weighs no costs.
        """
        standing = self._standing(pairs)
        level = level_of(len(standing))
        found = {pair: trip_cost_difference(*sides, level) for pair, sides in standing.items()}
        return {pair: gap for pair, gap in found.items() if gap is not None}

    def _standing(
        self, pairs: Sequence[tuple[str, str]]
    ) -> dict[tuple[str, str], tuple[Side, Side]]:
        """The pairs of which both chose something."""
        sides = {name: side for name in self.outcomes if (side := self._side(name)) is not None}
        return {
            (one, other): (sides[one], sides[other])
            for one, other in pairs
            if one in sides and other in sides
        }

    def _side(self, name: str) -> Side | None:
        outcome = self.outcomes[name]
        if outcome.chosen is None or outcome.fresh is None:
            return None
        return Side(
            outcome.study,
            outcome.fresh.strata,
            outcome.fresh.settings.index(outcome.chosen),
            outcome.chosen,
        )


def run_alternatives(
    studies: Mapping[str, Study],
    *,
    workers: int | Workers | None = None,
    progress: Progress = silent,
    keep_samples: KeepRows | None = None,
) -> Alternatives:
    """Run every study, then bring their independent samples to one round.

    Parameters
    ----------
    studies : mapping of Study
        By name.
    workers : int or Workers, optional
    progress : Progress, optional
        Names the study.
    keep_samples : KeepRows, optional
        Takes the samples of each study's selection sample, chunk by chunk; a part is a study.

    Returns
    -------
    Alternatives

    Raises
    ------
    StudyError
        As of `run`.
    """
    crew = workers_of(workers)
    outcomes = {
        name: run(
            study,
            workers=crew,
            progress=named_progress(progress, name),
            keep_samples=of_part(keep_samples, name),
        )
        for name, study in studies.items()
    }
    rounds = [
        o.fresh.round_ for o in outcomes.values() if o.chosen is not None and o.fresh is not None
    ]
    last = max(rounds, default=0)
    return Alternatives(
        {
            name: _at_round(outcome, last, crew, named_progress(progress, name))
            for name, outcome in outcomes.items()
        }
    )


def _at_round(outcome: Outcome, round_: int, workers: Workers, tell: Progress) -> Outcome:
    """The outcome with its independent sample drawn again at another round, if it is of an earlier
    one; the choice stands."""
    fresh = outcome.fresh
    if outcome.chosen is None or fresh is None or fresh.round_ == round_:
        return outcome
    again = in_all_assumption_sets(
        outcome.study,
        fresh.lattices,
        round_,
        workers,
        tell,
        outcome.first.known,
        outcome.sizes,
        foremost=fresh.foremost,
    )
    more = () if again.keeps_to_policy(outcome.chosen) else (Incident.MISSES_LIMIT,)
    return replace(outcome, fresh=again, notes=(*outcome.notes, *more))
