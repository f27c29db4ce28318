"""Tables and records as files have them: to so many digits that every processor writes the same
bytes, and without settings that no element has."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.quantities.digits import to_digits
from montecarlo.study.axes import KEYS, OWN

if TYPE_CHECKING:
    import pandas as pd

# Columns of settings, also of two runs side by side: they stand as the study has them
_OTHERS = ("setting", "setting_a", "chosen_value", "value", "pickup_a")
AS_STATED = frozenset((*KEYS, *(f"{key}_{side}" for key in KEYS for side in "ab"), *_OTHERS))
# Of what an element has for itself: a study that names none has no such column
OWN_SETTINGS = frozenset((*OWN, *(f"{key}_{side}" for key in OWN for side in "ab")))


def as_written(frame: pd.DataFrame) -> pd.DataFrame:
    """`rounded_frame` of a table `without_unused` columns.

    Parameters
    ----------
    frame : DataFrame

    Returns
    -------
    DataFrame
    """
    return rounded_frame(without_unused(frame))


def without_unused(frame: pd.DataFrame) -> pd.DataFrame:
    """A table without empty columns of `OWN_SETTINGS`.

    Parameters
    ----------
    frame : DataFrame

    Returns
    -------
    DataFrame
    """
    own = [name for name in frame.columns if name in OWN_SETTINGS]
    return frame.drop(columns=[name for name in own if frame[name].isna().all()])


def rounded_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """A table with its numbers to `DIGITS` digits, but for columns of `AS_STATED`.

    Parameters
    ----------
    frame : DataFrame

    Returns
    -------
    DataFrame
    """
    mixed = [name for name in frame.columns if frame[name].dtype in (float, object)]
    return frame.assign(**{one: _rounded(frame[one]) for one in mixed if one not in AS_STATED})


def rounded_values(record: Mapping[str, Any]) -> dict[str, Any]:
    """A record with its numbers to `DIGITS` digits.

    Parameters
    ----------
    record : mapping

    Returns
    -------
    dict
    """
    return {key: _plain(value) for key, value in record.items()}


def _rounded(column: pd.Series) -> pd.Series:
    import pandas as pd

    values = to_digits(column) if column.dtype == float else [_plain(value) for value in column]
    return pd.Series(values, column.index, column.dtype)


def _plain(value: Any) -> Any:
    return to_digits([value])[0] if isinstance(value, float) else value
