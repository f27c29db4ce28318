"""Cells of a CSV that a spreadsheet shows and does not compute."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

BEGINNINGS = ("=", "+", "-", "@", "\t", "\n", "\r")  # of what a spreadsheet takes for a formula


def plain_cells(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with an apostrophe before every text that a spreadsheet would take for a formula:
    names and sources are a person's words. Numbers stay as they are. Common practice (OWASP, CSV
    Injection, from memory).

    A lone carriage return becomes a line feed: a writer that ends lines with the one does not quote
    the other.

    Parameters
    ----------
    frame : DataFrame

    Returns
    -------
    DataFrame
    """
    texts = {
        name: frame[name].map(plain_cell)
        for name in frame.columns
        if any(plain_cell(value) is not value for value in frame[name])
    }
    return frame.assign(**texts) if texts else frame


def no_minus_zero(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with every -0 a plain 0.

    Parameters
    ----------
    frame : DataFrame

    Returns
    -------
    DataFrame
    """
    numbers = {name: frame[name] + 0.0 for name in frame.columns if frame[name].dtype == float}
    return frame.assign(**numbers) if numbers else frame


def plain_cell(value: Any) -> Any:
    """One cell, as `plain_cells` has it.

    Parameters
    ----------
    value : Any

    Returns
    -------
    Any
        The same object where nothing is in the way.
    """
    if not isinstance(value, str):
        return value
    if "\r" in value:
        value = value.replace("\r\n", "\n").replace("\r", "\n")
    return (
        f"'{value}" if value.startswith(BEGINNINGS) and len(value) > 1 else value
    )  # a unit may be "-"
