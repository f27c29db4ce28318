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

__all__ = ["EXAMPLES", "WindingExample", "rated_current_a", "rows"]

CT_SECONDARY_A = 5.0


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
    kind: Kind = Kind.SCRIPT  # the books' public companions are scripts

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
    line_v, power_va = float(row["line_v"]), float(row["power_va"])
    of_a = float(row["of_a"] or rated_current_a(power_va, line_v))
    return WindingExample(
        source=source_of(row["source"]),
        place=row["place"],
        line_v=line_v,
        pickup_a=float(row["setting"]) * of_a,
        resistor_ohm=float(row["resistor_ohm"]),
        percent=float(row["percent"]),
        digit=float(row["digit"]),
        asked=row["asked"],
        power_va=power_va,
        winding_ohm=float(row["winding_ohm"]),
        reactance_pu=float(row["reactance_pu"]),
        ratio=(float(row["ct_primary_a"]), CT_SECONDARY_A),
    )


EXAMPLES = tuple(map(_example, read("winding")))


def rows() -> Iterator[Published]:
    """By the formulas of the hand calculation.

    Yields
    ------
    Published
    """
    for one in EXAMPLES:
        if one.asked == "percent":
            quantity, unit, given = "winding left unprotected", "%", one.percent
            ours = 100 * handcalc.unprotected_fraction(
                one.pickup_a,
                one.resistor_ohm,
                one.phase_v,
                winding_reactance_ohm=one.reactance_ohm,
                winding_resistance_ohm=one.winding_ohm,
            )
        else:
            quantity = f"neutral resistor that leaves {one.percent:g} %"
            unit, given = "ohm", one.resistor_ohm
            ours = handcalc.resistance_for_fraction(
                one.percent / 100,
                one.pickup_a,
                one.phase_v,
                winding_reactance_ohm=one.reactance_ohm,
            )
        yield Published(
            one.source, one.place, quantity, unit, given, float(ours), one.digit, one.kind
        )
