"""Schemes side by side, each at its own best setting: what each is, how they differ, what one
misses and another catches. All on the installations and events of one fresh batch."""

from __future__ import annotations

import math
from itertools import permutations
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.estimates.assemble import Gathered, weighted
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.compare import differences, level_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.paired import Half, paired
from montecarlo.frames.choosing import nearest
from montecarlo.frames.closest import none_usable
from montecarlo.frames.limits import difference_columns, with_limits
from montecarlo.frames.result import Result
from montecarlo.study.axes import KEYS, Setting
from studies.report.refusals import note_text

if TYPE_CHECKING:
    import pandas as pd

ALL_TYPES = "all in scope"
FIGURES = (
    *with_limits("p_missed", "p_false"),
    "p_false_bound",
    "p_false_from",
    "missed_per_year",
    "false_per_year",
    "protected_median",
    "protected_p05",
    "protected_p95",
)
MAYBE = (
    *with_limits("p_missed_all"),
    *with_limits("cost_per_year"),
    "p_backup_only",
    *with_limits("p_nobody"),
    "nobody_per_year",
    "worst_assumption_set",
    "worst_p_missed",
    "worst_cost_per_year",
    "worst_p_false",
    "worst_p_false_bound",
)


def scheme_rows(result: Result) -> pd.DataFrame:
    """A row a scheme, in the study's order: its best setting and what that is worth, as in
    `candidates`; without one empty, and `note` says why of the candidate nearest to the policy's
    limit."""
    import pandas as pd

    frame = result.candidates
    shown = ["candidate", *KEYS, *FIGURES, *(name for name in MAYBE if name in frame)]
    rows: list[dict[str, Any]] = []
    for scheme, best in result.outcome.best.items():
        own = frame[frame["scheme"] == scheme]
        judged = {
            "scheme": scheme,
            "candidates": len(own),
            "chosen": best in {result.outcome.chosen} - {None},
        }
        if best is None:
            rows.append(judged | {"has_best": False, "note": _why_none(own)})
        else:
            row = frame.iloc[result.outcome.settings.index(best)]
            rows.append(
                judged | {name: row[name] for name in shown} | {"has_best": True, "note": ""}
            )
    columns = ["scheme", "candidate", "has_best", *shown[1:], "candidates", "chosen", "note"]
    table = pd.DataFrame(rows).reindex(columns=columns)
    return table.astype({"candidate": "Int64"})


def _why_none(own: pd.DataFrame) -> str:
    """Why no candidate of a scheme may be chosen."""
    if (number := nearest(own)) is None:
        return note_text([none_usable(own)])
    note = note_text(own.set_index("candidate").loc[number, "refusals"])
    return (
        f"nearest to the limit is no. {number}:"
        f" {note or 'it missed the limit on fresh random numbers'}"
    )


# --- differences --------------------------------------------------------------


def difference_rows(outcome: Outcome) -> pd.DataFrame:
    """A row an ordered pair of schemes and quantity: `scheme` minus `minus`, paired, with limits
    that hold for all pairs together with 95 %, and what they show. p_nobody, with a back-up: what
    neither it nor the scheme catches."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    standing = _standing(outcome)
    level = level_of(math.comb(len(standing), 2))  # the other order is the same pair
    for (one, a), (other, b) in permutations(standing.items(), 2):
        assert outcome.fresh is not None
        settings = outcome.fresh.settings
        at = settings.index(a), settings.index(b)
        gaps = differences(outcome.study, outcome.fresh.strata, *at, level)
        if outcome.study.backup is not None:
            gaps["p_nobody"] = _nobody(outcome, outcome.fresh, *at, level)
        rows += [
            {
                "scheme": one,
                "minus": other,
                "quantity": quantity,
                **difference_columns(gap),
            }
            for quantity, gap in gaps.items()
        ]
    return pd.DataFrame(
        rows, columns=["scheme", "minus", "quantity", "difference", "low", "high", "verdict"]
    )


def _standing(outcome: Outcome) -> dict[str, Setting]:
    """Schemes that have a best setting."""
    return {scheme: best for scheme, best in outcome.best.items() if best is not None}


def _nobody(outcome: Outcome, batch: Batch, one: int, other: int, level: float) -> Estimate:
    weight = weights_of(outcome.study)
    strata = [batch.nobody.get(name, batch.strata[name]) for name in weight.internal]
    return paired(Half(strata, weight.shares, one), Half(strata, weight.shares, other), level)


# --- missed by one, caught by another -----------------------------------------


def caught_rows(outcome: Outcome) -> pd.DataFrame:
    """A row an ordered pair of schemes and fault type, and one of all types: P(missed by one and
    caught by the other) with 95 % limits, of the faults of that type, and how many a year."""
    import pandas as pd

    best = _standing(outcome)
    columns = ["missed_by", "caught_by", "type", "samples", *with_limits("p"), "per_year"]
    if outcome.fresh is None or len(best) < 2:
        return pd.DataFrame(columns=columns)
    batch, weight = outcome.fresh, weights_of(outcome.study)
    yearly = weight.internal_per_year * weight.in_scope
    strata = [batch.caught[name] for name in weight.internal]
    found = [
        (stratum.name.kind, _samples(stratum), share, stratum.estimate())
        for stratum, share in zip(strata, weight.shares, strict=True)
    ]
    found.append(
        (ALL_TYPES, sum(map(_samples, strata)), 1.0, Estimate(*weighted(strata, weight.shares)))
    )
    rows = []
    for one, other in permutations(best, 2):
        place = batch.paired.index(best[one]) * len(batch.paired) + batch.paired.index(best[other])
        rows += [
            (
                one,
                other,
                kind,
                samples,
                each.p[place],
                each.low[place],
                each.high[place],
                yearly * share * each.p[place],
            )
            for kind, samples, share, each in found
        ]
    return pd.DataFrame(rows, columns=columns)


def _samples(stratum: Gathered) -> int:
    return int(np.sum(stratum.trials))
