"""Stability of circulating-current schemes, and biased elements."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from montecarlo.formulas import handcalc
from montecarlo.secondary.restraint import GREATER_OF, SUM, Form, bias_current, operating_quantity
from studies.verify.published.machine import NPTEL
from studies.verify.published.row import Kind, Published
from studies.verify.published.winding import CHAKRABARTI, WADHWA

__all__ = ["BIASED", "BiasedExample", "rows"]

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
        return (FORMS[which], self.slope, self.slope, 0.0)


BIASED = (
    BiasedExample(
        CHAKRABARTI,
        "III Ex 8.4, p. 625",
        Kind.SCRIPT,
        80,
        0.15,
        0.12,
        (360, 300),
        0.75,
        4.125,
        {"sum": True, "greater_of": True},
    ),
    BiasedExample(
        WADHWA,
        "Ex 14.6",
        Kind.SCRIPT,
        80,
        0.2,
        0.10,
        (360, 320),
        0.5,
        4.25,
        {"sum": False, "greater_of": True},
        0.625,
    ),
    BiasedExample(
        NPTEL,
        "assignment key of week 6",
        Kind.PRINT,
        800,
        0.25,
        0.20,
        (720, 640),
        0.1,
        0.85,
        {"sum": False, "greater_of": False},
    ),
)


def rows() -> Iterator[Published]:
    # 200 MW, 13.8 kV, pf 0.9, 12 times full load, CT 10000/5, 1.5 and 0.3 ohm, 10 % of 5 A,
    # relay 1 VA at pick-up
    through = 12 * 200e6 / (math.sqrt(3) * 13.8e3 * 0.9) / 2000
    volts = handcalc.stabilising_voltage(through, 1.5, 0.3)
    place = "lecture 28"
    yield Published(
        NPTEL, place, "through-fault current, secondary", "A", 55.78, through, 0.01, Kind.PRINT
    )
    yield Published(NPTEL, place, "stabilising voltage", "V", 100.4, float(volts), 0.1, Kind.PRINT)
    yield Published(
        NPTEL,
        place,
        "stabilising resistance",
        "ohm",
        196.8,
        float(handcalc.stabilising_resistance(volts, 0.5, 1 / 0.5**2)),
        0.1,
        Kind.PRINT,
    )
    yield Published(
        NPTEL,
        place,
        "knee voltage needed",
        "V",
        200.8,
        float(handcalc.required_knee(volts)),
        0.1,
        Kind.PRINT,
    )
    for one in BIASED:
        ends = np.array([current / one.ratio for current in one.ends_a])
        difference, bias = np.abs(ends[:1] - ends[1:]), bias_current(ends[None], "mean")
        quantity = operating_quantity(difference, bias, *one.form("sum"))
        yield Published(
            one.source,
            one.place,
            "differential current",
            "A",
            one.difference_a,
            float(difference[0]),
            0.0005,
            one.kind,
        )
        yield Published(
            one.source, one.place, "bias current", "A", one.bias_a, float(bias[0]), 0.0005, one.kind
        )
        if one.threshold_a is not None:
            ours = one.pickup_a + float((difference - quantity)[0])
            yield Published(
                one.source,
                one.place,
                "current at which it trips",
                "A",
                one.threshold_a,
                ours,
                0.0005,
                one.kind,
            )
        yield Published(
            one.source,
            one.place,
            "trips: 1, stays: 0",
            "-",
            float(one.trips["sum"]),
            float(quantity[0] > one.pickup_a),
            0.0,
            one.kind,
        )
