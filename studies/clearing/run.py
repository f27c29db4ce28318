"""Who clears a fault with the chosen setting: tables, sentences and a figure."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from montecarlo.engine.clearing import sample_clearing, wanted
from montecarlo.engine.clearing_inputs import inputs_of_damage, sample_inputs
from montecarlo.engine.progress import Progress
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.frames.annual_cost import cost_per_year
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.clearing_inputs import inputs_frame
from montecarlo.frames.limits import with_limits
from studies.clearing.figures import damage, failures_by_interval, who_clears
from studies.clearing.several import TABLES
from studies.clearing.text import clearing_text, inputs_text
from studies.protocol import Part
from studies.report.blocks import Heading, items
from studies.report.numbers import figures

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.engine.workers import Workers
    from montecarlo.frames.result import Result
    from studies.protocol import Recipe

WHO, INPUTS = "who_clears", "damage_inputs"
DAMAGE, TESTS = "damage", "test_intervals"
HEADING = "Who clears a fault, and its damage until then"
POINTS = 400  # of the curve of damage


def followed(result: Result, crew: Workers, progress: Progress) -> Result:
    """With who clears the faults of the independent sample at the chosen setting.

    Parameters
    ----------
    result : Result
    crew : Workers
    progress : Progress

    Returns
    -------
    Result
        As it was where the study does not ask, or no setting was chosen.
    """
    outcome = result.outcome
    if not wanted(result.study) or outcome.chosen is None or outcome.fresh is None:
        return result
    round_ = outcome.fresh.round_
    found = sample_clearing(result.study, outcome.chosen, round_, crew, progress)
    return result.with_cleared(ClearingFrames(found))


def clearing(result: Result, crew: Workers, progress: Progress) -> Part:
    """Tables, sentences and figures of that.

    Parameters
    ----------
    result : Result
        As of `followed`.
    crew : Workers
    progress : Progress

    Returns
    -------
    Part
        Empty where nothing was followed.
    """
    if (found := result.cleared) is None:
        return Part()
    every = {name: table(found) for name, table in TABLES.items()}
    said = [*clearing_text(found)]
    said += _cost(result, found)
    if inputs_of_damage(found.clearing.study):
        inputs = inputs_frame(*sample_inputs(found.clearing, crew, progress))
        if len(inputs):  # some input changes the damage
            every[INPUTS] = inputs
            said += inputs_text(inputs)
    frames = {name: frame for name, frame in every.items() if len(frame)}
    return Part(
        frames,
        text=(Heading(HEADING), *items(said)),
        figures=_figures(found, frames),
    )


def _cost(result: Result, found: ClearingFrames) -> Iterator[str]:
    """What the chosen setting costs a year, all counted, where the policy weighs costs."""
    cost, number = result.study.policy.least_annual_cost, result.chosen
    if cost is None or number is None:
        return
    row, a_year = result.row(number), weights_of(result.study).events_per_year
    whole = cost_per_year(found, Estimate(*(a_year * row[end] for end in with_limits("p_false"))))
    assert whole is not None
    low_to_high = " to ".join(figures(float(end), 3) for end in (whole.low, whole.high))
    damage = "Damage, faults" if cost.damage is not None else "Faults"
    yield (
        f"{damage} that nobody clears, unwanted trips and tests cost {figures(float(whole.p), 3)}"
        f" {cost.unit} a year ({low_to_high}). The setting was chosen by missed faults and false"
        " trips alone."
    )


def _figures(found: ClearingFrames, frames: dict[str, pd.DataFrame]) -> dict[str, Recipe]:
    recipes: dict[str, Recipe] = {WHO: partial(who_clears, frames[WHO])}
    given = found.clearing.study.damage
    if given is not None and DAMAGE in frames:
        recipes[DAMAGE] = partial(damage, *found.above(POINTS), given.reference_a)
    if TESTS in frames:
        recipes[TESTS] = partial(failures_by_interval, frames[TESTS])
    return recipes
