"""How the choice stands: against runner-up, present setting and neighbours, and what it hinges
on."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.compare import differences, distinguishable, level_of
from montecarlo.estimates.robust import worst_places
from montecarlo.estimates.totals import Total
from montecarlo.quantities import Array
from montecarlo.quantities.wording import listed
from montecarlo.study.budget import limit_of_p_false, rounded_up
from montecarlo.study.candidates import Setting, neighbours
from montecarlo.study.description import Study
from montecarlo.study.scenarios import AS_STATED
from studies.report.numbers import percent

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "ASKED",
    "SAME",
    "Hinge",
    "by_worst",
    "comparison",
    "difference_rows",
    "hinge",
    "nearest",
    "neighbour_rows",
    "note",
    "scenario_rows",
    "worst_columns",
]

COLUMNS = (
    "pair",
    "quantity",
    "candidate",
    "minus",
    "difference",
    "low",
    "high",
    "verdict",
    "batch",
)
ASKED = "asked for"
SAME = "not distinguishable"  # at 95 %, all pairs together: the interval holds 0


class Hinge(NamedTuple):
    """The candidate that is better by the least and was refused: its number; p_missed, or cost a
    year where the policy weighs costs, with its limits; why; all of the batch that the tables have
    it from."""

    candidate: int
    aim: float
    low: float
    high: float
    reason: str
    batch: int


def comparison(outcome: Outcome) -> pd.DataFrame:
    """A row a pair and quantity: one candidate minus another, paired, with limits that hold for all
    pairs together with 95 %, and what they show. The chosen candidate against two others, then the
    pairs of `study.compare`."""
    chosen, others = outcome.chosen, {"runner-up": outcome.runner_up, "present": outcome.present}
    pairs = [
        (f"chosen minus {word}", chosen, other)
        for word, other in others.items()
        if chosen is not None and other is not None and other != chosen
    ]
    settings = outcome.first.settings
    return difference_rows(
        outcome,
        pairs
        + [
            (ASKED, settings[one - 1], settings[other - 1])
            for one, other in outcome.study.study.compare
        ],
    )


def neighbour_rows(outcome: Outcome) -> pd.DataFrame:
    """The same for each neighbour minus the chosen candidate; `pair` names the axis of the step."""
    if outcome.chosen is None:
        return difference_rows(outcome, [])
    around = neighbours(outcome.first.settings, outcome.chosen)
    return difference_rows(
        outcome, [(axis, setting, outcome.chosen) for setting, axis in around.items()]
    )


def difference_rows(
    outcome: Outcome, pairs: Iterable[tuple[str, Setting, Setting]]
) -> pd.DataFrame:
    """The rows of pairs of settings, each with what the pair is called. On the fresh batch where it
    holds both; limits of each quantity hold for all of them together."""
    import pandas as pd

    pairs = [*pairs]
    level = level_of(len({frozenset(pair[1:]) for pair in pairs}))
    numbers = {setting: number for number, setting in enumerate(outcome.first.settings, 1)}
    rows: list[dict[str, Any]] = []
    for words, one, other in pairs:
        batch = _batch_of(outcome, one, other)
        settings = batch.settings
        gaps = differences(
            outcome.study, batch.strata, settings.index(one), settings.index(other), level
        )
        rows += [
            {
                "pair": words,
                "quantity": quantity,
                "candidate": numbers[one],
                "minus": numbers[other],
                "difference": float(gap.p),
                "low": float(gap.low),
                "high": float(gap.high),
                "verdict": "distinguishable" if distinguishable(gap) else SAME,
                "batch": 1 + (batch.round_ > 0),
            }
            for quantity, gap in gaps.items()
        ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _batch_of(outcome: Outcome, one: Setting, other: Setting) -> Batch:
    """The fresh batch where it has both, else the study's own."""
    fresh = outcome.fresh
    return fresh if fresh is not None and {one, other} <= set(fresh.settings) else outcome.first


# --- scenarios ----------------------------------------------------------------


def scenario_rows(outcome: Outcome) -> pd.DataFrame:
    """A row a scenario and candidate of the fresh batch: how it is judged there, whether the policy
    allows it there, and whether the scenario is its worst. Empty without scenarios or fresh batch.
    """
    import pandas as pd

    fresh, numbers = (
        outcome.fresh,
        {setting: at for at, setting in enumerate(outcome.first.settings, 1)},
    )
    if fresh is None or not fresh.scenarios:
        return pd.DataFrame(columns=["scenario", "candidate"])
    judged = {AS_STATED: fresh.judgement, **fresh.scenarios}
    worst = worst_places([*judged.values()])
    frames = [
        pd.DataFrame(
            {
                "scenario": name,
                "candidate": [numbers[setting] for setting in fresh.settings],
                **_limits("p_missed", each.missed),
                **_limits("p_false", each.false),
                "p_false_bound": each.bound,
                **({} if each.cost is None else _limits("cost_per_year", each.cost)),
                "usable": each.usable,
                "allowed": each.allowed,
                "worst": worst == place,
            }
        )
        for place, (name, each) in enumerate(judged.items())
    ]
    return pd.concat(frames, ignore_index=True).sort_values(
        "candidate", kind="stable", ignore_index=True
    )


def _limits(name: str, found: Total) -> dict[str, Array]:
    return {name: found.total, f"{name}_low": found.low, f"{name}_high": found.high}


def worst_columns(batch: Batch) -> dict[str, Any]:
    """For every candidate of a batch: its worst scenario, the aim's quantity there, the most false
    trips and the largest bound of any scenario, and whether every scenario allows it. {} without
    scenarios."""
    if not batch.scenarios:
        return {}
    names, worst = [AS_STATED, *batch.scenarios], batch.verdict
    quantity = "p_missed" if worst.cost is None else "cost_per_year"
    places = worst_places([batch.judgement, *batch.scenarios.values()])
    return {
        "worst_scenario": [names[place] for place in places],
        f"worst_{quantity}": worst.aim,
        "worst_p_false": worst.false.total,
        "worst_p_false_bound": worst.bound,
        **(
            {"worst_p_false_each_bound": np.max([*worst.each.values()], axis=0)}
            if worst.each
            else {}
        ),
        "worst_limit_used": worst.limit_used,
        "usable_in_all": worst.usable,
        "allowed_in_all": worst.allowed,
    }


# --- what the choice hinges on ------------------------------------------------


def hinge(outcome: Outcome) -> Hinge | None:
    """Found in the study's own batch, where all candidates were judged on the same numbers; told
    with the figures of the fresh batch where that has the candidate, as the tables do."""
    if outcome.chosen is None:
        return None
    own, settings = outcome.first, outcome.first.settings
    if (place := own.verdict.next_better(settings.index(outcome.chosen))) is None:
        return None
    setting = settings[place]
    batch = outcome.batch_of(setting)
    at, fresh = batch.settings.index(setting), batch is not own
    aim = batch.verdict.missed if batch.verdict.cost is None else batch.verdict.cost
    reason = _why(outcome.study, batch, at)
    if not reason and fresh:
        reason = _why(outcome.study, own, place)
        reason += " in the study's own batch" if reason else ""
    expected, low, high = (float(part[at]) for part in aim)
    return Hinge(
        place + 1,
        expected,
        low,
        high,
        reason or "it did not keep to the policy on fresh random numbers",
        1 + fresh,
    )


def _why(study: Study, batch: Batch, at: int) -> str:
    """Every rule that refuses a candidate of a batch, in words; empty if none does."""
    judged, policy = batch.verdict, study.policy
    reasons = []
    if judged.load_share[at] > 0:
        reasons.append(f"it operates in {percent(judged.load_share[at])} of the sampled loads")
    if math.isnan(judged.load_share[at]):
        reasons.append("no sampled load gave a result")
    if not (judged.knee_rule[at] or policy.ignore_knee_rule):
        reasons.append("its setting drives more than half the knee voltage through its leg")
    bound, limit = float(judged.bound[at]), limit_of_p_false(study)
    if not (judged.allowed[at] or bound <= limit):
        found, allowed = (
            (percent(bound), percent(limit))
            if policy.false_per_year_max is None
            else (
                f"{bound * weights_of(study).events_per_year:.2g} a year",
                f"{policy.false_per_year_max:g} a year",
            )
        )
        few = "" if judged.false.total[at] else ", though none was seen: more samples may admit it"
        reasons.append(
            f"its false trips are bounded by {found} and the policy allows {allowed}{few}"
        )
    over = {
        kind: float(part[at])
        for kind, part in judged.each.items()
        if not part[at] <= (policy.p_false_max_each or math.inf)
    }
    if over and policy.p_false_max_each is not None:
        found = listed(f"{percent(part)} in {kind}" for kind, part in over.items())
        reasons.append(
            f"its false trips are bounded by {found} and the policy allows "
            f"{percent(policy.p_false_max_each)} in each kind of event"
        )
    judgements = {AS_STATED: batch.judgement, **batch.scenarios}
    refusing = [
        f'"{name}"' for name, each in judgements.items() if not (each.usable & each.allowed)[at]
    ]
    where = f" (refused in {listed(refusing)})" if reasons and len(judgements) > 1 else ""
    return listed(reasons) + where


def note(study: Study, row: Mapping[str, Any]) -> str:
    """Why a candidate of the table may not be chosen; empty for one that may."""
    reasons, policy, bound = [], study.policy, row["p_false_bound"]
    if row["load_operates_share"] > 0:
        reasons.append("operates on load")
    elif math.isnan(row["load_operates_share"]):
        reasons.append("no load gave a result")
    elif not row["usable"]:
        reasons.append("breaks V_k >= 2 V_s")
    if policy.p_false_max is not None and not bound <= policy.p_false_max:
        reasons.append(f"p_false bound above {policy.p_false_max:g}")
    if policy.false_per_year_max is not None:
        yearly = bound * weights_of(study).events_per_year
        if not yearly <= policy.false_per_year_max:
            reasons.append(f"false trips a year: bound above {policy.false_per_year_max:g}")
    each = policy.p_false_max_each
    if each is not None and not row["p_false_each_bound"] <= each:
        reasons.append(f"p_false bound of {row['worst_event']} above {each:g}")
    if row["p_false"] == 0 and bound > (limit := limit_of_p_false(study)):
        reasons.append(
            f"none seen, about {rounded_up(study.study.samples * bound / limit)} samples without"
            " one would show the limit"
        )
    if not (row.get("allowed_in_all", True) and row.get("usable_in_all", True)) and not reasons:
        reasons.append("not in every scenario")
    return "; ".join(reasons)


def by_worst(candidates: pd.DataFrame) -> pd.DataFrame:
    """The candidates as the policy judges them: what decides is each one's worst scenario."""
    if "worst_scenario" not in candidates:
        return candidates
    judged = candidates.assign(
        **{
            name: candidates[f"worst_{name}"]
            for name in ("p_false", "p_false_bound", "limit_used", "p_false_each_bound")
            if f"worst_{name}" in candidates
        }
    )
    return judged.assign(usable=candidates["usable_in_all"], allowed=candidates["allowed_in_all"])


def nearest(candidates: pd.DataFrame) -> int | None:
    """The usable candidate that takes least of the policy's limits; of equal ones the one whose
    false trips are bounded lowest, then the one that misses least. None without a usable one."""
    judged = by_worst(candidates)
    usable = judged[judged["usable"]]
    if not len(usable):
        return None
    best = usable.sort_values(["limit_used", "p_false_bound", "p_missed"], kind="stable")
    return int(best["candidate"].iloc[0])
