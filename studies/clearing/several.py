"""Who clears the faults of each of several studies, options or alternatives, and their damage until
then: what the tables of a comparison have of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.clearing import sample_clearing, wanted
from montecarlo.engine.progress import Progress, named_progress
from montecarlo.engine.run import Outcome
from montecarlo.engine.workers import Workers
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import Estimate, student
from montecarlo.frames.annual_cost import cost_difference, cost_per_year
from montecarlo.frames.clearing import NOBODY, RATE_WORDS, ClearingFrames
from montecarlo.frames.damage import ALL, FAILED
from montecarlo.frames.limits import limit_columns, with_limits
from montecarlo.study.dependability import BREAKER_FAILURE, OF_SCHEME
from studies.clearing.criterion import PAIRED, YEARLY, comparable

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.study.description import Study

Row = Mapping[str, Any]
TABLES: dict[str, Callable[[ClearingFrames], pd.DataFrame]] = {
    "who_clears": ClearingFrames.who_clears,
    "damage": ClearingFrames.damage,
    "damage_zones": ClearingFrames.zones,
    "dependability": ClearingFrames.dependability,
    "test_intervals": ClearingFrames.tests,
}


def follow(
    outcomes: Mapping[str, Outcome], round_: int, crew: Workers, progress: Progress
) -> dict[str, ClearingFrames]:
    """The faults of every study that has a setting, followed to who clears them; none where the
    study asks neither for damage nor for dependability.

    Parameters
    ----------
    outcomes : mapping of Outcome
    round_ : int
        Of the random numbers that all of them share.
    crew : Workers
    progress : Progress

    Returns
    -------
    dict of ClearingFrames
        By name.
    """
    return {
        name: ClearingFrames(
            sample_clearing(each.study, each.chosen, round_, crew, named_progress(progress, name))
        )
        for name, each in outcomes.items()
        if each.chosen is not None and wanted(each.study)
    }


def tables(found: Mapping[str, ClearingFrames], column: str) -> dict[str, pd.DataFrame]:
    """The tables of all that have any rows.

    Parameters
    ----------
    found : mapping of ClearingFrames
        By name.
    column : str
        The first one, with the name.

    Returns
    -------
    dict of DataFrame
    """
    import pandas as pd

    made = {}
    for name, table in TABLES.items():
        parts = [(own, table(frames)) for own, frames in found.items()]
        every = [part.assign(**{column: own}) for own, part in parts if len(part)]
        if every:
            frame = pd.concat(every, ignore_index=True)
            made[name] = frame[[column, *frame.columns.drop(column)]]
    return made


def columns(frames: ClearingFrames, row: Row) -> dict[str, Any]:
    """Of one study.

    Parameters
    ----------
    frames : ClearingFrames
    row : mapping
        Has p_false with its limits.

    Returns
    -------
    dict
        Values by column.
    """
    study = frames.clearing.study
    weight = weights_of(study)
    nobody = frames.nobody()
    a_year = weight.internal_per_year * weight.in_scope
    false = Estimate(*(weight.events_per_year * row[name] for name in with_limits("p_false")))
    return {
        "p_backup": _by_backup(frames),
        **limit_columns("p_nobody", nobody),
        "nobody_per_year": a_year * float(nobody.p),
        **dict(_damage(frames)),
        "unwanted_per_year": frames.unwanted_per_year(),
        **dict(_limited("decision_cost_per_year", cost_per_year(frames, false))),
    }


def _by_backup(frames: ClearingFrames) -> float:
    """Part of the faults within the scope that the neutral back-up is the first to clear."""
    table = frames.who_clears()
    wanted_rows = (table["type"] == ALL) & (table["failure_rates"] == RATE_WORDS[frames.stated])
    beside = [*OF_SCHEME, BREAKER_FAILURE, NOBODY]
    others = table[wanted_rows & ~table["path"].isin(beside)]
    return float(others["p"].sum())


def _damage(frames: ClearingFrames) -> Iterator[tuple[str, Any]]:
    table, zones = frames.damage(), frames.zones()
    if not len(table):
        return
    rows = table.set_index("path")
    every, nobody = rows.loc[ALL], rows.loc[NOBODY]
    for name in with_limits("mean_s"):
        yield name.replace("mean_s", "damage_mean_s"), every[name]
    yield "damage_p95_s", every["p95_s"]
    yield "damage_after_opening_share", every["after_opening_share"]
    mean = every["mean_s"]
    yield "damage_nobody_share", nobody["mean_s"] / mean if mean > 0 else 0.0
    if FAILED in rows.index:
        yield "damage_failed_share", rows.loc[FAILED, "mean_s"] / mean if mean > 0 else 0.0
    for zone, row in zip(
        zone_columns(frames.clearing.study), zones.to_dict("records"), strict=True
    ):
        for name in with_limits("p"):
            yield name.replace("p", zone, 1), row[name]


def zone_columns(study: Study) -> dict[str, str]:
    """The columns of the share of earth faults in each zone of damage, with the zone's name; the
    last one is beyond all zones.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict of str to str
        None without zones.
    """
    if study.damage is None or not study.damage.zones:
        return {}
    names = [*(zone.name for zone in study.damage.zones), study.damage.beyond]
    return {f"p_zone_{number}": name for number, name in enumerate(names, 1)}


def _limited(name: str, found: Estimate | None) -> Iterator[tuple[str, Any]]:
    if found is not None:
        yield from limit_columns(name, found).items()


def gaps(
    one: ClearingFrames, other: ClearingFrames, trips: Estimate | None, level: float
) -> dict[str, Estimate]:
    """One study minus another on the same faults, by quantity that means the same in both.

    Parameters
    ----------
    one, other : ClearingFrames
    trips : Estimate or None (cost/year)
        Of false trips of the first minus those of the second, with limits at this level; None
        where either weighs no costs.
    level : float (-)

    Returns
    -------
    dict of Estimate
    """
    studies = one.clearing.study, other.clearing.study
    mine, others = one.block_means(), other.block_means()
    found = {
        name: student(mine[name] - others[name], level)
        for name in PAIRED
        if comparable(*studies, name)
    }
    if trips is not None and comparable(*studies, YEARLY):
        found[YEARLY] = cost_difference(one, other, trips, level)
    return {name: gap for name, gap in found.items() if np.isfinite(gap.p)}
