"""Studies that were run side by side: what all kinds of such a comparison show of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from montecarlo.engine.guard import Unresolved, named
from montecarlo.engine.side_by_side import Alternatives
from montecarlo.frames.doubts import Doubt
from montecarlo.frames.limits import with_limits
from montecarlo.frames.result import Result
from montecarlo.frames.unresolved import unresolved_frame
from montecarlo.study.description import Study
from montecarlo.study.read import digest

if TYPE_CHECKING:
    import pandas as pd

COST = with_limits("cost_per_year")


@dataclass(frozen=True, eq=False)
class Several:
    """The tables of a finished comparison, as pandas frames made when first asked for. `column`:
    what one of the studies is called in them."""

    study: Study
    alternatives: Alternatives
    column: ClassVar[str]

    @cached_property
    def results(self) -> dict[str, Result]:
        """Each one as a study of its own."""
        return {name: Result(outcome) for name, outcome in self.alternatives.outcomes.items()}

    @cached_property
    def candidates(self) -> pd.DataFrame:
        """The candidates of all: `Result.candidates` with a first column that says whose."""
        return self.joined("candidates")

    def joined(self, table: str) -> pd.DataFrame:
        """A table of all results, with a first column that says whose.

        Parameters
        ----------
        table : str
            A property of `Result`.

        Returns
        -------
        DataFrame
        """
        import pandas as pd

        every = pd.concat(
            [
                getattr(result, table).assign(**{self.column: name})
                for name, result in self.results.items()
            ],
            ignore_index=True,
        )
        return every[[self.column, *every.columns.drop(self.column)]]

    @cached_property
    def closest(self) -> pd.DataFrame:
        """`Result.closest` of all, with a first column that says whose."""
        return self.joined("closest")

    @property
    def doubts(self) -> dict[str, tuple[int, tuple[Doubt, ...]]]:
        """Of those that choose something: the candidate's number, and what speaks against it."""
        return {
            name: (result.chosen, result.doubts)
            for name, result in self.results.items()
            if result.chosen is not None
        }

    @property
    def unresolved_rows(self) -> tuple[Unresolved, ...]:
        """Samples without a result of all of them."""
        return tuple(
            row
            for name, result in self.results.items()
            for row in named(result.unresolved_rows, name)
        )

    @cached_property
    def unresolved(self) -> pd.DataFrame:
        """One row a type and batch of each: samples drawn, how many gave no result, why, and how
        they were counted."""
        return unresolved_frame(self.unresolved_rows)

    @property
    def provenance(self) -> dict[str, Any]:
        """As of a single run, with what each of them chose."""
        each = {name: result.provenance for name, result in self.results.items()}
        keys = (
            "chosen",
            "runner_up",
            "doubts",
            "independent_samples",
            "samples",
            "unresolved",
            "notes",
        )
        return {
            **next(iter(each.values())),
            "study_kind": self.study.study.kind,
            "study_digest": digest(self.study),
            **{key: {name: record[key] for name, record in each.items()} for key in keys},
        }


def choice_columns(result: Result, names: Iterable[str]) -> dict[str, Any]:
    """Some columns of the chosen candidate, blank without one.

    Parameters
    ----------
    result : Result
    names : iterable of str
        Of `Result.candidates`.

    Returns
    -------
    dict
        Values by name.
    """
    row: dict[str, Any] = {"scheme": ""}
    if result.chosen is not None:
        rows = result.candidates.set_index("candidate", drop=False)
        row = rows.loc[result.chosen].to_dict()
    return {name: row.get(name, np.nan) for name in names}
