"""Two runs of one study that differ in the CTs' remanence model: what each chooses, and what that
is in the other."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.frames.result import Result

__all__ = ["FIGURES", "compare_models"]

FIGURES = (
    "p_missed",
    "p_missed_low",
    "p_missed_high",
    "p_false",
    "p_false_low",
    "p_false_high",
    "p_false_bound",
    "covered_median",
    "batch",
    "chosen",
    "present",
    "note",
)


def compare_models(one: Result, other: Result) -> pd.DataFrame:
    """For each model, `one`'s first, the rows of the settings that either model chooses and of the
    one in service.

    `chosen` is by the row's own model, `chosen_by_other` by the other one; `batch` 1 where that
    model had no reason to estimate a setting again on fresh numbers."""
    import pandas as pd

    present = [int(number) for number in one.candidates.loc[one.candidates["present"], "candidate"]]
    numbers = list(dict.fromkeys(n for n in (one.chosen, other.chosen, *present) if n is not None))
    settings = one.candidates.columns[
        : one.candidates.columns.get_loc("p_missed")
    ]  # and number and scheme
    frames = []
    for result, rival in ((one, other), (other, one)):
        rows = result.candidates.set_index("candidate", drop=False).loc[
            numbers, [*settings, *FIGURES]
        ]
        rows.insert(0, "remanence_model", result.study.ct.remanence_model)
        rows.insert(
            rows.columns.get_loc("chosen") + 1,
            "chosen_by_other",
            rows["candidate"] == (rival.chosen or 0),
        )
        frames.append(rows)
    return pd.concat(frames, ignore_index=True)
