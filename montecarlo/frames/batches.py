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
    return None if setting is None else outcome.first.settings.index(setting) + 1


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

    frame = rows(outcome, outcome.first, np.arange(1, len(outcome.first.settings) + 1))
    if not len(frame):
        return frame
    for batch, settings in _drawn_again(outcome):
        again = rows(outcome, batch, _numbers(outcome, batch.settings))
        told = _numbers(outcome, settings)
        others = frame[~frame["candidate"].isin(told)]
        frame = pd.concat([others, again[again["candidate"].isin(told)]], ignore_index=True)
    return frame.sort_values("candidate", kind="stable", ignore_index=True)


def _numbers(outcome: Outcome, settings: list[Setting]) -> Numbers:
    every = outcome.first.settings
    return np.array([every.index(setting) + 1 for setting in settings])


def _drawn_again(outcome: Outcome) -> Iterator[tuple[Batch, list[Setting]]]:
    """Independent samples, and the candidates that are reported from each."""
    if outcome.fresh is not None:
        yield outcome.fresh, outcome.fresh.settings
    for setting, batch in outcome.refused.items():
        if outcome.batch_of(setting) is not outcome.fresh:
            yield batch, [setting]
