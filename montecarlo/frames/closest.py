"""Where nothing can be chosen: the candidate of each scheme that comes closest to the policy's
limits, with its figures and the limits that it would meet."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.refusals import NoneUsable
from montecarlo.frames.choosing import by_worst, nearest
from montecarlo.frames.limits import with_limits
from montecarlo.study.axes import KEYS
from montecarlo.study.description import Study

if TYPE_CHECKING:
    import pandas as pd

FIGURES = (*with_limits("p_missed", "p_false"), "p_false_bound")
MAYBE = ("worst_assumption_set", "worst_event", "p_false_each_bound", *with_limits("cost_per_year"))
AFTER = (
    "limit",
    "would_meet",
    "each_limit",
    "would_meet_each",
    "limit_used",
    "candidates",
    "batch",
    "refusals",
)


def closest_rows(study: Study, candidates: pd.DataFrame, without: Iterable[str]) -> pd.DataFrame:
    """The candidate of each scheme that comes closest to the policy's limits.

    Parameters
    ----------
    study : Study
    candidates : DataFrame
        As `Result.candidates` has them.
    without : iterable of str
        The schemes that no setting can be chosen of.

    Returns
    -------
    DataFrame
        A row a scheme; empty figures where none of its candidates is usable. `limit`: the policy's,
        of p_false or of false trips a year. `would_meet`: the least limit of two digits that the
        candidate's bound keeps to. `each_limit`, `would_meet_each`: of each kind of event. `batch`
        2: an independent sample, drawn for a candidate that failed there; 1: the study's own, in
        which it was found.
    """
    import pandas as pd

    frame = by_worst(candidates)
    shown = [*FIGURES, *(name for name in MAYBE if name in frame)]
    rows: list[dict[str, Any]] = []
    for scheme in without:
        own = frame[frame["scheme"] == scheme]
        row: dict[str, Any] = {"scheme": scheme, "candidates": len(own)}
        if (number := nearest(own)) is None:
            rows.append(row | {"refusals": (none_usable(own),)})
            continue
        found = own.set_index("candidate", drop=False).loc[number].to_dict()
        rows.append(row | found | _limits_met(study, found))
    columns = ["scheme", "candidate", *KEYS, *shown, *AFTER]
    if study.policy.p_false_max_each is None:
        columns = [name for name in columns if name not in ("each_limit", "would_meet_each")]
    return (
        pd.DataFrame(rows).reindex(columns=columns).astype({"candidate": "Int64", "batch": "Int64"})
    )


def _limits_met(study: Study, row: dict[str, Any]) -> dict[str, float]:
    """The policy's limits and those that a candidate would meet; NaN where the policy has none."""
    policy, bound = study.policy, row["p_false_bound"]
    limit = policy.p_false_max
    if policy.false_per_year_max is not None:
        limit, bound = policy.false_per_year_max, bound * weights_of(study).events_per_year
    each = policy.p_false_max_each
    return {
        "limit": math.nan if limit is None else limit,
        "would_meet": math.nan if limit is None else two_digits_up(bound),
        "each_limit": math.nan if each is None else each,
        "would_meet_each": math.nan if each is None else two_digits_up(row["p_false_each_bound"]),
    }


def two_digits_up(value: float) -> float:
    """The least number of two digits that is no smaller.

    Parameters
    ----------
    value : float

    Returns
    -------
    float
    """
    if not (math.isfinite(value) and value > 0):
        return value
    rounded = float(f"{value:.1e}")
    return (
        rounded
        if rounded >= value
        else float(f"{rounded + 10.0 ** (math.floor(math.log10(value)) - 1):.1e}")
    )


def none_usable(own: pd.DataFrame) -> NoneUsable:
    """That no candidate of a scheme may be used at all.

    Parameters
    ----------
    own : DataFrame
        Its candidates.

    Returns
    -------
    NoneUsable
    """
    on_load = int((own["load_operates_share"] > 0).sum())
    return NoneUsable(len(own), on_load, "worst_assumption_set" in own)
