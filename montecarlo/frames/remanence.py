"""Two runs of one study that differ in the CTs' remanence model: what each chooses, and what that
is in the other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from montecarlo.frames.limits import with_limits

if TYPE_CHECKING:
    import pandas as pd

FIGURES = (
    *with_limits("p_missed", "p_false"),
    "p_false_bound",
    "covered_median",
    "batch",
    "chosen",
    "present",
    "refusals",
)


class ModelRun(NamedTuple):
    """One of two runs: its remanence model, its candidates, and the number it chose."""

    model: str
    candidates: pd.DataFrame
    chosen: int | None


def compare_models(runs: Sequence[ModelRun]) -> pd.DataFrame:
    """What either model chooses and the setting in service, under both.

    Parameters
    ----------
    runs : sequence of ModelRun
        Two, on the same candidates.

    Returns
    -------
    DataFrame
        For each model, in their order, a row a setting. `chosen` is by the row's own model,
        `chosen_by_other` by the other one; `batch` 1 where that model had no reason to estimate a
        setting again on fresh numbers.
    """
    import pandas as pd

    first = runs[0].candidates
    present = [int(number) for number in first.loc[first["present"], "candidate"]]
    wanted = [*(run.chosen for run in runs), *present]
    numbers = list(dict.fromkeys(number for number in wanted if number is not None))
    settings = first.columns[: first.columns.get_loc("p_missed")]  # and number and scheme
    frames = []
    for run, rival in zip(runs, reversed(runs), strict=True):
        rows = run.candidates.set_index("candidate", drop=False).loc[numbers, [*settings, *FIGURES]]
        rows.insert(0, "remanence_model", run.model)
        by_other = rows["candidate"] == (rival.chosen or 0)
        rows.insert(rows.columns.get_loc("chosen") + 1, "chosen_by_other", by_other)
        frames.append(rows)
    return pd.concat(frames, ignore_index=True)
