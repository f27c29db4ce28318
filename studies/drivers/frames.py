"""Tables of a study of drivers: tidy frames, a row an input and what it is asked about."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.verdicts import verdict_of
from montecarlo.frames.limits import limit_columns, with_limits
from montecarlo.sampling.inputs import list_inputs
from studies.drivers.answers import Drivers

if TYPE_CHECKING:
    import pandas as pd

KNOWN = {
    1: "in which quarter of its range it lies",  # by columns (estimates.drivers.worth)
    6: "whether the mean of the six CTs is low or high, and whether their two ends differ much",
    4: "whether the phase elements' mean and the earth element's are low or high",
}


def _share(name: str, found: Estimate, at: int) -> dict[str, float]:
    """A share of a variance: by chance an estimate or its limits lie below 0 or above 1, where no
    share can."""
    return {key: min(max(value, 0.0), 1.0) for key, value in limit_columns(name, found, at).items()}


def driver_rows(found: Drivers) -> pd.DataFrame:
    """Sobol' effects: a row an output and input (correlated ones in one row), the largest total
    effect first."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    for part in found.effects:
        mine = [
            {
                "side": part.stratum.side.value,
                "type": part.stratum.kind,
                "output": part.output,
                "input": group.name,
                **_share("first", part.effects.first, k),
                **_share("total", part.effects.total, k),
                "rows": part.rows,
                "at_floor_share": part.floored,
                "unresolved_share": part.lost,
            }
            for k, group in enumerate(part.groups)
        ]
        rows += sorted(mine, key=lambda row: -row["total"])
    return pd.DataFrame(rows)


def elasticity_rows(found: Drivers) -> pd.DataFrame:
    """How ln p answers to an input's centre and spread, and how far its law among failures lies
    from its own."""
    import pandas as pd

    return pd.DataFrame(
        [
            {
                "quantity": answer.quantity,
                "input": answer.key,
                **limit_columns("by_centre", answer.elasticity.centre),
                **limit_columns("by_spread", answer.elasticity.spread),
                "distance": answer.shift.distance,
                "dead_band": answer.shift.band,
                "beyond_band": bool(answer.shift.distance > answer.shift.band),
                "p": float(found.now[answer.quantity].p),
                "effective_hits": found.effective[answer.quantity],
            }
            for answer in found.answers
        ]
    )


def what_if_rows(found: Drivers) -> pd.DataFrame:
    """Each probability with one input at its centre, or half as uncertain, and the paired
    difference."""
    import pandas as pd

    columns = [
        "input",
        "change",
        "quantity",
        "p_now",
        *with_limits("p_then", "difference"),
        "verdict",
    ]
    return pd.DataFrame(
        [
            {
                "input": each.change.key,
                "change": each.change.what,
                "quantity": each.quantity,
                "p_now": float(found.now[each.quantity].p),
                **limit_columns("p_then", each.then),
                **limit_columns("difference", each.difference),
                "verdict": verdict_of(each.difference),
            }
            for each in found.what_if
        ],
        columns=columns,
    )


def worth_rows(found: Drivers) -> pd.DataFrame:
    """What knowing each installation input would be worth: the result chosen anew for what it is,
    less today's."""
    import pandas as pd

    columns = {item.key: item.columns for item in list_inputs(found.outcome.study)}
    rows: list[dict[str, Any]] = []
    for key, worth in found.worths.items():
        chosen: Mapping[str, int] = {
            f"chosen_{cell}": number + 1 for cell, number in enumerate(worth.chosen, 1)
        }
        rows += [
            {
                "input": key,
                "known": KNOWN[columns[key]],
                "quantity": quantity,
                "today": worth.today[quantity],
                **limit_columns("difference", gap),
                "verdict": verdict_of(gap),
                "difference_found": float(worth.found[quantity].p),
                "difference_flattering": worth.flattering[quantity],
                "chosen_today": worth.chosen_today + 1,
                **chosen,
            }
            for quantity, gap in worth.difference.items()
        ]
    return pd.DataFrame(rows)
