"""Worked examples of the part of the winding that an earth-fault element leaves unprotected,
counted from the neutral.

Three formulas occur: x = IR/V; with a linear winding reactance x^2 V^2 = I^2[R^2 + (xX)^2]; with a
linear winding resistance x = IR/(V - I R_w)."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from montecarlo.formulas import handcalc
from studies.verify.published.row import Kind, Published

__all__ = ["EXAMPLES", "WindingExample", "rated_current_a", "rows"]


def rated_current_a(power_va: float, line_v: float) -> float:
    return power_va / (math.sqrt(3) * line_v)


@dataclass(frozen=True, kw_only=True)
class WindingExample:
    """`asked`: which of the two the book works out; the other is an input. `digit`: what its digits
    leave open."""

    source: str
    place: str
    line_v: float
    pickup_a: float  # primary
    resistor_ohm: float
    percent: float  # of the winding, unprotected
    digit: float
    asked: Literal["percent", "resistor"] = "percent"
    kind: Kind = Kind.SCRIPT  # the books' public companions are scripts
    power_va: float = 10e6
    winding_ohm: float = 0.0
    reactance_pu: float = 0.0  # of the winding, on power_va
    ratio: tuple[float, float] = (1000.0, 5.0)  # of the CTs; this one where the book names none

    @property
    def phase_v(self) -> float:
        return self.line_v / math.sqrt(3)

    @property
    def reactance_ohm(self) -> float:
        return self.reactance_pu * self.line_v**2 / self.power_va


MEHTA = "Mehta and Mehta, Principles of Power System"
CHAKRABARTI = "Chakrabarti, Soni, Gupta, Bhatnagar, A Textbook on Power System Engineering, 2nd ed."
RAO = "Rao, Switchgear Protection and Power Systems"
WADHWA = "Wadhwa, Electrical Power Systems"

EXAMPLES = (
    WindingExample(
        source=MEHTA,
        place="Ex 22.1, p. 529",
        line_v=6600,
        pickup_a=175.0,
        resistor_ohm=2.177,
        percent=10,
        asked="resistor",
        digit=0.001,
        reactance_pu=0.10,
    ),
    WindingExample(
        source=MEHTA,
        place="Ex 22.2, p. 530",
        line_v=6600,
        pickup_a=0.5 * 200,
        resistor_ohm=7.5,
        percent=19.68,
        digit=0.01,
    ),
    WindingExample(
        source=MEHTA,
        place="Ex 22.3, p. 530",
        line_v=6600,
        pickup_a=0.75 * 200,
        resistor_ohm=6.0,
        percent=23.62,
        digit=0.01,
    ),
    WindingExample(
        source=MEHTA,
        place="Ex 22.3, for 90 %",
        line_v=6600,
        pickup_a=0.75 * 200,
        resistor_ohm=2.54,
        percent=10,
        asked="resistor",
        digit=0.01,
    ),
    WindingExample(
        source=MEHTA,
        place="Ex 22.4, p. 531",
        line_v=6600,
        pickup_a=0.2 * rated_current_a(10e6, 6600),
        resistor_ohm=3.27,
        percent=15,
        asked="resistor",
        digit=0.01,
    ),
    *(
        WindingExample(
            source=CHAKRABARTI,
            place=f"III Ex 8.2, p. 624, {ohm:g} ohm",
            line_v=11000,
            pickup_a=0.75 * 240,
            resistor_ohm=ohm,
            percent=percent,
            digit=0.01,
            ratio=(1200.0, 5.0),
        )
        for ohm, percent in ((3.0, 8.50), (6.0, 17.01), (12.0, 34.01))
    ),
    WindingExample(
        source=CHAKRABARTI,
        place="III Ex 8.3, p. 625",
        line_v=6600,
        pickup_a=0.3 * rated_current_a(5e6, 6600),
        resistor_ohm=6.5,
        percent=22.8,
        digit=0.1,
        power_va=5e6,
        winding_ohm=0.5,
    ),
    WindingExample(
        source=CHAKRABARTI,
        place="III Ex 8.8, p. 627",
        line_v=11000,
        pickup_a=500.0,
        resistor_ohm=1.27,
        percent=10,
        asked="resistor",
        digit=0.01,
        power_va=125e6,
        reactance_pu=0.10,
    ),
    WindingExample(
        source=RAO,
        place="Ex 33.2",
        line_v=10000,
        pickup_a=1.0 * 200,
        resistor_ohm=10.0,
        percent=34.64,
        digit=0.01,
    ),
    WindingExample(
        source=RAO,
        place="Ex 33.2, for 90 %",
        line_v=10000,
        pickup_a=1.0 * 200,
        resistor_ohm=2.887,
        percent=10,
        asked="resistor",
        digit=0.001,
    ),
    WindingExample(
        source=RAO,
        place="Ex 33.3",
        line_v=11000,
        pickup_a=0.2 * rated_current_a(10e6, 11000),
        resistor_ohm=7.0,
        percent=11.57,
        digit=0.01,
    ),
    WindingExample(
        source=RAO,
        place="Ex 33.5",
        line_v=11000,
        pickup_a=200.0,
        resistor_ohm=3.14,
        percent=10,
        asked="resistor",
        digit=0.01,
        power_va=200 * math.sqrt(3) * 11000,
        reactance_pu=0.15,
    ),
    WindingExample(
        source=WADHWA,
        place="Ex 14.4",
        line_v=6600,
        pickup_a=0.25 * rated_current_a(5e6, 6600),
        resistor_ohm=8.0,
        percent=22.96,
        digit=0.01,
        power_va=5e6,
    ),
)


def rows() -> Iterator[Published]:
    """By the desk formulas of `estimates/handcalc.py`."""
    for one in EXAMPLES:
        if one.asked == "percent":
            ours = 100 * handcalc.unprotected_fraction(
                one.pickup_a,
                one.resistor_ohm,
                one.phase_v,
                winding_reactance_ohm=one.reactance_ohm,
                winding_resistance_ohm=one.winding_ohm,
            )
            yield Published(
                one.source,
                one.place,
                "winding left unprotected",
                "%",
                one.percent,
                float(ours),
                one.digit,
                one.kind,
            )
        else:
            ours = handcalc.resistance_for_fraction(
                one.percent / 100,
                one.pickup_a,
                one.phase_v,
                winding_reactance_ohm=one.reactance_ohm,
            )
            yield Published(
                one.source,
                one.place,
                f"neutral resistor that leaves {one.percent:g} %",
                "ohm",
                one.resistor_ohm,
                float(ours),
                one.digit,
                one.kind,
            )
