"""How firm the choice is, in words: against the runner-up and the setting in service, against what lies a step away,
and which rule kept the next better candidate out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.quantities.wording import listed
from montecarlo.report.choosing import ASKED, SAME
from montecarlo.report.look import percent
from montecarlo.report.words import scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result

__all__ = ["against_others", "around", "hinge_text", "no_false_trip"]

WHAT = {"p_missed": "missed faults", "p_false": "false trips"}


def against_others(result: Result) -> str:
    """The paired differences of `comparison`, in percentage points."""
    rows = result.candidates.set_index("candidate")
    texts = []
    for (pair, one, other), gaps in result.comparison.groupby(["pair", "candidate", "minus"], sort=False):
        text = f"{pair}: " + ", ".join(map(_gap, gaps.to_dict("records")))
        if pair == ASKED:
            batch = "the fresh batch" if (gaps["batch"] == 2).all() else "the study's own batch"
            text = f"no. {one} minus no. {other}{text.removeprefix(ASKED)} (on {batch})"
        if pair == "chosen minus runner-up":
            row = rows.loc[other].to_dict()
            head = f"The runner-up is no. {other}, {scheme_name(row['scheme'])}: {setting_text(row)}"
            every = (gaps["verdict"] == SAME).all()
            texts.append(f"{head}; {'the two are not distinguishable at 95 %, ' if every else ''}{text}.")
        else:
            texts.append(f"{text[0].upper()}{text[1:]}.")
    return f"{' '.join(texts)} Differences are paired, in percentage points (95 % limits)." if texts else ""


def _gap(row: Mapping[str, Any]) -> str:
    """A difference with its limits; that it shows nothing is said."""
    what = WHAT[row["quantity"]]
    if row["low"] == row["high"] == 0:
        return f"{what} alike in every sample"
    change, low, high = (f"{100 * row[name]:+.3g}" for name in ("difference", "low", "high"))
    return f"{what} {change} ({low} to {high}{', ' + SAME if row['verdict'] == SAME else ''})"


def around(neighbours: pd.DataFrame) -> str:
    """Which candidates one step away are no different from the chosen one, as far as the samples show."""
    if not len(neighbours):
        return ""
    same = neighbours[neighbours["verdict"] == SAME]
    found = [f"in {what} no. {listed(map(str, numbers))}" for quantity, what in WHAT.items()
             if (numbers := list(same.loc[same["quantity"] == quantity, "candidate"]))]
    return "One step of a grid away " + (f"and not distinguishable from it at 95 %: {'; '.join(found)}." if found else
                                         "every candidate is distinguishable from it at 95 %.")


def hinge_text(result: Result) -> str:
    """The rule that decided."""
    hinge = result.hinge
    if hinge is None:
        return "No candidate misses less, so no rule of the policy decides the choice."
    row = result.candidates.set_index("candidate").loc[hinge.candidate].to_dict()
    return (f"What the choice hinges on: no. {hinge.candidate} ({scheme_name(row['scheme'])}: {setting_text(row)}) is "
            f"the next that misses less, {percent(hinge.p_missed, 3)}; it is refused because {hinge.reason} (study's "
            "own batch).")


def no_false_trip(result: Result) -> str:
    """How likely the chosen setting and the one in service stay without a false trip for the policy's years."""
    frame = result.candidates.set_index("candidate")
    who = dict.fromkeys(frame.index[frame["present"]], "the present one") | {result.chosen: "the chosen setting"}
    texts = [f"with {words} {_likely(frame.loc[number].to_dict())}" for number, words in reversed(who.items())]
    return f"No false trip in {result.study.policy.years:g} years, at a constant rate: {', '.join(texts)}."


def _likely(row: Mapping[str, Any]) -> str:
    if math.isnan(row["p_no_false_trip"]):
        return "unresolved"
    p, low, high = (percent(row[f"p_no_false_trip{end}"], 3) for end in ("", "_low", "_high"))
    if row["p_false"] == 0:
        return f"probability at least {low} (none seen)"
    return f"probability {p} ({low.removesuffix(' %')} to {high})"
