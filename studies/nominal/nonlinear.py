"""The non-linear resistor across relay circuits by hand: what it takes at the pick-ups. Every input
stands at its centre."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.relays.schemes import Axis
from montecarlo.study.circuits import Circuit
from studies.nominal.desk import Desk, outermost
from studies.nominal.stability import left_unprotected
from studies.report.blocks import Block, Paragraph, Table


def nonlinear_resistor(desk: Desk) -> Iterator[Block]:
    """I_v at the finest and the coarsest settings; nothing without such a resistor.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    resistor = desk.study.scheme.nonlinear_resistor
    if resistor is None:
        return
    yield Paragraph(
        f"Non-linear resistor across the relay circuit, V = {resistor.c.centre():g} V x"
        f" I^{resistor.beta.centre():g} (I in A): at the pick-up it takes I_v (RMS) beside the"
        " element, V_s across both. I_set + I_v then stands in place of I_set, above in the"
        " operating currents and here in x, the unprotected part of the winding."
    )
    head = ("element", "R_st ohm", "V_s", "I_v mA", "I_v / I_set", "x")
    for kind in desk.study.scheme.kinds:
        axes = dict.fromkeys(desk.scheme(kind).high_impedance.values())
        if rows := tuple(row for axis in axes for row in _rows(desk, kind, axis)):
            yield Table(head, rows, "<>>>>>", kind)


def _rows(desk: Desk, kind: str, axis: Axis) -> Iterator[tuple[str, ...]]:
    grids = desk.study.candidates
    pickups = {"phase": grids.phase_pickup_a, "earth": grids.earth_pickup_a}
    for ohm in outermost(tuple(sorted(grids.stabilising_resistance_ohm))):
        for pickup in outermost(tuple(sorted(pickups[axis]))):
            amperes = {one: (values or (None,))[0] for one, values in pickups.items()}
            amperes[axis] = pickup
            circuit = Circuit(kind, ohm, amperes["phase"], amperes["earth"])
            taken = desk.resistor_a(circuit, axis, pickup)
            yield (
                f"{axis} {pickup:g} A",
                f"{ohm:g}",
                f"{pickup * desk.element_ohms(circuit)[axis]:.3g}",
                f"{1000 * taken:.3g}",
                f"{100 * taken / pickup:.2g} %",
                left_unprotected(desk.unprotected(pickup + taken)),
            )
