"""The desk's results in words: which pick-ups can ever see an earth fault, and the classic hand
calculation with its numbers in it. Every input stands at its centre."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from montecarlo.formulas import handcalc
from montecarlo.quantities import Distribution
from montecarlo.quantities.wording import listed
from montecarlo.relays.places import STAR_LINK
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.secondary import steady
from montecarlo.study.candidates import Lattice, grid_lattices
from studies.nominal.bias import bias
from studies.nominal.ct_dimensioning import ct_dimensioning
from studies.nominal.desk import ALONG, Desk, outermost
from studies.nominal.excitation import excitation
from studies.nominal.groups import between, earth_faults_a, groups_apart
from studies.nominal.high_set import high_set
from studies.nominal.nonlinear import nonlinear_resistor
from studies.nominal.operating import operating_a
from studies.nominal.release import release
from studies.nominal.short_circuit import short_circuit
from studies.nominal.stability import left_unprotected, stabilising_resistance, stability
from studies.report.blocks import Block, Paragraph, Table, paragraphs

MOST_RESTRAINT = 20  # times the unbiased current, how far a biased one may lie
RESTRAINED = (
    " The phasor value alone includes the restraint of biased elements, at their first slope, fed"
    " from one end."
)
BEYOND = (
    "* beyond a quarter of the knee voltage, where remanence and saturation decide. A run solves"
    " earth faults there in time."
)
BY_COIL = (
    " Between groups of branches it leaves a difference that depends on the coil. Below stands the"
    " largest of all branches. What stands there without a fault comes on top."
)
BETWEEN = "Amperes primary are those of the groups' difference in one phase, by this scheme's CTs."
LINKED = "Amperes primary are those of the star link, half of the groups' difference."
MOST_RESISTANCES = 6  # shown in full; above, the smallest and the largest


# --- what can be seen at all --------------------------------------------------


def reach(desk: Desk) -> list[Block]:
    """Which pick-ups can ever see an earth fault on this machine: a sentence for each scheme and
    element.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    list of Block
    """
    faults = desk.earth_faults(ALONG)
    current = np.abs(faults.fault_current_a[0])
    most, place = float(current.max()), float(ALONG[current.argmax()])
    where = "at the terminals"
    if place != 1:
        where = f"at {100 * place:g} % of the winding from the neutral"
    ends_a = faults.end_currents_a.reshape(-1, 6)
    groups_a = earth_faults_a(desk, ALONG) if (found := between(desk)) else ends_a
    return paragraphs(
        f"A bolted earth fault drives at most {most:.4g} A primary ({where}, no load, every input"
        f" at its centre). This is {most / desk.turns:.4g} A secondary, less the exciting currents"
        f" of the CTs.{BY_COIL if found else ''}",
        *(
            _reach_of(desk, kind, axis, groups_a if (kind, axis) in found else ends_a)
            for kind in desk.study.scheme.kinds
            for axis in AXES
            if desk.scheme(kind).of(axis)
        ),
    )


def _pickups(of: object, axis: Axis) -> tuple[float, ...]:
    found: tuple[float, ...] = getattr(of, f"{axis}_pickup_a")
    return found


def _lattices(desk: Desk, kind: str) -> list[Lattice]:
    return [lattice for lattice in grid_lattices(desk.study) if lattice.scheme == kind]


def _reach_of(desk: Desk, kind: str, axis: Axis, primary_a: NDArray[np.complex128]) -> str:
    biased = desk.biased(kind, axis)
    carried: dict[str, float] = {}
    seen: dict[str, list[float]] = {}
    blind: dict[str, list[float]] = {}
    for lattice in _lattices(desk, kind):
        most = float(np.nanmax(desk.compared_a(lattice, axis, primary_a)))
        label = _label(lattice, axis, biased)
        carried[label] = max(most, carried.get(label, most))
        for pickup in _pickups(lattice, axis):
            (blind if pickup >= most else seen).setdefault(label, []).append(pickup)
    said = _carries(desk, kind, axis, (min(carried.values()), max(carried.values())), biased)
    never = {label: tuple(dict.fromkeys(pickups)) for label, pickups in blind.items()}
    if not never:
        return f"{said}. Every pick-up can operate on it."
    if not seen:
        every = tuple(dict.fromkeys(pickup for pickups in never.values() for pickup in pickups))
        return (
            f"{said}. No pick-up ({_amperes(every)}) can operate on an earth fault of this machine."
        )
    if len(never) == len(carried) and len(set(never.values())) == 1:
        which = _amperes(next(iter(never.values())))
        return f"{said}. At {which} it can never operate on an earth fault of this machine."
    parts = [f"{_amperes(pickups)} with {label}" for label, pickups in never.items()]
    return (
        f"{said}. It can never operate on an earth fault of this machine when set to"
        f" {'; '.join(parts)}."
    )


def _carries(desk: Desk, kind: str, axis: Axis, span_a: tuple[float, float], biased: bool) -> str:
    """What an element compares with its setting, over the lattices of its scheme."""
    low, high = span_a
    span = f"{high:.3g} A"
    if high - low >= 5e-3 * high:
        by = "slope" if biased else "stabilising resistance"
        span = f"{low:.3g} to {high:.3g} A, depending on the {by}"
    element = "earth element" if axis == "earth" else "phase elements"
    said = f"{kind}, {element}: the relay circuit then carries {span}"
    if not biased:
        return said
    if desk.study.scheme.bias_form_of(axis) == "sum":
        return f"{said}; the bias is taken off"
    return f"{said} where that is above the bias"


def _label(lattice: Lattice, axis: Axis, biased: bool) -> str:
    """What tells this lattice from the scheme's others."""
    bias = lattice.bias_of(axis)
    slope = f"slope {bias.first_slope:g}" if biased and bias is not None else ""
    return slope or f"{lattice.stabilising_resistance_ohm:g} ohm"


def _amperes(pickups: tuple[float, ...]) -> str:
    if len(pickups) > 6:
        return f"{pickups[0]:g} to {pickups[-1]:g} A"
    return listed([f"{pickup:g}" for pickup in pickups], "or") + " A"


# --- hand calculation ---------------------------------------------------------


def hand_calculation(desk: Desk) -> list[Block]:
    """The classic formulas with their numbers.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    list of Block
    """
    return [
        *_unprotected(desk),
        *_operating_currents(desk),
        *nonlinear_resistor(desk),
        *stability(desk),
        *stabilising_resistance(desk),
        *groups_apart(desk),
        *bias(desk),
        *high_set(desk),
        *release(desk),
        *_balancing(desk),
        *_capacitive(desk),
        *short_circuit(desk),
        *_direct_currents(desk),
        *ct_dimensioning(desk),
        *excitation(desk.study),
    ]


def _any_biased(desk: Desk) -> bool:
    return any(desk.scheme(kind).biased for kind in desk.study.scheme.kinds)


def _unprotected(desk: Desk) -> Iterator[Block]:
    if not (axes := [axis for axis in AXES if desk.between_ends(axis)]):
        return
    yield Paragraph(
        "Unprotected part of the winding, from the neutral, x = I_set N R / E (bolted earth fault, "
        "ideal CTs, no capacitance, no winding impedance"
        f"{', no bias' if _any_biased(desk) else ''}):"
    )
    rows = tuple(
        (
            f"{axis} {pickup:g} A",
            f"{pickup:g} A x {desk.turns:g} x {desk.neutral_ohm:.4g} ohm / {desk.emf_v:.4g} V",
            f"= {left_unprotected(desk.unprotected(pickup), 4)}",
        )
        for axis in axes
        for pickup in outermost(_pickups(desk.study.candidates, axis))
    )
    yield Table((), rows, "<<<")


def _direct_currents(desk: Desk) -> Iterator[Block]:
    """How fast what saturates the CTs goes."""
    yield Paragraph(
        "DC component of the events' currents, time constant (of an energisation that of its flux "
        "offset):"
    )
    found = [(event.name, desk.direct_s(event)) for event in desk.study.external_events]
    rows = [
        (name, "none" if seconds is None else f"{1000 * seconds:.3g} ms") for name, seconds in found
    ]
    yield Table((), tuple(rows), "<>")


def _operating_currents(desk: Desk) -> Iterator[Block]:
    yield Paragraph(
        "Primary operating current: first with ideal CTs, then the arithmetic upper bound N"
        " (I_set + n I_exc), then the phasor value. n is the number of CTs in parallel across the"
        " relay circuit: 2 on a fault between phases, 6 or 4 on an earth fault. V = I_set R over"
        " the relay circuit on the fault's path, one CT and its lead. I_exc is the exciting"
        " current of one CT at V." + (RESTRAINED if _any_biased(desk) else "")
    )
    head = (
        "element",
        "R_st ohm",
        "V",
        "of V_k",
        "I_exc mA",
        "ideal A",
        "bound A",
        "phasors A",
    )
    for kind in desk.study.scheme.kinds:
        axes = [axis for axis in AXES if desk.scheme(kind).of(axis)]
        rows = [row for axis in axes for row in _operating_rows(desk, kind, axis)]
        notes: tuple[str, ...] = (BEYOND,) if any(row.beyond for row in rows) else ()
        if any(desk.between_groups(kind, axis) for axis in axes):
            notes += (LINKED if STAR_LINK in desk.scheme(kind).groups else BETWEEN,)
        yield Table(head, tuple(row.cells for row in rows), "<>>>>>>>", kind, notes)


class OperatingRow(NamedTuple):
    """`beyond`: whether the phasor value is beyond what phasors are good for."""

    cells: tuple[str, ...]
    beyond: bool = False


def _operating_rows(desk: Desk, kind: str, axis: Axis) -> Iterator[OperatingRow]:
    """Finest and coarsest pick-up on each stabilising resistance, where that stands in the
    element's leg."""
    scheme = desk.scheme(kind)
    in_leg = "stabilising" in scheme.legs[scheme.elements[scheme.of(axis)[0]].leg].parts

    by_ohm: dict[float, list[Lattice]] = {}
    for lattice in _lattices(desk, kind):
        by_ohm.setdefault(lattice.stabilising_resistance_ohm, []).append(lattice)
    ohms = tuple(by_ohm)
    if not in_leg:
        ohms = ohms[:1]
    elif len(ohms) > MOST_RESISTANCES:
        ohms = outermost(ohms)
    for ohm in ohms:
        of_pickup = {pickup: one for one in reversed(by_ohm[ohm]) for pickup in _pickups(one, axis)}
        for pickup in outermost(tuple(sorted(of_pickup))):
            yield _operating_row(desk, of_pickup[pickup], axis, pickup, in_leg)


def _operating_row(
    desk: Desk, lattice: Lattice, axis: Axis, pickup: float, in_leg: bool
) -> OperatingRow:
    scheme, ohms = desk.scheme(lattice.scheme), desk.ohms(lattice.circuit)
    leg_a = pickup + desk.resistor_a(lattice.circuit, axis, pickup)
    leg, cts = scheme.elements[scheme.of(axis)[0]].leg, desk.driving(lattice.scheme, axis)
    path = float(ohms[leg]) if axis == "phase" else scheme.path_ohm(axis, ohms)
    volts = leg_a * (path + desk.series_ohm(cts))
    turns = desk.turns_of(lattice.scheme, axis)
    ideal = turns * leg_a
    knee = desk.knee_of(cts)
    exciting = desk.exciting_a(volts, cts)
    head = (
        f"{axis} {pickup:g} A",
        f"{lattice.stabilising_resistance_ohm:g}" if in_leg else "-",
        f"{volts:.3g}",
        f"{100 * volts / knee:.3g} %",
    )
    if np.isnan(exciting):
        return OperatingRow((*head, "above knee", f"{ideal:.4g}", "-", "-"))
    count = int(np.count_nonzero(scheme.table[leg]))
    most = float(handcalc.primary_operating_current(turns, leg_a, exciting, count))
    biased = desk.biased(lattice.scheme, axis)
    far = 1.05 * most * (MOST_RESTRAINT if biased else 1)
    phasor = operating_a(desk, lattice, axis, pickup, far)
    bound = "-" if biased else f"{most:.4g}"
    cells = (*head, f"{1000 * exciting:.3g}", f"{ideal:.4g}", bound)
    if np.isnan(phasor):
        return OperatingRow((*cells, f"above {far:.3g} "))
    beyond = leg_a * path > steady.VALID_KNEE_SHARE * knee
    return OperatingRow((*cells, f"{phasor:.4g}{'*' if beyond else ' '}"), beyond)


def _balancing(desk: Desk) -> Iterator[Block]:
    if "two_phase_one_earth" not in desk.study.scheme.kinds:
        return
    given = desk.study.scheme.balancing_resistance_ohm
    fixed = desk.at("scheme.phase_stabilising_ohm")
    changes = desk.study.relay.phase_burden_va is not None
    pickups = outermost(desk.study.candidates.phase_pickup_a)
    for pickup in pickups if changes else pickups[:1]:
        burden, at = desk.burden_ohm("phase", pickup), f" at {pickup:g} A" if changes else ""
        spill = "The study takes it equal in every sample. It then causes no spill."
        if given is not None:
            spill = _mismatch(desk, given, burden + fixed)
        yield Paragraph(
            f"Balancing resistance{at} = phase circuit = {burden:g} + {fixed:g} ="
            f" {burden + fixed:g} ohm. {spill}"
        )


def _mismatch(desk: Desk, given: Distribution, leg: float) -> str:
    """The spill of the balancing resistance that is farthest from the phase leg's."""
    low, high = given.support()
    text = f"The study has {low:.4g}{'' if low == high else f' to {high:.4g}'} ohm"
    if not np.isfinite(high):
        low, high = float(given.ppf(0.01)), float(given.ppf(0.99))
        text = f"98 % of its values in the study lie at {low:.4g} to {high:.4g} ohm"
    worst, volts = max((low, high), key=lambda ohm: abs(ohm - leg)), 0.1 * desk.knee_v
    exciting, current = desk.exciting_a(volts), volts / max(leg, worst, 1e-9)
    if exciting == 0 or leg == worst:
        return f"{text}: no spill."
    wanted = desk.study.candidates
    earth = desk.burden_ohm("earth", wanted.earth_pickup_a[0])
    each = []
    for ohm in outermost(wanted.stabilising_resistance_ohm):
        spill = handcalc.balancing_spill(current, leg, worst, earth + ohm, volts / exciting)
        each.append(f"{1000 * float(spill):.3g} mA with {ohm:g} ohm there")
    return (
        f"{text}. Spill in the earth circuit at {worst:.4g} ohm: {listed(each)}. The three relay"
        f" circuits then carry {current:.3g} A that sums to zero, at a tenth of the knee voltage."
    )


def _capacitive(desk: Desk) -> Iterator[Block]:
    capacitance, omega = desk.capacitance_f, desk.study.machine.omega
    limit = float(handcalc.capacitive_limit_ohm(omega, capacitance))
    rule = "Rule of the capacitive current, R_N <= 1 / (3 w C)"
    if not np.isfinite(limit):
        yield Paragraph(f"{rule}: no capacitance is given.")
        return
    largest = desk.largest_neutral_ohm
    after = " after the trip" if largest > desk.neutral_ohm else ""
    verdict = "kept" if largest <= limit else "not kept"
    yield Paragraph(
        f"{rule} = 1 / (3 x {omega:.4g} 1/s x {capacitance * 1e6:.3g} uF) = {limit:.4g} ohm; the "
        f"neutral has {largest:.4g} ohm{after}: {verdict}."
    )
