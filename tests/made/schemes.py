"""Invented tables of a comparison of schemes, for figures and texts: no engine behind them."""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.estimates.verdicts import Verdict
from studies.schemes.frames import ALL_TYPES
from tests.made import results

if TYPE_CHECKING:
    import pandas as pd

KINDS = ("two_phase_one_earth", "per_phase", "biased", "restricted_earth_fault", "second_cores")
MISSED = (0.156, 0.377, 0.357, 0.373, 0.215)
FALSE = (1.3e-3, 0.0, 4e-4, 0.0, 2e-3)


def schemes(count: int = 5, without: tuple[str, ...] = (), backup: bool = False) -> pd.DataFrame:
    """A row a scheme; those `without` have no setting."""
    import pandas as pd

    frame = results.candidates().iloc[:count].copy()
    frame["scheme"], frame["p_missed"], frame["p_false"] = (
        KINDS[:count],
        MISSED[:count],
        FALSE[:count],
    )
    frame["p_missed_low"], frame["p_missed_high"] = (
        frame["p_missed"] - 0.002,
        frame["p_missed"] + 0.002,
    )
    frame["p_false_low"], frame["p_false_high"] = (
        0.3 * frame["p_false"],
        2 * frame["p_false"] + 1.5e-3,
    )
    frame["p_false_bound"] = 1.8 * frame["p_false"] + 1.2e-3
    if backup:
        frame = frame.assign(p_nobody=0.05, p_nobody_low=0.048, p_nobody_high=0.052)
        frame.loc[
            frame["scheme"] == "restricted_earth_fault",
            ["p_nobody", "p_nobody_low", "p_nobody_high"],
        ] = [0.16, 0.158, 0.162]
    frame["chosen"], frame["has_best"] = frame["scheme"] == KINDS[0], ~frame["scheme"].isin(without)
    frame = frame.drop(columns="refusals").assign(note="")
    numbers = [name for name in frame.columns if frame[name].dtype == float]
    frame.loc[~frame["has_best"], numbers] = np.nan
    frame.loc[~frame["has_best"], "note"] = "operates on load"
    return pd.DataFrame(frame.reset_index(drop=True))


def differences(frame: pd.DataFrame, width: float = 0.003) -> pd.DataFrame:
    """Of the invented schemes, each with limits `width` to either side."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    names = [name for name in ("p_missed", "p_false", "p_nobody") if name in frame]
    for one, other in permutations(frame[frame["has_best"]].to_dict("records"), 2):
        for name in names:
            gap = one[name] - other[name]
            rows.append(
                {
                    "scheme": one["scheme"],
                    "minus": other["scheme"],
                    "quantity": name,
                    "difference": gap,
                    "low": gap - width,
                    "high": gap + width,
                    "verdict": Verdict.ALIKE if abs(gap) <= width else Verdict.APART,
                }
            )
    return pd.DataFrame(rows)


def caught(frame: pd.DataFrame, hidden: float = 0.0) -> pd.DataFrame:
    """What each misses more than the other is caught by the other, and `hidden` beside it."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    for one, other in permutations(frame[frame["has_best"]].to_dict("records"), 2):
        p = max(one["p_missed"] - other["p_missed"], 0.0) + hidden
        for kind, share in (("earth", 1.2), ("phase_phase", 0.0), (ALL_TYPES, 1.0)):
            rows.append(
                {
                    "missed_by": one["scheme"],
                    "caught_by": other["scheme"],
                    "type": kind,
                    "samples": 512,
                    "p": share * p,
                    "p_low": 0.9 * share * p,
                    "p_high": 1.1 * share * p + 0.004,
                    "per_year": 0.01 * share * p,
                }
            )
    return pd.DataFrame(rows)
