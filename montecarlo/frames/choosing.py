"""How the choice stands: against runner-up, existing setting and neighbours, and what it hinges
on."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.estimates.compare import differences, level_of
from montecarlo.estimates.refusals import Refusal, may_be_chosen, refusals_of
from montecarlo.estimates.robust import worst_places
from montecarlo.frames.batches import number_of
from montecarlo.frames.limits import difference_columns, limit_columns
from montecarlo.quantities.digits import alike
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import neighbours

if TYPE_CHECKING:
    import pandas as pd

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


class Hinge(NamedTuple):
    """The candidate that is better by the least and was refused.

    Parameters
    ----------
    candidate : int
        Its number.
    aim, low, high : float
        p_missed, or cost a year where the policy weighs costs, with its limits.
    refusals : tuple of Refusal
        Every rule that refuses it; empty where only an independent sample did.
    assumption_sets : tuple of str
        Where the policy has assumption sets, those that refuse it.
    own_batch : bool
        Whether the refusals are by the selection sample although the figures are of an independent
        one.
    batch : int
        1: the figures are of the selection sample; 2: of an independent one.
    """

    candidate: int
    aim: float
    low: float
    high: float
    refusals: tuple[Refusal, ...]
    assumption_sets: tuple[str, ...] = ()
    own_batch: bool = False
    batch: int = 1


def comparison(outcome: Outcome) -> pd.DataFrame:
    """A row a pair and quantity: one candidate minus another, paired, with limits that hold for all
    pairs together with 95 %, and what they show. The chosen candidate against two others, then the
    pairs of `study.compare`.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
    """
    chosen, settings = outcome.chosen, outcome.settings
    others = {"runner-up": outcome.runner_up, "existing": outcome.existing}
    pairs = [
        (f"chosen minus {word}", chosen, other)
        for word, other in others.items()
        if chosen is not None and other is not None and other != chosen
    ]
    for one, other in outcome.study.study.compare:
        pairs.append((ASKED, settings[one - 1], settings[other - 1]))
    return difference_rows(outcome, pairs)


def neighbour_rows(outcome: Outcome) -> pd.DataFrame:
    """The same for each neighbour minus the chosen candidate; `pair` names the axis of the step.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
    """
    if (chosen := outcome.chosen) is None:
        return difference_rows(outcome, [])
    around = neighbours(outcome.settings, chosen)
    pairs = [(axis, setting, chosen) for setting, axis in around.items()]
    return difference_rows(outcome, [pair for pair in pairs if common_batch(outcome, *pair[1:])])


def difference_rows(
    outcome: Outcome, pairs: Collection[tuple[str, Setting, Setting]]
) -> pd.DataFrame:
    """The rows of pairs of settings, each with what the pair is called. On the independent sample
    where it holds both; limits of each quantity hold for all of them together.

    Parameters
    ----------
    outcome : Outcome
    pairs : collection of (str, Setting, Setting)
        What a pair is called, and the two.

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    level = level_of(len({frozenset(pair[1:]) for pair in pairs}))
    rows: list[dict[str, Any]] = []
    for words, one, other in pairs:
        batch = common_batch(outcome, one, other)
        assert batch is not None
        places = batch.settings.index(one), batch.settings.index(other)
        gaps = differences(outcome.study, batch.strata, *places, level)
        rows += [
            {
                "pair": words,
                "quantity": quantity,
                "candidate": number_of(outcome, one),
                "minus": number_of(outcome, other),
                **difference_columns(gap),
                "batch": batch.number,
            }
            for quantity, gap in gaps.items()
        ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def common_batch(outcome: Outcome, one: Setting, other: Setting) -> Batch | None:
    """Where two candidates stand on the same random numbers: the independent sample, else the
    study's own, else circuits that it left out together.

    Parameters
    ----------
    outcome : Outcome
    one, other : Setting

    Returns
    -------
    Batch or None
        None where a circuit of one was left out.
    """
    parts = (outcome.fresh, *outcome.first.parts)
    both = {one, other}
    return next((part for part in parts if part is not None and both <= {*part.settings}), None)


# --- assumption sets ----------------------------------------------------------------


def assumption_set_rows(outcome: Outcome) -> pd.DataFrame:
    """A row an assumption set and candidate of the independent sample: how it is judged there,
    whether the policy allows it there, and whether the assumption set is its worst. Empty without
    assumption sets or independent sample.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    fresh = outcome.fresh
    if fresh is None or not fresh.assumption_sets:
        return pd.DataFrame(columns=["assumption_set", "candidate"])
    worst = worst_places([*fresh.judgements.values()])
    frames = [
        pd.DataFrame(
            {
                "assumption_set": name,
                "candidate": [number_of(outcome, setting) for setting in fresh.settings],
                **limit_columns("p_missed", each.missed),
                **limit_columns("p_false", each.false),
                "p_false_bound": each.bound,
                **({} if each.cost is None else limit_columns("cost_per_year", each.cost)),
                "usable": each.usable,
                "allowed": each.allowed,
                "worst": worst == place,
            }
        )
        for place, (name, each) in enumerate(fresh.judgements.items())
    ]
    return pd.concat(frames, ignore_index=True).sort_values(
        "candidate", kind="stable", ignore_index=True
    )


def worst_columns(batch: Batch) -> dict[str, Any]:
    """For every candidate of a batch: its worst assumption set, the aim's quantity there, the most
    false trips and the largest bound of any assumption set, and whether every assumption set allows
    it. {} without assumption sets.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    dict of array
    """
    if not batch.assumption_sets:
        return {}
    names, worst = [*batch.judgements], batch.verdict
    quantity = "p_missed" if worst.cost is None else "cost_per_year"
    places = worst_places([*batch.judgements.values()])
    each = {}
    if worst.each:
        each["worst_p_false_each_bound"] = np.max([*worst.each.values()], axis=0)
    return {
        "worst_assumption_set": [names[place] for place in places],
        f"worst_{quantity}": worst.aim,
        "worst_p_false": worst.false.total,
        "worst_p_false_bound": worst.bound,
        **each,
        "worst_limit_used": worst.limit_used,
        "usable_in_all": worst.usable,
        "allowed_in_all": worst.allowed,
    }


# --- what the choice hinges on ------------------------------------------------


def hinge(outcome: Outcome) -> Hinge | None:
    """What the choice hinges on: the candidate that is better by the least and was refused.

    Found in the selection sample, where all candidates were judged on the same numbers; told with
    the figures of the independent sample where that has the candidate, as the tables do.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    Hinge or None
    """
    if outcome.chosen is None:
        return None
    settings = outcome.settings
    every = outcome.first.verdict_of_all()
    if (place := every.next_better(settings.index(outcome.chosen))) is None:
        return None
    own, batch = outcome.first.part_of(settings[place]), outcome.batch_of(settings[place])
    at = batch.settings.index(settings[place])
    aim = batch.verdict.missed if batch.verdict.cost is None else batch.verdict.cost
    expected, low, high = (float(part[at]) for part in aim)
    refused, assumption_sets = refusals_of(outcome.study, batch.verdict, at), _refusing(batch, at)
    own_batch = batch is not own and not refused
    if own_batch:
        there = own.settings.index(settings[place])
        refused, assumption_sets = (
            refusals_of(outcome.study, own.verdict, there),
            _refusing(own, there),
        )
    return Hinge(
        place + 1,
        expected,
        low,
        high,
        refused,
        assumption_sets if refused else (),
        own_batch,
        batch.number,
    )


def _refusing(batch: Batch, at: int) -> tuple[str, ...]:
    """The assumption sets that refuse a candidate, the study as stated among them; () without
    any."""
    if not batch.assumption_sets:
        return ()
    return tuple(name for name, each in batch.judgements.items() if not may_be_chosen(each, at))


def by_worst(candidates: pd.DataFrame) -> pd.DataFrame:
    """The candidates as the policy judges them: what decides is each one's worst assumption set.

    Parameters
    ----------
    candidates : DataFrame
        As `Result.candidates` has them.

    Returns
    -------
    DataFrame
    """
    if "worst_assumption_set" not in candidates:
        return candidates
    judged = candidates.assign(
        **{
            name: candidates[f"worst_{name}"]
            for name in ("p_false", "p_false_bound", "limit_used", "p_false_each_bound")
            if f"worst_{name}" in candidates
        }
    )
    return judged.assign(usable=candidates["usable_in_all"], allowed=candidates["allowed_in_all"])


def nearest(candidates: pd.DataFrame, *, or_any: bool = False) -> int | None:
    """The usable candidate that takes least of the policy's limits.

    Of equal ones the one whose false trips are bounded lowest, then the one that misses least.

    Parameters
    ----------
    candidates : DataFrame
        As `Result.candidates` has them.
    or_any : bool
        Of all candidates where none is usable.

    Returns
    -------
    int or None
        Its number; None without a usable one.
    """
    judged = by_worst(candidates)
    usable = judged[judged["usable"]]
    if not len(usable):
        if not or_any:
            return None
        usable = judged
    keys = ["limit_used", "p_false_bound", "p_missed"]
    best = usable.sort_values(keys, kind="stable", key=alike)
    return int(best["candidate"].iloc[0])
