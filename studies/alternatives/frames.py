"""A study and its variants side by side, each at its own best setting, on the same sampled
events."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from montecarlo.engine.progress import Progress
from montecarlo.engine.side_by_side import run_variants
from montecarlo.engine.workers import Workers
from montecarlo.frames.limits import difference_columns, with_limits
from montecarlo.frames.result import Result
from montecarlo.frames.several import COST, Several
from montecarlo.quantities.frozen import thawed
from montecarlo.quantities.wording import shown
from montecarlo.study.axes import KEYS
from montecarlo.study.description import Study
from montecarlo.study.scenarios import AS_STATED

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["SideBySide", "run_side_by_side"]

OF_CHOICE = (
    "scheme",
    *KEYS,
    *with_limits("p_missed", "p_false"),
    "p_false_bound",
    "missed_per_year",
    "false_per_year",
    *with_limits("p_no_false_trip"),
    "covered_median",
    "covered_p05",
    "covered_p95",
    "unreachable_per_year",
    "unresolved",
    *COST,
)
DIFFERENCE = ("variant", "minus", "quantity", "difference", "low", "high", "verdict")


def run_side_by_side(
    study: Study, *, workers: int | Workers | None = None, progress: Progress | None = None
) -> SideBySide:
    """Run the study as stated and every variant of it on common random numbers."""
    studies = {AS_STATED: study, **dict(study.variant_studies)}
    return SideBySide(study, run_variants(studies, workers=workers, progress=progress))


class SideBySide(Several):
    """Of a study and its variants, as stated first."""

    column: ClassVar[str] = "variant"

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a variant: what it changes, its best setting, and what that is worth on the
        common fresh batch."""
        import pandas as pd

        changes = {
            AS_STATED: "",
            **{
                variant.name: "; ".join(
                    f"{key} = {shown(value)}" for key, value in thawed(variant.changes).items()
                )
                for variant in self.study.variants
            },
        }
        rows = [
            {
                "variant": name,
                "changes": changes[name],
                "candidates": len(result.candidates),
                **_choice(result),
                "allowed": _allowed(result),
            }
            for name, result in self.results.items()
        ]
        frame = pd.DataFrame(rows)
        frame.insert(
            3,
            "candidate",
            pd.array([result.chosen for result in self.results.values()], dtype="Int64"),
        )
        without = frame["cost_per_year"].isna().all()  # a policy that weighs no costs
        return frame.drop(columns=[name for name in COST if without])

    @cached_property
    def differences(self) -> pd.DataFrame:
        """One row a variant and a quantity: its choice minus the choice of the study as stated, on
        the same plants and events, with limits that hold for all variants together with 95 %. No
        row where either chooses nothing."""
        import pandas as pd

        pairs = [(name, AS_STATED) for name in self.results if name != AS_STATED]
        return pd.DataFrame(
            [
                {
                    "variant": name,
                    "minus": AS_STATED,
                    "quantity": quantity,
                    **difference_columns(gap),
                }
                for (name, _), gaps in self.variants.differences(pairs).items()
                for quantity, gap in gaps.items()
            ],
            columns=list(DIFFERENCE),
        )


def _choice(result: Result) -> dict[str, Any]:
    """Its best setting, from the fresh batch; blank without one."""
    row: dict[str, Any] = (
        {}
        if result.chosen is None
        else result.candidates.set_index("candidate").loc[result.chosen].to_dict()
    )
    return {key: row.get(key, "" if key == "scheme" else np.nan) for key in OF_CHOICE}


def _allowed(result: Result) -> bool:
    """Whether the policy allows the choice on the common fresh batch too; false without one."""
    outcome = result.outcome
    return (
        outcome.chosen is not None
        and outcome.fresh is not None
        and outcome.fresh.keeps_to_policy(outcome.chosen)
    )
