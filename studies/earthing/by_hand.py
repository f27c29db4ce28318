"""The options of earthing by hand, for `check`: current, unprotected part of the winding, rule of
the capacitive current, each with every input at its centre."""

from __future__ import annotations

from montecarlo.formulas import handcalc
from montecarlo.study.description import Study
from studies.nominal.desk import Desk
from studies.report.blocks import Block, Table
from studies.report.numbers import percent


def options_by_hand(study: Study) -> list[Block]:
    """A line an option; x of the finest pick-up of all."""
    wanted = study.candidates
    finest = min((*wanted.earth_pickup_a, *wanted.phase_pickup_a))
    rows = []
    for name, option in study.options:
        desk = Desk(option)
        x, ohm = desk.unprotected(finest), desk.neutral_ohm
        part = percent(x, 3) if x < 1 else "all of it"
        limit = float(handcalc.capacitive_limit_ohm(option.machine.omega, desk.capacitance_f))
        rule = "kept" if ohm <= limit else "not kept"
        rows.append((name, f"{ohm:.4g}", f"{desk.emf_v / ohm:.3g}", part, rule))
    head = ("option", "neutrals ohm", "E / R_N A", "unprotected", "R_N <= 1/(3wC)")
    note = (
        f"Unprotected part of the winding x = I_set N R / E at the finest pick-up of {finest:g} A;"
        " no winding impedance, ideal CTs."
    )
    return [Table(head, tuple(rows), "<>>>>", notes=(note,))]
