"""Two runs of one study that differ in the CTs' remanence model: what each chooses, and what that
is in the other."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from montecarlo.frames.limits import with_limits

if TYPE_CHECKING:
    import pandas as pd

FIGURES = (
    *with_limits("p_missed", "p_false"),
    "p_false_bound",
    "protected_median",
    "batch",
    "chosen",
    "existing",
    "refusals",
)


def compare_models(runs: Mapping[str, tuple[pd.DataFrame, int | None]]) -> pd.DataFrame:
    """What either model chooses and the existing setting, under both.

    Parameters
    ----------
    runs : mapping of (DataFrame, int or None)
        Two, on the same candidates: by the model, its candidates and the number that it chose.

    Returns
    -------
    DataFrame
        For each model, in their order, a row a setting. `chosen` is by the row's own model,
        `chosen_by_other` by the other one; `batch` 1 where that model had no reason to estimate a
        setting again on an independent sample.
    """
    import pandas as pd

    (first, one), (_, other) = runs.values()
    existing = [int(number) for number in first.loc[first["existing"], "candidate"]]
    numbers = [*dict.fromkeys(n for n in (one, other, *existing) if n is not None)]
    settings = first.columns[: first.columns.get_loc("p_missed")]  # and number and scheme
    frames = []
    for (model, (candidates, _)), rival in zip(runs.items(), (other, one), strict=True):
        rows = candidates.set_index("candidate", drop=False).loc[numbers, [*settings, *FIGURES]]
        rows.insert(0, "remanence_model", model)
        by_other = rows["candidate"] == (rival or 0)
        rows.insert(rows.columns.get_loc("chosen") + 1, "chosen_by_other", by_other)
        frames.append(rows)
    return pd.concat(frames, ignore_index=True)
