"""What measured values say of a run, in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from montecarlo.estimates.reweigh import effective_plants
from montecarlo.quantities import Array
from studies.commissioning.sheet import BAND
from studies.measured.values import Measured
from studies.report.look import percent
from studies.report.text import heading, paragraph, table
from studies.report.words import scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["answer", "beside", "measurements", "moved"]

SHOWN_INPUTS = 5
CHANCE = 3  # standard errors of a mean, by which it may move by itself


def measurements(rows: Sequence[Measured], expected: Array, weights: Array) -> list[str]:
    cells = []
    for row, plants in zip(rows, expected, strict=True):
        before, after = (
            _quantiles(plants, w) for w in (np.full(weights.shape, 1 / weights.size), weights)
        )
        cells.append(
            [
                row.test,
                row.quantity,
                row.unit,
                f"{row.measured:.4g} ± {row.uncertainty:.2g}",
                _range(before),
                _range(after),
            ]
        )
    return [
        *heading("what was measured"),
        *table(["test", "quantity", "unit", "measured", "95 % before", "after"], cells, "<<<>>>"),
        *paragraph(
            f"{effective_plants(weights):.0f} effective of {weights.size} sampled plants support"
            " these values together; instruments' errors are taken as normal and independent, the"
            " uncertainty as one standard deviation."
        ),
    ]


def beside(found: Mapping[Measured, Array]) -> list[str]:
    """Rows that weight no plant, each beside its band; nothing without any."""
    if not found:
        return []
    cells = []
    for row, plants in found.items():
        low, middle, high = np.quantile(plants, BAND, method="nearest").tolist()
        inside = low - 2 * row.uncertainty <= row.measured <= high + 2 * row.uncertainty
        cells.append(
            [
                row.test,
                row.quantity,
                row.unit,
                f"{row.measured:.4g} ± {row.uncertainty:.2g}",
                _range((low, high)),
                "inside" if inside else f"{100 * (row.measured / middle - 1):+.2g} %",
            ]
        )
    return [
        "",
        *table(["test", "quantity", "unit", "measured", "95 %", "off"], cells, "<<<>>>"),
        *paragraph(
            "These weight no plant: the study holds no error of a relay's slopes and timer, and an"
            " operating time depends on the point on wave. Off: beyond band and two uncertainties,"
            " against the median."
        ),
    ]


def _quantiles(values: Array, weights: Array) -> tuple[float, float]:
    order = np.argsort(values)
    at = np.searchsorted(np.cumsum(weights[order]), [0.025, 0.975]).clip(max=values.size - 1)
    return float(values[order][at[0]]), float(values[order][at[1]])


def _range(limits: tuple[float, float]) -> str:
    return f"{limits[0]:.4g} to {limits[1]:.4g}"


def answer(frame: pd.DataFrame, chosen: int) -> list[str]:
    row = frame.iloc[chosen].to_dict()
    lines = [
        *heading("what it says"),
        *paragraph(
            f"The chosen setting, no. {row['candidate']}, {scheme_name(row['scheme'])}:"
            f" {setting_text(row)}."
        ),
    ]
    for quantity, words in (
        ("p_missed", "Missed internal faults"),
        ("p_false", "False trips of the external events"),
    ):
        told = [
            "{} ({} to {})".format(
                *(percent(row[f"{quantity}{suffix}{end}"], 3) for end in ("", "_low", "_high"))
            )
            for suffix in ("", "_updated")
        ]
        low, high = row[f"{quantity}_change_low"], row[f"{quantity}_change_high"]
        moved = (
            "no change can be told from none"
            if low <= 0 <= high
            else (
                f"a change of {100 * row[f'{quantity}_change'] + 0.0:+.2g} points "
                f"({100 * low + 0.0:+.2g} to "
                f"{100 * high + 0.0:+.2g})"
            )
        )
        lines += paragraph(f"{words}: {told[0]} before, {told[1]} after; {moved}.", "- ", "  ")
    lines += paragraph(
        "Both from the plants of the study's own batch, as clusters; so these limits are wider than"
        " those of candidates.csv, which know of the nets and, for rare false trips, of weighted"
        " samples on plants of their own. Only what the measurements change is to be read here. 95"
        " % limits."
    )
    return lines


def moved(inputs: Mapping[str, Array], weights: Array) -> list[str]:
    """The plant inputs whose mean the measurements move by more than chance, the most first, in
    standard deviations."""
    rows: list[tuple[float, list[str]]] = []
    for key, values in inputs.items():
        columns = values[:, :1].T if _shared(values) else values.reshape(len(values), -1).T
        for column, each in enumerate(columns):
            if np.ptp(each) > 0:
                mean, spread = float(each @ weights), float(each.std())
                after = math.sqrt(float((each - mean) ** 2 @ weights))
                rows.append(
                    (
                        abs(mean - each.mean()) / spread,
                        [
                            key + (f"[{column}]" if len(columns) > 1 else ""),
                            f"{each.mean():.4g} ± {spread:.2g}",
                            f"{mean:.4g} ± {after:.2g}",
                        ],
                    )
                )
    chance = CHANCE / math.sqrt(effective_plants(weights))
    found = [cells for far, cells in sorted(rows, key=lambda row: -row[0]) if far > chance][
        :SHOWN_INPUTS
    ]
    lines = heading("inputs that moved")
    if not found:
        return [*lines, *paragraph("No input's mean moved by more than chance.")]
    return [
        *lines,
        *table(["input", "before", "after"], found, "<>>"),
        *paragraph(
            f"Mean and standard deviation over plants; those that moved by more than {CHANCE}"
            " standard errors. In brackets the CT (neutral end L1, L2, L3, line end: 0 to 5) or"
            " the element (L1, L2, L3, earth: 0 to 3)."
        ),
    ]


def _shared(values: Array) -> bool:
    """Whether all columns of an input are the same."""
    return values.ndim > 1 and bool(np.all(values == values[:, :1]))
