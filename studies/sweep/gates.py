"""What gates buy and what they cost, as a table and in a few sentences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from montecarlo.frames.gates import QUANTITY, fastest, gate_rows
from montecarlo.frames.result import Result
from montecarlo.sampling.stratum import EVOLVING, Side
from montecarlo.study.axes import Setting
from studies.protocol import Part
from studies.report.blocks import items
from studies.report.numbers import figures, percent
from studies.sweep.frames import of_interest

if TYPE_CHECKING:
    import pandas as pd

KEYS = ["gate", "type"]
LAST = ["looked_at", "candidate_with", "candidate_without", "batch"]


def without_gate(result: Result) -> Setting | None:
    """The setting at which gates are shown: the one of interest without a gate, with the least
    delay; None where no candidate has a gate."""
    number = of_interest(result)
    if not result.study.candidates.gates_in_use or number is None:
        return None
    return fastest(
        result.outcome,
        result.outcome.settings[number - 1],
    )


def gates_part(result: Result, without: Setting | None, effects: pd.DataFrame | None) -> Part:
    """Table and sentences of what gates change.

    Parameters
    ----------
    result : Result
    without : Setting or None
        As `without_gate` gave it.
    effects : DataFrame or None
        Of `gate_effects`, at that setting.

    Returns
    -------
    Part
    """
    if without is None or effects is None:
        return Part()
    rows = gate_rows(result.outcome, without)
    if not len(rows):
        return Part()
    frame = rows.merge(
        effects,
        on=KEYS,
        how="left",
        sort=False,
    )
    frame = frame[[*(name for name in frame if name not in LAST), *LAST]]
    allowed_s = result.study.internal_faults.allowed_time_s
    return Part(
        {"gates": frame},
        text=tuple(items(sentences(frame, allowed_s))),
    )


def sentences(frame: pd.DataFrame, allowed_s: float) -> Iterator[str]:
    """What each gate takes off the event that it helps most, and what it costs the fault that it
    hurts most.

    Parameters
    ----------
    frame : DataFrame
        gates.csv.
    allowed_s : float

    Yields
    ------
    str
        A paragraph a gate.
    """
    for name, own in frame.groupby("gate", sort=False):
        outside = own[own["quantity"] == QUANTITY[Side.EXTERNAL]]
        inside = own[own["quantity"] == QUANTITY[Side.INTERNAL]]
        told = [_bought(str(name), outside)] if len(outside) else []
        yield " ".join([*told, *_paid(inside, allowed_s)])


def _bought(gate: str, outside: pd.DataFrame) -> str:
    most = outside.loc[outside["difference"].idxmin()]
    if not most["difference"] < 0:
        return f"The gate {gate} takes nothing off p_false of any event."
    return (
        f"The gate {gate} takes p_false of {most['type']} from {percent(most['p_without'])} to"
        f" {_rest(most)}."
    )


def _rest(row: pd.Series[Any]) -> str:
    """p with the gate; where none was seen, the limit."""
    if row["p_with"] == 0:
        return f"none seen, fewer than {percent(row['p_with_high'])}"
    return percent(row["p_with"])


def _paid(inside: pd.DataFrame, allowed_s: float) -> Iterator[str]:
    known = inside[inside["p_lost"].notna()]
    if not len(known):
        return
    worst = known.loc[known["p_lost"].idxmax()]
    if worst["type"] == EVOLVING.kind:
        fault = "An internal fault after an external one"
    else:
        fault = f"A fault of the type {worst['type']}"
    lost = f"{percent(worst['p_lost'])} are not detected within {allowed_s:g} s"
    if worst["p_lost"] == 0 and not known["added_delay_p95_s"].max() > 0:
        yield "No internal fault that was looked at is detected later."
        return
    if not worst["added_delay_median_s"] >= 0:
        yield f"{fault} is then not detected within {allowed_s:g} s."
        return
    later = f"{figures(1000 * worst['added_delay_median_s'], 2)} ms later (median)"
    yield f"{fault} is then detected {later}; {lost}."
