"""How far the choice moves under other assumptions: what each assumption set of the policy would
choose by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.run import Outcome
from montecarlo.estimates.choose import Judgement
from montecarlo.estimates.totals import Total
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.batches import Numbers, numbers_of
from montecarlo.frames.limits import limit_columns, with_limits

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (
    "assumption_set",
    "candidate",
    *with_limits("p_missed", "p_false"),
    "p_false_bound",
    "chosen",
    "chosen_p_missed",
    "chosen_p_false",
    "quantity",
    *with_limits("regret"),
    "verdict",
    "batch",
)


def assumption_set_choices(outcome: Outcome) -> pd.DataFrame:
    """A row an assumption set, the study as stated the first: the candidate that it would choose by
    itself and what that is there, and the regret, by how much the study's choice is worse there in
    what the policy wants small. By the selection sample, where all candidates stand. Empty without
    assumption sets.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    first, chosen = outcome.first, outcome.chosen
    if not first.assumption_sets:
        return pd.DataFrame(columns=list(COLUMNS))
    at = None if chosen is None else first.settings.index(chosen)
    numbers = numbers_of(outcome, first.settings)
    rows = [_row(name, judged, at, numbers) for name, judged in first.judgements.items()]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.astype({"candidate": "Int64", "chosen": "Int64"})


def _row(name: str, judged: Judgement, chosen: int | None, numbers: Numbers) -> dict[str, Any]:
    """Of one assumption set; `chosen`: its place."""
    row: dict[str, Any] = {
        "assumption_set": name,
        "batch": 1,
        "quantity": "p_missed" if judged.cost is None else "cost_per_year",
    }
    own = next(iter(judged.order()), None)
    if own is not None:
        row |= {
            "candidate": int(numbers[own]),
            **limit_columns("p_missed", judged.missed, own),
            **limit_columns("p_false", judged.false, own),
            "p_false_bound": float(judged.bound[own]),
        }
    if chosen is not None:
        row |= {
            "chosen": int(numbers[chosen]),
            "chosen_p_missed": float(judged.missed.total[chosen]),
            "chosen_p_false": float(judged.false.total[chosen]),
        }
    if own is not None and chosen is not None:
        row |= _regret(judged.missed if judged.cost is None else judged.cost, chosen, own)
    return row


def _regret(found: Total, chosen: int, own: int) -> dict[str, Any]:
    """The difference with limits from those of the two, as if these were independent; on the same
    random numbers they rise and fall together, so that the limits are wide (MOVER: Zou and Donner,
    Stat. Med. 27, 2008)."""
    if chosen == own:
        return {"regret": 0.0, "regret_low": 0.0, "regret_high": 0.0, "verdict": Verdict.ITSELF}
    total, low, high = (np.asarray(part) for part in found)
    gap = float(total[chosen] - total[own])
    down = float(np.hypot(total[chosen] - low[chosen], high[own] - total[own]))
    up = float(np.hypot(high[chosen] - total[chosen], total[own] - low[own]))
    return {
        "regret": gap,
        "regret_low": gap - down,
        "regret_high": gap + up,
        "verdict": Verdict.APART if gap > down else Verdict.ALIKE,
    }
