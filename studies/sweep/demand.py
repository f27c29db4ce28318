"""A least radius that the policy demands: what it costs, or which input is in the way."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from montecarlo.engine.demand import InTheWay
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.batches import number_of
from montecarlo.frames.choosing import difference_rows
from studies.report.numbers import figures, gap
from studies.report.words import input_name

if TYPE_CHECKING:
    from montecarlo import Result

DIGITS = 3
EVENTS, OF_EVENT = "external_events.", "event's "  # how a key and a name begin
PAIR = "chosen minus the best without the demand"


def demand_text(result: Result) -> Iterator[str]:
    """Of the recommendation: what the demand costs against the best setting without it."""
    outcome, least = result.outcome, result.study.policy.least_radius
    if least is None or outcome.chosen is None or outcome.undemanded is None:
        return
    yield f"It keeps to the limit with the centre of any one input {_off(least)}."
    if outcome.undemanded == outcome.chosen:
        yield "Without this demand the same setting is chosen."
        return
    number = number_of(outcome, outcome.undemanded)
    yield f"Without this demand no. {number} is chosen. {_cost(result)}"
    for one in outcome.in_the_way:
        if one.setting == outcome.undemanded:
            yield _breaks(result, one)
            return


def in_the_way_text(result: Result) -> Iterator[str]:
    """Where nothing is recommended as no setting has the demanded radius."""
    found, least = result.outcome.in_the_way, result.study.policy.least_radius
    assert least is not None
    yield f"No setting keeps to the limit with the centre of every input {_off(least)}."
    yield _breaks(result, min(found, key=lambda one: one.used))
    yield "Narrow that input, lower policy.least_radius, or give coarser candidates."


def _breaks(result: Result, one: InTheWay) -> str:
    """Which input, where, and by how much."""
    place = f"{figures(one.centre, DIGITS)} {one.unit.strip('-')}".rstrip()
    number = number_of(result.outcome, one.setting)
    return (
        f"No. {number} breaks the limit with the {_name(one.key)} at"
        f" {place}: the upper limit of its false trips is {figures(one.used, 2)} times the"
        " policy's."
    )


def _name(key: str) -> str:
    """Of an input, with its event."""
    name = input_name(key)
    if not key.startswith(EVENTS):
        return name
    event = key.removeprefix(EVENTS).rpartition(".")[0]
    return f"{name.removeprefix(OF_EVENT)} of {event}"


def _off(least: float) -> str:
    return f"{least:g} half-width{'' if least == 1 else 's'} off (policy.least_radius)"


def _cost(result: Result) -> str:
    """In missed faults, or in what the policy wants small."""
    outcome = result.outcome
    assert outcome.chosen is not None
    assert outcome.undemanded is not None
    frame = difference_rows(outcome, [(PAIR, outcome.chosen, outcome.undemanded)])
    (row,) = frame[frame["quantity"] == "p_missed"].to_dict("records")
    if row["verdict"] is Verdict.ALIKE:
        return "The demand costs no significant difference in missed faults."
    size, limits = gap(row, unit=" points")
    return f"The demand costs {size} of missed faults ({limits})."
