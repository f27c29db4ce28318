"""Worked examples of the part of the winding that an earth-fault element leaves unprotected,
counted from the neutral.

Three formulas occur: x = IR/V; with a linear winding reactance x^2 V^2 = I^2[R^2 + (xX)^2]; with a
linear winding resistance x = IR/(V - I R_w)."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from montecarlo.formulas import handcalc
from studies.verify.published.data import read, source_of
from studies.verify.published.row import Kind, Published

CT_SECONDARY_A = 5.0
PLAIN = (  # columns of `winding.csv` that are fields
    "line_v",
    "power_va",
    "resistor_ohm",
    "percent",
    "digit",
    "winding_ohm",
    "reactance_pu",
)


def rated_current_a(power_va: float, line_v: float) -> float:
    """Rated current of a machine. [A]

    Parameters
    ----------
    power_va, line_v : float
        Rated power (VA) and line-to-line voltage (V).

    Returns
    -------
    float
    """
    return power_va / (math.sqrt(3) * line_v)


@dataclass(frozen=True, kw_only=True)
class WindingExample:
    """One worked example; of `percent` and `resistor_ohm` one is asked, the other an input."""

    source: str
    place: str
    line_v: float
    pickup_a: float  # primary
    resistor_ohm: float
    percent: float  # of the winding, unprotected
    digit: float  # what its digits leave open
    asked: str  # "percent" or "resistor"
    power_va: float
    winding_ohm: float
    reactance_pu: float  # of the winding, on power_va
    ratio: tuple[float, float]  # of the CTs; 1000/5 where the book names none
    kind: Kind

    @property
    def phase_v(self) -> float:
        """Rated phase voltage. [V]"""
        return self.line_v / math.sqrt(3)

    @property
    def reactance_ohm(self) -> float:
        """Of the winding. [ohm]"""
        return self.reactance_pu * self.line_v**2 / self.power_va


def _example(row: dict[str, str]) -> WindingExample:
    """A row of `winding.csv`: the pick-up is `setting` times `of_a`, or times the rated current
    where that is blank."""
    given = {name: float(row[name]) for name in PLAIN}
    of_a = float(row["of_a"] or rated_current_a(given["power_va"], given["line_v"]))
    return WindingExample(
        source=source_of(row["source"]),
        place=row["place"],
        pickup_a=float(row["setting"]) * of_a,
        asked=row["asked"],
        ratio=(float(row["ct_primary_a"]), CT_SECONDARY_A),
        kind=Kind.SCRIPT,  # the books' public companions are scripts
        **given,
    )


EXAMPLES = tuple(map(_example, read("winding")))


def rows() -> Iterator[Published]:
    """By the formulas of the hand calculation.

    Yields
    ------
    Published
    """
    for one in EXAMPLES:
        quantity, unit, given = "winding left unprotected", "%", one.percent
        current, ohm, phase_v = one.pickup_a, one.resistor_ohm, one.phase_v
        winding = {"winding_reactance_ohm": one.reactance_ohm}
        if one.asked == "percent":
            winding["winding_resistance_ohm"] = one.winding_ohm
            ours = 100 * handcalc.unprotected_fraction(current, ohm, phase_v, **winding)
        else:
            quantity, unit, given = f"neutral resistor that leaves {given:g} %", "ohm", ohm
            share = one.percent / 100
            ours = handcalc.resistance_for_fraction(share, current, phase_v, **winding)
        yield Published(
            one.source, one.place, quantity, unit, given, float(ours), one.digit, one.kind
        )
