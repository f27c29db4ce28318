"""What a run adds of a study's winding: tables and figures, most of which need no sample."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from studies.protocol import Part
from studies.report.blocks import items
from studies.turns.coils import coil_frame
from studies.turns.faults import OfWinding
from studies.turns.figures import seen_against_pickup
from studies.turns.frames import catalogue_frame, turn_fault_frame, unseen_frame
from studies.turns.picture import winding_picture
from studies.turns.text import missed_text, unseen_text, weights_text

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.study.description import Study
    from studies.protocol import Recipe

COILS, CATALOGUE = "winding_coils", "fault_catalogue"
FAULTS, UNSEEN, MISSED = "turn_faults", "turn_faults_unseen", "turn_faults_missed"


def turns(
    study: Study,
    candidates: pd.DataFrame,
    missed: pd.DataFrame | None = None,
    chosen: int | None = None,
) -> Part:
    """Of a study with [winding]; nothing of others.

    Parameters
    ----------
    study : Study
    candidates : DataFrame
        candidates.csv.
    missed : DataFrame, optional
        turn_faults_missed.csv, where such faults are sampled.
    chosen : int, optional
        Number of the candidate of which the report says what it misses.

    Returns
    -------
    Part
    """
    if study.winding is None:
        return Part()
    of = OfWinding(study)
    frames = {
        COILS: coil_frame(of.contacts.coils),
        CATALOGUE: catalogue_frame(of),
        FAULTS: turn_fault_frame(of),
    }
    said = items(weights_text(of))
    recipes: dict[str, Recipe] = {"winding": partial(winding_picture, of.contacts.coils)}
    if of.measured:
        pickups = pickups_of(candidates)
        frames[UNSEEN] = unseen_frame(of, pickups)
        said += unseen_text(of, frames[UNSEEN])
        recipes[FAULTS] = partial(seen_against_pickup, of, pickups)
    if missed is not None and len(missed):
        frames[MISSED] = missed
        said += items(missed_text(missed, chosen))
    return Part(frames, text=tuple(said), figures=recipes)


def pickups_of(candidates: pd.DataFrame) -> dict[tuple[str, str], list[float]]:
    """The pick-ups that a run judged, by scheme and "phase" or "earth".

    Parameters
    ----------
    candidates : DataFrame

    Returns
    -------
    dict of list
        Finest first (A).
    """
    return {
        (str(scheme), axis): sorted(rows[f"{axis}_pickup_a"].dropna().unique().tolist())
        for scheme, rows in candidates.groupby("scheme", sort=False)
        for axis in ("phase", "earth")
        if f"{axis}_pickup_a" in rows
    }
