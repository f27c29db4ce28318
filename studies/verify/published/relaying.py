"""Stability of circulating-current schemes, and biased elements."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from montecarlo.formulas import handcalc
from montecarlo.secondary.restraint import (
    GREATER_OF,
    SUM,
    Bias,
    Form,
    bias_current,
    operating_quantity,
)
from studies.verify.published.data import beside, read, source_of
from studies.verify.published.row import Kind, Published

DIGIT_A = 0.0005
FORMS = {"sum": SUM, "greater_of": GREATER_OF}


@dataclass(frozen=True)
class BiasedExample:
    """i_d = |i1 - i2|, i_b = (i1 + i2)/2. `trips` by the form of threshold: the two that are taught
    disagree."""

    source: str
    place: str
    kind: Kind
    ratio: float  # of the CTs
    pickup_a: float  # I_0, secondary
    slope: float
    ends_a: tuple[float, float]  # primary, in phase
    difference_a: float  # given, secondary
    bias_a: float
    trips: dict[str, bool]
    threshold_a: float | None = None  # where it is given, of the sum

    def form(self, which: str) -> Form:
        """Its bias in one of the two forms.

        Parameters
        ----------
        which : str
            "sum" or "greater_of".

        Returns
        -------
        Form
        """
        return Bias(self.slope).form(FORMS[which])


def _example(row: dict[str, str]) -> BiasedExample:
    plain = ("ratio", "pickup_a", "slope", "difference_a", "bias_a")
    return BiasedExample(
        source=source_of(row["source"]),
        place=row["place"],
        kind=Kind[row["kind"].upper()],
        ends_a=(float(row["one_end_a"]), float(row["other_end_a"])),
        trips={form: row[f"trips_{form}"] == "yes" for form in FORMS},
        threshold_a=float(row["threshold_a"]) if row["threshold_a"] else None,
        **{name: float(row[name]) for name in plain},
    )


BIASED = tuple(map(_example, read("biased")))


def rows() -> Iterator[Published]:
    """Stability, then the biased examples.

    Yields
    ------
    Published
    """
    # 200 MW, 13.8 kV, pf 0.9, 12 times full load, CT 10000/5, 1.5 and 0.3 ohm, 10 % of 5 A,
    # relay 1 VA at pick-up
    through = 12 * 200e6 / (math.sqrt(3) * 13.8e3 * 0.9) / 2000
    volts = handcalc.stabilising_voltage(through, 1.5, 0.3)
    ohm = handcalc.stabilising_resistance(volts, 0.5, 1 / 0.5**2)
    yield from beside("stability", through, volts, ohm, handcalc.required_knee(volts))
    for one in BIASED:
        yield from _biased(one)


def _biased(one: BiasedExample) -> Iterator[Published]:
    ends = np.array([current / one.ratio for current in one.ends_a])
    difference = np.abs(ends[:1] - ends[1:])
    bias = bias_current(ends[None], "mean")
    quantity = operating_quantity(difference, bias, one.form("sum"))

    def row(name: str, unit: str, given: float, ours: float, digit: float) -> Published:
        return Published(one.source, one.place, name, unit, given, ours, digit, one.kind)

    yield row("differential current", "A", one.difference_a, float(difference[0]), DIGIT_A)
    yield row("bias current", "A", one.bias_a, float(bias[0]), DIGIT_A)
    if one.threshold_a is not None:
        trips_at = one.pickup_a + float((difference - quantity)[0])
        yield row("current at which it trips", "A", one.threshold_a, trips_at, DIGIT_A)
    trips = float(quantity[0] > one.pickup_a)
    yield row("trips: 1, stays: 0", "-", float(one.trips["sum"]), trips, 0.0)
