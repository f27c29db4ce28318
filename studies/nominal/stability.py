"""The desk's stability rules in words: stabilising voltage and resistance, the knee-point
requirement, four-wire and six-wire leads. Every input stands at its centre; volts, amperes and ohms
of CTs are seen from the legs, ratio matching taken in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from montecarlo.estimates.knee_rule import meet_knee_rule
from montecarlo.formulas import handcalc
from montecarlo.quantities.wording import listed
from montecarlo.relays.places import BRANCH_GROUPS, ENDS, NEUTRAL_CONDUCTOR, SECOND_CORES
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.candidates import candidate_lattices
from studies.nominal.desk import Desk, HandRule, outermost
from studies.nominal.through import through_a, through_share
from studies.report.blocks import Block, Paragraph, Table
from studies.report.words import counted

Groups = tuple[str, ...]  # tables of [ct]


def driven(desk: Desk) -> dict[Groups, list[tuple[str, Axis]]]:
    """The elements without bias, scheme and axis, by the CTs that drive their legs; none whose CTs
    carry nothing of a through fault.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    dict
    """
    found: dict[Groups, list[tuple[str, Axis]]] = {}
    for kind in desk.study.scheme.kinds:
        for axis in AXES:
            if desk.scheme(kind).of(axis) and not desk.biased(kind, axis):
                groups = desk.driving(kind, axis)
                if any(group == NEUTRAL_CONDUCTOR or through_share(group) for group in groups):
                    found.setdefault(groups, []).append((kind, axis))
    return found


def left_unprotected(x: float, digits: int = 3) -> str:
    """The part of the winding that a formula's x leaves unprotected: all of it where x is 1 or
    more.

    Parameters
    ----------
    x : float
    digits : int

    Returns
    -------
    str
    """
    return f"{100 * x:.{digits}g} %" if x < 1 else f"all (x = {x:.{digits}g})"


def words_of(groups: Groups) -> str:
    """Which CTs these are; nothing for those of the two ends.

    Parameters
    ----------
    groups : tuple of str

    Returns
    -------
    str
    """
    if groups == ENDS:
        return ""
    return (
        "second cores"
        if groups == SECOND_CORES
        else listed(group.replace("_", " ") for group in groups)
    )


# --- stabilising voltage ------------------------------------------------------


def stability(desk: Desk) -> Iterator[Block]:
    """Through fault, stabilising voltage and knee-point requirement, and what breaks it.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    fault = desk.through_fault()
    yield Paragraph(
        f"Largest through fault, {fault.event} with its inputs at the end of their range that"
        f" gives the most: {fault.formula} = {fault.primary_a:.4g} A primary, i_f ="
        f" {desk.fault_a:.4g} A secondary (RMS, first cycle)."
    )
    for groups in driven(desk):
        yield from _stabilising_voltage(desk, groups)
    if any(map(_ends, driven(desk))):
        yield Paragraph(_leads(desk))
    yield from _broken(desk)


def _stabilising_voltage(desk: Desk, groups: Groups) -> Iterator[Block]:
    ends = _ends(groups)
    if ends:
        yield _one_end_saturated(desk, groups)
    if NEUTRAL_CONDUCTOR in groups:
        decides = " The larger voltage decides." if ends else ""
        yield Paragraph(_neutral_saturated(desk) + decides)
    needed = [float(handcalc.required_knee(volts)) for volts in stabilising_volts(desk, groups)]
    knee = desk.knee_of(groups)
    verdict = ("not met", "met with one-way leads only", "met")[
        sum(knee >= value for value in needed)
    ]
    yield Paragraph(
        f"Knee-point requirement V_k >= 2 V_s: {needed[0]:.4g} V with one-way leads,"
        f" {needed[1]:.4g} V with the loop; the CTs have {knee:.4g} V: {verdict}."
    )


def _one_end_saturated(desk: Desk, groups: Groups) -> Block:
    ends = _ends(groups)
    secondary = through_a(desk, ends)
    winding, lead = desk.ct_ohm_of(ends)
    loop = f"2 x {lead:g}" if (core := _core_ohm(desk, ends)) == 0 else f"{lead:g} + {core:g}"
    where = f", {words}" if (words := words_of(groups)) else ""
    one_way, both_ways = _end_volts(desk, ends)
    halved = ends[0] in BRANCH_GROUPS
    half = f" A group carries half of the fault, {secondary:.4g} A by its ratio." if halved else ""
    return Paragraph(
        f"Stabilising voltage V_s = i_f (R_ct + R_lead){where}: one-way leads {secondary:.4g} A x "
        f"({winding:g} + {lead:g}) ohm = {one_way:.4g} V; loop {secondary:.4g} A x ({winding:g} + "
        f"{loop}) ohm = {both_ways:.4g} V.{half}"
    )


def _neutral_saturated(desk: Desk) -> str:
    winding, lead = desk.ct_ohm_of([NEUTRAL_CONDUCTOR])
    primary, ohm = _neutral_a(desk), abs(desk.own_neutral_ohm)
    secondary = primary / desk.study.ct.at(NEUTRAL_CONDUCTOR).leg_ratio
    return (
        "If the neutral CT saturates on an earth fault outside the zone: at most E / Z_N ="
        f" {desk.emf_v:.4g} V / {ohm:.4g} ohm = {primary:.4g} A primary. Its leads form a"
        f" loop: {secondary:.4g} A x ({winding:g} + 2 x {lead:g}) ohm = {_neutral_v(desk):.4g} V."
    )


def stabilising_volts(desk: Desk, groups: Groups) -> list[float]:
    """V_s with one-way leads and with the loop. [V]

    Parameters
    ----------
    desk : Desk
    groups : tuple of str

    Returns
    -------
    list of float
        With one-way leads, with the loop (V).
    """
    least = _neutral_v(desk) if NEUTRAL_CONDUCTOR in groups else 0.0
    return [max(volts, least) for volts in _end_volts(desk, _ends(groups))]


def _ends(groups: Groups) -> list[str]:
    return [group for group in groups if group != NEUTRAL_CONDUCTOR]


def _end_volts(desk: Desk, ends: Sequence[str]) -> list[float]:
    """The same with one CT of the ends saturated, 0 without such CTs. [V]"""
    if not ends:
        return [0.0, 0.0]
    winding, lead = desk.ct_ohm_of(ends)
    ways = (lead, lead + (_core_ohm(desk, ends) or lead))
    return [
        float(handcalc.stabilising_voltage(through_a(desk, ends), winding, ohm)) for ohm in ways
    ]


def _core_ohm(desk: Desk, groups: Sequence[str]) -> float:
    """Return core of four-wire leads, the largest; 0 without one. [ohm]"""
    four_wire = desk.study.scheme.leads == "four_wire"
    ohms = [desk.study.ct.at(group).seen_from_legs.return_core_ohm.centre() for group in groups]
    return max(ohms, default=0.0) * four_wire


def _neutral_a(desk: Desk) -> float:
    """Through the neutral conductor in an earth fault outside, behind nothing but the neutral's own
    impedance. [A]"""
    return float(desk.emf_v / abs(desk.own_neutral_ohm))


def _neutral_v(desk: Desk) -> float:
    winding, lead = desk.ct_ohm_of([NEUTRAL_CONDUCTOR])
    secondary = _neutral_a(desk) / desk.study.ct.at(NEUTRAL_CONDUCTOR).leg_ratio
    return float(handcalc.stabilising_voltage(secondary, winding, 2 * lead))


def _leads(desk: Desk) -> str:
    """Which of the two leads holds for which fault."""
    if desk.study.scheme.leads == "six_wire":
        return "Six-wire leads: the loop applies to every fault."
    if core := _core_ohm(desk, desk.study.ct.groups):
        return (
            "Four-wire leads: one-way leads apply to faults between phases. An earth fault returns"
            f" through the core of {core:g} ohm that the three CTs of an end share. The loop"
            " applies to it."
        )
    return (
        "Four-wire leads without a return core: ct.return_core_ohm is 0, so the star point of the"
        " CTs is at the panel. The model has one-way leads in every fault. The loop is for"
        " comparison."
    )


def _broken(desk: Desk) -> Iterator[Block]:
    met_by = meet_knee_rule(desk.study, candidate_lattices(desk.study))
    if broken := int((~met_by).sum()):
        may = "and may be chosen" if desk.study.policy.ignore_knee_rule else "but never chosen"
        verb = "needs" if broken == 1 else "need"
        yield Paragraph(
            f"{broken} of {counted(met_by.size, 'candidate')} {verb} more than half"
            " the knee voltage across the relay circuit to pick up. Such candidates are judged,"
            f" {may} (policy.ignore_knee_rule)."
        )


def security_rests_on(desk: Desk, broken: Sequence[HandRule], delay_s: float) -> str:
    """What keeps a setting from tripping falsely that breaks hand rules.

    Parameters
    ----------
    desk : Desk
    broken : sequence of HandRule
    delay_s : float
        (s).

    Returns
    -------
    str
    """
    remanence = listed(
        dict.fromkeys(
            str(item.distribution)
            for item in list_inputs(desk.study)
            if item.key.endswith("remanence_percent")
        )
    )
    delay = f"the delay of {delay_s:g} s" if delay_s else "no delay at all"
    return (
        f"Not met by hand: {'; '.join(map(str, broken))}. The security of this setting then"
        " depends on three things: simulated CT saturation, remanence as stated in the study"
        f" ({remanence} %), and {delay}."
    )


def stabilising_resistance(desk: Desk) -> Iterator[Block]:
    """The stabilising resistance that the through fault asks for.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    every = driven(desk)
    if every:
        yield Paragraph(
            "Stabilising resistance for this through fault, R_st = V_s / I_set - R_relay:"
        )
    for groups, elements in every.items():
        axes = dict.fromkeys(axis for _, axis in elements)
        both = stabilising_volts(desk, groups)
        rows = [
            (f"{axis} {pickup:g} A", *_resistances(desk, axis, pickup, both))
            for axis in axes
            for pickup in outermost(getattr(desk.study.candidates, f"{axis}_pickup_a"))
        ]
        caption = (words_of(groups) or "both ends") if len(every) > 1 else ""
        head = ("element", "R_relay ohm", "R_st ohm, one-way leads", "R_st ohm, loop")
        yield Table(head, tuple(rows), "<>>>", caption)


def _resistances(desk: Desk, axis: Axis, pickup: float, both: Sequence[float]) -> Iterator[str]:
    """The relay's own, then with one-way leads and with the loop."""
    relay = desk.burden_ohm(axis, pickup)
    yield f"{relay:.4g}"
    for volts in both:
        ohm = float(handcalc.stabilising_resistance(volts, pickup, relay))
        yield f"{max(ohm, 0.0):.4g}"
