"""What measured values say of a run, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.estimates.reweigh import effective_installations
from montecarlo.quantities import Array
from studies.commissioning.sheet import BAND
from studies.measured.values import Measured
from studies.report.blocks import Items, Paragraph, Section, Table
from studies.report.numbers import percent
from studies.report.words import plural, scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

SHOWN_INPUTS = 5
CHANCE = 3  # standard errors of a mean, by which it may move by itself
HEAD = ("test", "quantity", "unit", "measured")
QUANTITIES = (
    ("p_missed", "Missed internal faults"),
    ("p_false", "False trips of the external events"),
)


def measurements(
    rows: Sequence[Measured],
    expected: Array,
    weights: Array,
    aside: Mapping[Measured, Array],
) -> Section:
    """Every measured value beside what the installations let expect, before and after.

    Parameters
    ----------
    rows : what weights the installations
    expected : (rows, installations), what each installation would show
    weights : (installations,)
    aside : values that weight no installation, each with what it is compared with
    """
    before = np.full(weights.shape, 1 / weights.size)
    cells = tuple(
        (
            *_measured(row),
            _range(_quantiles(installations, before)),
            _range(_quantiles(installations, weights)),
        )
        for row, installations in zip(rows, expected, strict=True)
    )
    note = (
        f"An effective number of {effective_installations(weights):.0f} of the {weights.size}"
        " sampled installations fit these values together. Instrument errors are taken as normal"
        " and independent. The uncertainty is one standard deviation."
    )
    table = Table((*HEAD, "95 % before", "after"), cells, "<<<>>>", notes=(note,))
    return Section("What was measured", [table, *([_beside(aside)] if aside else [])])


def _measured(row: Measured) -> tuple[str, ...]:
    return row.test, row.quantity, row.unit, f"{row.measured:.4g} ± {row.uncertainty:.2g}"


def _beside(found: Mapping[Measured, Array]) -> Table:
    """Rows that weight no installation, each beside its band."""
    cells = []
    for row, installations in found.items():
        low, middle, high = np.quantile(installations, BAND, method="nearest").tolist()
        inside = low - 2 * row.uncertainty <= row.measured <= high + 2 * row.uncertainty
        off = "inside" if inside else f"{100 * (row.measured / middle - 1):+.2g} %"
        cells.append((*_measured(row), _range((low, high)), off))
    note = (
        "These values change no weight. The study has no error of the relay's slopes and timer,"
        " and an operating time depends on the point on wave. Off: the difference from the median,"
        " where it exceeds band and two uncertainties."
    )
    return Table((*HEAD, "95 %", "off"), tuple(cells), "<<<>>>", notes=(note,))


def _quantiles(values: Array, weights: Array) -> tuple[float, float]:
    order = np.argsort(values)
    at = np.searchsorted(np.cumsum(weights[order]), [0.025, 0.975]).clip(max=values.size - 1)
    return float(values[order][at[0]]), float(values[order][at[1]])


def _range(limits: tuple[float, float]) -> str:
    return f"{limits[0]:.4g} to {limits[1]:.4g}"


def answer(frame: pd.DataFrame, chosen: int) -> Section:
    """What the measurements make of the chosen setting's probabilities; frame: `Weighed.frame`."""
    row = frame.iloc[chosen].to_dict()
    which = f"no. {row['candidate']}, {scheme_name(row['scheme'])}: {setting_text(row)}"
    return Section(
        "What it says",
        [
            Paragraph(f"The chosen setting, {which}."),
            Items(tuple(_change(row, *quantity) for quantity in QUANTITIES)),
            Paragraph(
                "Both columns are from the installations of the selection sample, taken as"
                " clusters, with 95 % limits. The limits are wider than in candidates.csv, which"
                " also uses nets and weighted samples. Read only the change from before to after."
            ),
        ],
    )


def _change(row: Mapping[str, Any], quantity: str, words: str) -> str:
    before, after = (_apart(row, f"{quantity}{suffix}") for suffix in ("", "_weighed"))
    points = {end: 100 * row[f"{quantity}_change{end}"] + 0.0 for end in ("", "_low", "_high")}
    moved = "no significant change"
    if not points["_low"] <= 0 <= points["_high"]:
        change, low, high = (f"{value:+.2g}" for value in points.values())
        moved = f"a change of {change} {plural('point', float(change))} ({low} to {high})"
    return f"{words}: {before} before, {after} after; {moved}."


def _apart(row: Mapping[str, Any], name: str) -> str:
    """A probability with its limits, each in per cent."""
    p, low, high = (percent(row[f"{name}{end}"], 3) for end in ("", "_low", "_high"))
    return f"{p} ({low} to {high})"


def moved(inputs: Mapping[str, Array], weights: Array) -> Section:
    """The installation inputs whose mean the measurements move by more than chance, the most first,
    in standard deviations."""
    moves = [move for move in _moves(inputs, weights) if move[0] > _chance(weights)]
    moves.sort(key=lambda move: -move[0])
    if not moves:
        return Section(
            "Inputs that moved", [Paragraph("No input's mean moved by more than chance.")]
        )
    note = (
        "Mean and standard deviation over installations, of inputs that moved by more than"
        f" {CHANCE} standard errors. In brackets: the CT (neutral end L1, L2, L3, line end: 0 to"
        " 5) or the element (L1, L2, L3, earth: 0 to 3)."
    )
    cells = tuple(cells for _, cells in moves[:SHOWN_INPUTS])
    table = Table(("input", "before", "after"), cells, "<>>", notes=(note,))
    return Section("Inputs that moved", [table])


def _chance(weights: Array) -> float:
    """How far a mean may move by itself, in standard deviations."""
    return CHANCE / math.sqrt(effective_installations(weights))


def _moves(inputs: Mapping[str, Array], weights: Array) -> Iterator[tuple[float, tuple[str, ...]]]:
    """Of each input's columns how far its mean moves, and its cells."""
    for key, values in inputs.items():
        columns = values[:, :1].T if _shared(values) else values.reshape(len(values), -1).T
        for column, each in enumerate(columns):
            if np.ptp(each) > 0:
                name = f"{key}[{column}]" if len(columns) > 1 else key
                yield _move(name, each, weights)


def _move(name: str, each: Array, weights: Array) -> tuple[float, tuple[str, ...]]:
    before, spread = float(each.mean()), float(each.std())
    mean = float(each @ weights)
    after = math.sqrt(float((each - mean) ** 2 @ weights))
    cells = (name, f"{before:.4g} ± {spread:.2g}", f"{mean:.4g} ± {after:.2g}")
    return abs(mean - before) / spread, cells


def _shared(values: Array) -> bool:
    """Whether all columns of an input are the same."""
    return values.ndim > 1 and bool(np.all(values == values[:, :1]))
