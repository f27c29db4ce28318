"""The release of an earth element by hand: which neutral current it waits for, and how much of the
winding that leaves. Every input stands at its centre."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.formulas.handcalc import unprotected_fraction
from montecarlo.relays.gates import OF_EARTH
from studies.nominal.desk import Desk
from studies.nominal.stability import left_unprotected
from studies.report.blocks import Block, Paragraph, Table


def release(desk: Desk) -> Iterator[Block]:
    """Each release that candidates have; nothing without one.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    used = desk.study.candidates.gates_in_use
    gates = [one for one in desk.study.scheme.gates if one.start == OF_EARTH and one.name in used]
    rows = tuple(_row(desk, gate.name) for gate in gates)
    if not rows:
        return
    yield Paragraph(
        "An earth element with a release waits until the neutral CT's fundamental is above start_pu"
        " x rated machine current. A bolted earth fault drives that current from x = I R / E of the"
        " winding on. Nearer to the neutral the element cannot operate, whatever its pick-up. The"
        " standing neutral current of a healthy machine comes of third harmonic, unbalance and"
        " capacitances. The study has no input for it, so it counts as 0 A: measure its"
        " fundamental, and keep start_pu above it."
    )
    yield Table(("release", "start pu", "A primary", "A in the relay", "x"), rows, "<>>>>")


def _row(desk: Desk, name: str) -> tuple[str, ...]:
    start_pu = desk.at(f"scheme.gates.{name}.start_pu")
    primary_a = start_pu * desk.study.machine.rated_current_a
    left = float(unprotected_fraction(primary_a, desk.neutral_ohm, desk.emf_v))
    amperes = f"{primary_a:.4g}", f"{primary_a / desk.turns:.3g}"
    return (name, f"{start_pu:g}", *amperes, left_unprotected(left))
