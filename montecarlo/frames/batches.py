"""Which batch the rows of a candidate are of: an independent one that has it, else the study's
own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.study.axes import Setting

if TYPE_CHECKING:
    import pandas as pd

Numbers = NDArray[np.int64]
RowsOf = Callable[[Outcome, Batch, Numbers], "pd.DataFrame"]


def number_of(outcome: Outcome, setting: Setting | None) -> int | None:
    """The number of a candidate in every table, from 1; None without a setting.

    Parameters
    ----------
    outcome : Outcome
    setting : Setting or None

    Returns
    -------
    int or None
    """
    return None if setting is None else outcome.settings.index(setting) + 1


def numbers_of(outcome: Outcome, settings: list[Setting]) -> Numbers:
    """The same of several.

    Parameters
    ----------
    outcome : Outcome
    settings : list of Setting

    Returns
    -------
    (C,) array of int
    """
    every = outcome.settings
    places = {setting: number for number, setting in enumerate(every, start=1)}
    return np.array([places[setting] for setting in settings])


def rows_of_all(outcome: Outcome, rows: RowsOf) -> pd.DataFrame:
    """The rows of all candidates, each from the batch that its figures are told of.

    Parameters
    ----------
    outcome : Outcome
    rows : callable
        Of the outcome, one of its batches and the numbers of its candidates, (C,): a frame with a
        column `candidate`.

    Returns
    -------
    DataFrame
        By the candidates' numbers.
    """
    import pandas as pd

    frames = [
        rows(outcome, part, numbers_of(outcome, part.settings)) for part in outcome.first.parts
    ]
    some = [frame for frame in frames if len(frame)]
    if not some:
        return frames[0]
    frame = pd.concat(some, ignore_index=True)
    for batch, settings in _drawn_again(outcome):
        again = rows(outcome, batch, numbers_of(outcome, batch.settings))
        told = numbers_of(outcome, settings)
        others = frame[~frame["candidate"].isin(told)]
        frame = pd.concat([others, again[again["candidate"].isin(told)]], ignore_index=True)
    return frame.sort_values("candidate", kind="stable", ignore_index=True)


def _drawn_again(outcome: Outcome) -> Iterator[tuple[Batch, list[Setting]]]:
    """Independent samples, and the candidates that are reported from each."""
    if outcome.fresh is not None:
        yield outcome.fresh, outcome.fresh.settings
    for setting, batch in outcome.refused.items():
        if outcome.batch_of(setting) is not outcome.fresh:
            yield batch, [setting]
