"""Why a candidate may not be chosen, what a difference shows, what weighted samples are worth and
how samples without a result count: in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, TypeVar

from montecarlo.engine.guard import EFFECTS, ENERGY, ROWS, WEIGHTED
from montecarlo.estimates.rare import COMMON, FEW, Trust, Why
from montecarlo.estimates.refusals import NoneUsable, Refusal, Rule
from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities.wording import listed
from montecarlo.sampling.stratum import Side
from studies.report.numbers import figures, percent
from studies.report.words import VERDICTS, counted

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.frames.choosing import Hinge

SHORT = {
    Rule.ON_LOAD: "operates on load",
    Rule.NO_LOAD_RESULT: "no load gave a result",
    Rule.KNEE: "breaks V_k >= 2 V_s",
    Rule.FALSE_TRIPS: "upper limit of p_false above {0.limit:g}",
    Rule.FALSE_PER_YEAR: "upper limit of false trips a year above {0.limit:g}",
    Rule.EVENT: "upper limit of p_false in {0.event} above {0.limit:g}",
    Rule.RADIUS: "breaks the limit within policy.least_radius = {0.limit:g}",
    Rule.ASSUMPTION_SET: "not in every assumption set",
}
WORDED = ("verdict", "missed_verdict", "false_verdict", "note", "widened_note")  # columns
Told = TypeVar("Told", bound=Refusal | NoneUsable)
FRESH = "it did not keep to the policy on an independent sample"

TRUST = {
    Why.GOOD: "good",
    Why.MAGNITUDE: "order of magnitude: below 1e-6",
    Why.FEW: "rests on {:.0f} effective hits; {few:.0f} are needed",
    Why.ONE: "one sample is {:.0%} of it",
    Why.LOST: "unresolved samples are above a tenth of it",
    Why.NOTHING: "nothing seen: only an upper limit",
    Why.COMMON: "counted: above {common:g}",
    Why.CONTRADICTED: "counts disagree by {:.1f} standard errors",
}
FORETOLD = "some {:.0f} effective hits expected from the selection sample; {few:.0f} are needed"
# What each sample without a result counts as
COUNTED_AS = {
    Side.INTERNAL: "missed in the upper limit of p, detected in the lower one, no part of p",
    Side.EXTERNAL: "operated in the upper limit of p, restrained in the lower one, no part of p",
    Side.STATE: "no part of the share that operates",
    ENERGY: "no part of means and quantiles",
    EFFECTS: "the mean of the others",
    ROWS: "neither missed nor tripped",
    WEIGHTED: (
        "operated in the upper limit of p, by the upper limit of their own probability; restrained"
        " in the lower one, no part of p"
    ),
}


def told(refusals: Iterable[Told]) -> list[Told]:
    """Those that a table's cell names: the knee rule where the load does not refuse already, of
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
        f"none seen; about {one.samples:,} samples without one would show the limit"
        for one in refusals
        if isinstance(one, Refusal) and one.samples
    ]
    return parts


def note_text(refusals: Iterable[Refusal | NoneUsable]) -> str:
    """The same in one cell; empty for a candidate that may be chosen."""
    return "; ".join(note_parts(refusals))


def _none_usable(found: NoneUsable) -> str:
    everywhere = " in every assumption set" if found.in_assumption_sets else ""
    return (
        f"none of {counted(found.candidates, 'candidate')} is usable{everywhere}: {found.on_load}"
        " operate on load, the others break V_k >= 2 V_s"
    )


def because(hinge: Hinge) -> str:
    """Why the next better candidate was refused, as the end of a sentence."""
    parts = [_clause(one) for one in hinge.refusals if one.rule is not Rule.EVENT]
    if events := [one for one in hinge.refusals if one.rule is Rule.EVENT]:
        found = listed(f"{percent(one.value)} in {one.event}" for one in events)
        limit = percent(events[0].limit)
        parts.append(
            f"its false trips are bounded by {found}, and the policy allows {limit} in each kind of"
            " event"
        )
    if not parts:
        return FRESH
    names = listed(f'"{name}"' for name in hinge.assumption_sets)
    where = f", refused in {names}" if names else ""
    batch = " in the selection sample" if hinge.own_batch else ""
    return f"{listed(parts)}{where}{batch}"


def _clause(refusal: Refusal) -> str:
    if refusal.rule is Rule.ON_LOAD:
        return f"it operates in {percent(refusal.value)} of the sampled loads"
    if refusal.rule is Rule.NO_LOAD_RESULT:
        return "no sampled load gave a result"
    if refusal.rule is Rule.KNEE:
        return "its setting drives more than half the knee voltage through its relay circuit"
    if refusal.rule is Rule.RADIUS:
        return (
            f"with an input {refusal.limit:g} half-widths off, its false trips are bounded by"
            f" {figures(refusal.value, 2)} times the policy's limit"
        )
    found, allowed = percent(refusal.value), percent(refusal.limit)
    if refusal.rule is Rule.FALSE_PER_YEAR:
        found, allowed = f"{refusal.value:.2g} a year", f"{refusal.limit:g} a year"
    few = "; none was seen, so more samples may admit it" if refusal.samples else ""
    return f"its false trips are bounded by {found}, and the policy allows {allowed}{few}"


def trust_text(trust: Trust) -> str:
    """What speaks for weighted samples or against them."""
    text = FORETOLD if trust.why is Why.FEW and trust.foretold else TRUST[trust.why]
    return text.format(trust.value, few=FEW, common=COMMON)


def in_words(frame: pd.DataFrame) -> pd.DataFrame:
    """A table as it is written: `refusals` become the column `note`, and verdicts, notes and ways
    of counting their words."""
    if "refusals" in frame:
        notes = frame["refusals"].map(note_text)
        frame = frame.assign(refusals=notes).rename(columns={"refusals": "note"})
    for name in frame.columns.intersection(WORDED):
        frame = frame.assign(**{name: frame[name].map(_words)})
    if "counted_as" in frame:
        frame = frame.assign(counted_as=frame["counted_as"].map(COUNTED_AS))
    return frame


def _words(value: Any) -> Any:
    """Of a verdict or a note; some are texts already."""
    if isinstance(value, Trust):
        return trust_text(value)
    if isinstance(value, Verdict):
        return VERDICTS[value]
    return "" if value is None else value
