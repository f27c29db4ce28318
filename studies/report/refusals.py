"""Why a candidate may not be chosen, and what a difference shows, in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, TypeVar

from montecarlo.estimates.rare import Trust, Why
from montecarlo.estimates.refusals import NoneUsable, Refusal, Rule
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.rare import verdict
from montecarlo.quantities.wording import listed
from studies.report.numbers import percent
from studies.report.words import VERDICTS

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.frames.choosing import Hinge

__all__ = ["because", "in_words", "note_parts", "note_text", "told"]

SHORT = {
    Rule.ON_LOAD: "operates on load",
    Rule.NO_LOAD_RESULT: "no load gave a result",
    Rule.KNEE: "breaks V_k >= 2 V_s",
    Rule.FALSE_TRIPS: "p_false bound above {0.limit:g}",
    Rule.FALSE_PER_YEAR: "false trips a year: bound above {0.limit:g}",
    Rule.EVENT: "p_false bound of {0.event} above {0.limit:g}",
    Rule.SCENARIO: "not in every scenario",
}
Told = TypeVar("Told", bound=Refusal | NoneUsable)
FRESH = "it did not keep to the policy on fresh random numbers"


def told(refusals: Iterable[Told]) -> list[Told]:
    """Those that a table's cell tells: the knee rule where the load does not refuse already, of
    kinds of event the one with the largest bound."""
    refusals = list(refusals)
    events = [one for one in refusals if isinstance(one, Refusal) and one.rule is Rule.EVENT]
    on_load = {Rule.ON_LOAD, Rule.NO_LOAD_RESULT} & {one.rule for one in refusals}
    worst = max(events, key=lambda one: one.value, default=None)
    return [
        one
        for one in refusals
        if one is worst or one.rule is not Rule.EVENT
        if not (one.rule is Rule.KNEE and on_load)
    ]


def note_parts(refusals: Iterable[Refusal | NoneUsable]) -> list[str]:
    """A few words for each rule that refuses a candidate."""
    refusals = list(refusals)
    parts = [
        _none_usable(one) if isinstance(one, NoneUsable) else SHORT[one.rule].format(one)
        for one in told(refusals)
    ]
    parts += [
        f"none seen, about {one.samples} samples without one would show the limit"
        for one in refusals
        if isinstance(one, Refusal) and one.samples
    ]
    return parts


def note_text(refusals: Iterable[Refusal | NoneUsable]) -> str:
    """The same in one cell; empty for a candidate that may be chosen."""
    return "; ".join(note_parts(refusals))


def _none_usable(found: NoneUsable) -> str:
    everywhere = " in every scenario" if found.in_scenarios else ""
    return (
        f"none of {found.candidates} candidates is usable{everywhere}: {found.on_load} operate on"
        " load, the others break V_k >= 2 V_s"
    )


def because(hinge: Hinge) -> str:
    """Why the next better candidate was refused, as the end of a sentence."""
    parts = [_clause(one) for one in hinge.refusals if one.rule is not Rule.EVENT]
    if events := [one for one in hinge.refusals if one.rule is Rule.EVENT]:
        found = listed(f"{percent(one.value)} in {one.event}" for one in events)
        limit = percent(events[0].limit)
        parts.append(
            f"its false trips are bounded by {found} and the policy allows {limit} in each kind of"
            " event"
        )
    if not parts:
        return FRESH
    names = listed(f'"{name}"' for name in hinge.scenarios)
    where = f" (refused in {names})" if names else ""
    batch = " in the study's own batch" if hinge.own_batch else ""
    return f"{listed(parts)}{where}{batch}"


def _clause(refusal: Refusal) -> str:
    if refusal.rule is Rule.ON_LOAD:
        return f"it operates in {percent(refusal.value)} of the sampled loads"
    if refusal.rule is Rule.NO_LOAD_RESULT:
        return "no sampled load gave a result"
    if refusal.rule is Rule.KNEE:
        return "its setting drives more than half the knee voltage through its leg"
    found, allowed = percent(refusal.value), percent(refusal.limit)
    if refusal.rule is Rule.FALSE_PER_YEAR:
        found, allowed = f"{refusal.value:.2g} a year", f"{refusal.limit:g} a year"
    few = ", though none was seen: more samples may admit it" if refusal.samples else ""
    return f"its false trips are bounded by {found} and the policy allows {allowed}{few}"


def in_words(frame: pd.DataFrame) -> pd.DataFrame:
    """A table as it is written: `refusals` become the column `note`, verdicts and what speaks
    against a weighted estimate their words."""
    if "refusals" in frame:
        notes = frame["refusals"].map(note_text)
        frame = frame.assign(refusals=notes).rename(columns={"refusals": "note"})
    if "verdict" in frame:
        frame = frame.assign(verdict=frame["verdict"].map(_verdict))
    if "widened_note" in frame:
        frame = frame.assign(widened_note=frame["widened_note"].map(_trust))
    return frame


def _verdict(value: Any) -> Any:
    """Words of a paired difference; other verdicts are texts already."""
    return VERDICTS[value] if isinstance(value, Verdict) else value


def _trust(trust: Trust | None) -> str:
    return "" if trust is None or trust.why is Why.GOOD else verdict(trust)
