"""Who clears a fault with the chosen setting: tables, sentences and a figure."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from montecarlo.engine.clearing import sample_clearing, wanted
from montecarlo.engine.clearing_inputs import inputs_of_damage, sample_inputs
from montecarlo.engine.progress import Progress
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.clearing_inputs import inputs_frame
from studies.clearing.figures import damage, failures_by_interval, who_clears
from studies.clearing.several import TABLES
from studies.clearing.text import clearing_text, inputs_text
from studies.protocol import Part
from studies.report.blocks import items

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.engine.workers import Workers
    from montecarlo.frames.result import Result
    from studies.protocol import Recipe

WHO, INPUTS = "who_clears", "damage_inputs"
DAMAGE, TESTS = "damage", "test_intervals"
POINTS = 400  # of the curve of damage


def clearing(result: Result, crew: Workers, progress: Progress) -> Part:
    """Of the chosen setting, on the faults of its independent sample.

    Parameters
    ----------
    result : Result
    crew : Workers
    progress : Progress

    Returns
    -------
    Part
        Empty where the study does not ask, or no setting was chosen.
    """
    outcome = result.outcome
    if not wanted(result.study) or outcome.chosen is None or outcome.fresh is None:
        return Part()
    round_ = outcome.fresh.round_
    found = ClearingFrames(sample_clearing(result.study, outcome.chosen, round_, crew, progress))
    every = {name: table(found) for name, table in TABLES.items()}
    said = [*clearing_text(found)]
    if inputs_of_damage(result.study):
        inputs = inputs_frame(*sample_inputs(found.clearing, crew, progress))
        if len(inputs):  # some input can be moved
            every[INPUTS] = inputs
            said += inputs_text(inputs)
    frames = {name: frame for name, frame in every.items() if len(frame)}
    return Part(
        frames,
        text=tuple(items(said)),
        figures=_figures(found, frames),
    )


def _figures(found: ClearingFrames, frames: dict[str, pd.DataFrame]) -> dict[str, Recipe]:
    recipes: dict[str, Recipe] = {WHO: partial(who_clears, frames[WHO])}
    given = found.clearing.study.damage
    if given is not None and DAMAGE in frames:
        recipes[DAMAGE] = partial(damage, *found.above(POINTS), given.reference_a)
    if TESTS in frames:
        recipes[TESTS] = partial(failures_by_interval, frames[TESTS])
    return recipes
