"""A study and its alternatives side by side, each at its own best setting, on the same sampled
events."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

from montecarlo.engine.keep import KeepRows
from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.run import Outcome
from montecarlo.engine.side_by_side import run_alternatives
from montecarlo.engine.workers import Workers, workers_of
from montecarlo.estimates.compare import level_of
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.limits import difference_columns, with_limits
from montecarlo.frames.result import Result
from montecarlo.frames.several import COST, Several, choice_columns
from montecarlo.quantities.frozen import thawed
from montecarlo.quantities.wording import shown
from montecarlo.study.assumption_sets import AS_STATED
from montecarlo.study.axes import KEYS
from montecarlo.study.description import Study
from studies.clearing.several import columns, follow, gaps

if TYPE_CHECKING:
    import pandas as pd

OF_CHOICE = (
    "scheme",
    *KEYS,
    *with_limits("p_missed", "p_false"),
    "p_false_bound",
    "missed_per_year",
    "false_per_year",
    *with_limits("p_no_false_trip"),
    "protected_median",
    "protected_p05",
    "protected_p95",
    "outside_scope_per_year",
    "unresolved",
    *COST,
)
DIFFERENCE = ("alternative", "minus", "quantity", "difference", "low", "high", "verdict")


def studies_of(study: Study) -> dict[str, Study]:
    """The study as stated and every alternative of it, by name."""
    return {AS_STATED: study, **dict(study.alternative_studies)}


def run_side_by_side(
    study: Study,
    *,
    workers: int | Workers | None = None,
    progress: Progress = silent,
    keep_samples: KeepRows | None = None,
) -> SideBySide:
    """Run the study as stated and every alternative of it on common random numbers."""
    crew = workers_of(workers)
    ran = run_alternatives(
        studies_of(study), workers=crew, progress=progress, keep_samples=keep_samples
    )
    fresh = [each.fresh.round_ for each in ran.outcomes.values() if each.chosen and each.fresh]
    followed = follow(ran.outcomes, max(fresh, default=1), crew, progress)
    return SideBySide(study, ran, followed)


@dataclass(frozen=True, eq=False)
class SideBySide(Several):
    """Of a study and its alternatives, as stated first; and who clears faults where that is
    asked."""

    clearing: dict[str, ClearingFrames] = field(default_factory=dict)  # of those with a setting
    column: ClassVar[str] = "alternative"

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row an alternative: what it changes, its best setting, and what that is worth on the
        common fresh batch."""
        import pandas as pd

        changes = {
            alternative.name: "; ".join(
                f"{key} = {shown(value)}" for key, value in thawed(alternative.changes).items()
            )
            for alternative in self.study.alternatives
        }
        rows = [
            {
                "alternative": name,
                "changes": changes.get(name, ""),
                "candidates": len(result.candidates),
                "candidate": result.chosen,
                **self._choice(name, result),
                "allowed": _allowed(result.outcome),
            }
            for name, result in self.results.items()
        ]
        frame = pd.DataFrame(rows).astype({"candidate": "Int64"})
        without = frame["cost_per_year"].isna().all()  # a policy that weighs no costs
        return frame.drop(columns=[name for name in COST if without])

    def _choice(self, name: str, result: Result) -> dict[str, Any]:
        row = choice_columns(result, OF_CHOICE)
        return row | (columns(self.clearing[name], row) if name in self.clearing else {})

    @cached_property
    def differences(self) -> pd.DataFrame:
        """One row an alternative and a quantity: its choice minus the choice of the study as
        stated, on the same installations and events, with limits that hold for all alternatives
        together with 95 %. No row where either chooses nothing."""
        import pandas as pd

        pairs = [(name, AS_STATED) for name in self.results if name != AS_STATED]
        found = self.alternatives.differences(pairs)
        trips = self.alternatives.trip_cost_differences(pairs)
        for one, other in found:
            if one in self.clearing and other in self.clearing:
                both = self.clearing[one], self.clearing[other]
                found[one, other] |= gaps(*both, trips.get((one, other)), level_of(len(found)))
        rows = [
            {"alternative": one, "minus": other, "quantity": quantity, **difference_columns(gap)}
            for (one, other), every in found.items()
            for quantity, gap in every.items()
        ]
        return pd.DataFrame(rows, columns=list(DIFFERENCE))


def _allowed(outcome: Outcome) -> bool:
    """Whether the policy allows the choice on the common fresh batch too; false without one."""
    chosen, fresh = outcome.chosen, outcome.fresh
    return chosen is not None and fresh is not None and fresh.keeps_to_policy(chosen)
