"""Faults inside the zone, as phasors: what each of the six CTs carries.

Earth, phase-phase, phase-phase-earth and three-phase faults at position x of the winding. Faults
between turns of one phase have no function here: the same current enters and leaves the phase, so a
scheme that compares its two ends cannot see them. They are counted as outside the scheme's reach.

Last axis 6 = CT places: neutral end L1, L2, L3, line end L1, L2, L3, positive from the neutral to
the terminals. Everything broadcasts. What flows into the zone does not depend on which end it comes
through (Kirchhoff); the split over the ends still matters, because each CT's error follows its own
current. Models derived here say so."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike
from pydantic import field_validator

from montecarlo.plant.earthing import return_admittance
from montecarlo.plant.evolving import Evolving
from montecarlo.plant.machine import phase_phasors
from montecarlo.quantities import (
    Array,
    Complex,
    Distribution,
    Meaning,
    Plain,
    Quantity,
    Section,
    number,
    word,
)

UNIFORM_POSITION = Distribution(
    "uniform", {"low": 0.0, "high": 1.0}, source="assumed: uniform along the winding"
)

PhaseFaultKind = Literal["phase_phase", "three_phase"]


class Shares(Section):
    """Share of each fault type among internal faults; they sum to 1."""

    earth: Annotated[float, Plain("-", "one phase to earth", 0.0, 1.0)] = 0.0
    phase_phase: Annotated[float, Plain("-", "two phases", 0.0, 1.0)] = 0.0
    phase_phase_earth: Annotated[float, Plain("-", "two phases and earth", 0.0, 1.0)] = 0.0
    three_phase: Annotated[float, Plain("-", "three phases", 0.0, 1.0)] = 0.0
    evolving: Annotated[
        float,
        Plain(
            "-",
            "between phases, following an external fault while it lasts; needs"
            " [internal_faults.evolving]",
            0.0,
            1.0,
        ),
    ] = 0.0
    inter_turn: Annotated[
        float,
        Plain(
            "-",
            "between turns of one phase: sampled where a scheme between groups of branches may see"
            " them, else outside the scheme's scope",
            0.0,
            1.0,
        ),
    ] = 0.0


class Turns(Section):
    """Faults between turns, coils and branches of one phase, those of shares.inter_turn."""

    fault_resistance_ohm: Annotated[
        Distribution, Quantity("ohm", "resistance of such a fault", 0.0, varies="event")
    ] = number(0.0)
    current_error_percent: Annotated[
        Distribution,
        Quantity(
            "%",
            "error of the currents that the winding's model gives",
            -90.0,
            high=200.0,
            varies="event",
        ),
    ] = Distribution(
        "uniform", {"low": -30.0, "high": 30.0}, source="assumed: no measured series was found"
    )
    count_in_p_missed: Annotated[
        bool,
        word(
            "whether p_missed counts them too, where a scheme of the study may see them;"
            " p_missed_all always does"
        ),
    ] = False
    voltage_exponent: Annotated[
        float,
        Plain(
            "-",
            "n: each place where two conductors touch is as likely as their voltage to the power n."
            " 0: all alike; 9 to 12 is often quoted for mica (from memory)",
            0.0,
            20.0,
        ),
    ] = 0.0
    shares_from_catalogue: Annotated[
        bool,
        word(
            "whether the sum of shares.phase_phase and shares.inter_turn is divided as the places"
            " are where conductors of two phases, and of one, touch: by number and"
            " voltage_exponent"
        ),
    ] = False


class InternalFaults(Section):
    """How often, where, through what resistance, and how long an element may take."""

    per_year: Annotated[
        Distribution, Quantity("1/year", "internal faults per machine-year", 0.0, high=100.0)
    ]
    shares: Annotated[Shares, Meaning("-", "share of each fault type; they sum to 1")]
    allowed_time_s: Annotated[
        float, Plain("s", "time from inception within which an element must operate", 0.02, 60.0)
    ] = 0.5
    position: Annotated[
        Distribution,
        Quantity("-", "place along the winding from the neutral", 0.0, high=1.0, varies="event"),
    ] = UNIFORM_POSITION
    earth_fault_resistance_ohm: Annotated[
        Distribution, Quantity("ohm", "resistance of a fault to earth", 0.0, varies="event")
    ] = number(0.0)
    phase_fault_resistance_ohm: Annotated[
        Distribution, Quantity("ohm", "resistance of a fault between phases", 0.0, varies="event")
    ] = number(0.0)
    dc_offset: Annotated[
        bool,
        word(
            "whether faults between phases are solved in time with the DC offset of their currents,"
            " at a random point on wave, not by phasors. A gate of the candidates turns it on. The"
            " network's infeed then needs network.x_over_r"
        ),
    ] = False
    evolving: Annotated[
        Evolving | None, word("the external fault that faults of shares.evolving follow")
    ] = None
    turns: Annotated[
        Turns | None,
        word("faults between turns, of a machine with [winding]; the table may be empty"),
    ] = None

    @field_validator("shares")
    @classmethod
    def _sum_to_one(cls, shares: Shares) -> Shares:
        total = sum(shares.model_dump().values())
        if not abs(total - 1) <= 1e-6:
            raise ValueError(f"the shares sum to {total:g}; they must sum to 1")
        return shares


# --- earth faults -------------------------------------------------------------


@dataclass(frozen=True)
class EarthFault:
    """Phasors of a fault to earth, RMS; all of one shape (...) but for the six CT places."""

    end_currents_a: Complex  # (..., 6) at the CT places
    fault_current_a: Complex  # into the earth at the fault
    neutral_voltage_v: Complex  # neutral against earth
    residual_a: Complex  # sum of what flows into the zone, from the neutral voltage


@dataclass(frozen=True, kw_only=True)
class EarthReturn:
    """How an earth-fault current comes back; arrays that broadcast against the faults."""

    neutral_ohm: ArrayLike
    other_neutrals_ohm: ArrayLike = np.inf  # np.inf for none
    stator_capacitance_f: ArrayLike = 0.0  # per phase, in the zone
    terminal_capacitance_f: ArrayLike = 0.0  # per phase, lumped at the terminals inside the zone
    external_capacitance_f: ArrayLike = 0.0  # per phase, outside
    omega: float  # [rad/s]
    # of the positive and negative sequence, Z_g/(Z_g + Z_s); 0 with the breaker open
    infeed_share: ArrayLike

    @property
    def admittance(self) -> Complex:
        """Y of the whole return path. [S]"""
        inside = np.asarray(self.stator_capacitance_f) + np.asarray(self.terminal_capacitance_f)
        return return_admittance(
            self.neutral_ohm,
            self.other_neutrals_ohm,
            inside + np.asarray(self.external_capacitance_f),
            self.omega,
        )


def earth_fault(
    x: ArrayLike,
    phase: ArrayLike,
    emf_v: ArrayLike,
    winding_ohm: ArrayLike,
    fault_ohm: ArrayLike,
    back: EarthReturn,
) -> EarthFault:
    """Fault of one phase to earth at x. [A], [V]

    Series loop: I_F = xE/(R_F + 1/Y + Z_w), V_N = -I_F/Y; the stator's capacitance lies at half its
    EMF, the lumped one at the whole. Split over the ends, by symmetrical components (derived): the
    machine's neutral current -V_N/Z_N is zero sequence, a third in each phase; of the positive and
    negative sequence of all that flows into the zone the network supplies `infeed_share`, the
    machine the rest. Breaker open (share 0, nothing outside): everything comes through the neutral
    end, the fault current in the faulted phase. The share at the terminals serves every x.

    Parameters
    ----------
    x : array_like (-)
        From the neutral, 0 ... 1.
    phase : array_like of int
        0, 1 or 2.
    emf_v : array_like (V)
        Phase EMF, RMS.
    winding_ohm : complex array_like (ohm)
        Z_w(x), `winding_impedance`.
    fault_ohm : array_like (ohm)
    back : EarthReturn

    Returns
    -------
    EarthFault

    Examples
    --------
    The fault current along a winding of 6.35 kV that is earthed through 635 ohm:

    >>> back = EarthReturn(neutral_ohm=635.0, omega=314.16, infeed_share=0.0)
    >>> fault = earth_fault([0.1, 0.5, 1.0], 0, 6350.0, 0.0, 0.0, back)
    >>> abs(fault.fault_current_a).round(9)
    array([ 1.,  5., 10.])
    """
    emf = phase_phasors(emf_v)
    faulted = _one_hot(phase)
    drive = np.asarray(x) * (faulted * emf).sum(axis=-1)
    current = drive / (np.asarray(fault_ohm) + 1 / back.admittance + np.asarray(winding_ohm))
    return _with_earth_return(current, faulted, emf, back)


def phase_phase_earth(
    x: ArrayLike,
    phase: ArrayLike,
    emf_v: ArrayLike,
    machine_ohm: ArrayLike,
    infeed_ohm: ArrayLike,
    fault_ohm: ArrayLike,
    back: EarthReturn,
) -> EarthFault:
    """Two phases joined at x, and from there to earth. [A], [V]

    The bolted phase-phase current of `phase_fault`, and on top an earth current I_F = x(E_1 +
    E_2)/2/(R_F + 1/Y + Z_w/2), half in each of the two phases (derived: sum and difference of the
    two loops; exact for the machine alone). The mean EMF of the pair is minus half that of the
    third phase.

    Parameters
    ----------
    x, emf_v, machine_ohm, infeed_ohm
        As of `phase_fault`.
    phase : array_like of int
        The one not involved.
    fault_ohm : array_like (ohm)
        From the two phases to earth.
    back : EarthReturn

    Returns
    -------
    EarthFault
    """
    emf = phase_phasors(emf_v)
    half = (1 - _one_hot(phase)) / 2
    drive = np.asarray(x) * (half * emf).sum(axis=-1)
    current = drive / (np.asarray(fault_ohm) + 1 / back.admittance + np.asarray(machine_ohm) / 2)
    to_earth = _with_earth_return(current, half, emf, back)
    between = _between_phases("phase_phase", x, phase, emf, machine_ohm, infeed_ohm, 0.0)
    return replace(to_earth, end_currents_a=to_earth.end_currents_a + between)


def charging_currents(
    emf_v: ArrayLike,
    stator_capacitance_f: ArrayLike,
    terminal_capacitance_f: ArrayLike,
    omega: float,
    infeed_share: ArrayLike = 1.0,
) -> Complex:
    """What the zone's own capacitances draw with no fault (V_N = 0). [A]

    With the default share the network supplies it: 0 at the neutral end, minus the charging current
    at the line end.

    Parameters
    ----------
    emf_v : array_like (V)
    stator_capacitance_f, terminal_capacitance_f : array_like (F)
        Per phase.
    omega : float (rad/s)
    infeed_share : array_like (-)
        As of `EarthReturn`.

    Returns
    -------
    (..., 6) complex array (A)
    """
    emf = phase_phasors(emf_v)
    into = _charging(np.zeros(1), emf, stator_capacitance_f, terminal_capacitance_f, omega)
    return _split(into, np.zeros(1), infeed_share)


def _with_earth_return(
    current: Complex, weight: Array, emf: Complex, back: EarthReturn
) -> EarthFault:
    """All quantities from the earth current (...), its weight on each phase (..., 3) and the EMFs
    (..., 3)."""
    neutral = -current / back.admittance
    into = weight * current[..., None] + _charging(
        neutral[..., None], emf, back.stator_capacitance_f, back.terminal_capacitance_f, back.omega
    )
    outside = return_admittance(
        back.neutral_ohm, back.other_neutrals_ohm, back.external_capacitance_f, back.omega
    )
    through_neutral = (-neutral / np.asarray(back.neutral_ohm))[..., None]
    return EarthFault(
        _split(into, through_neutral, back.infeed_share), current, neutral, -neutral * outside
    )


def _charging(
    neutral_v: Complex | Array,
    emf: Complex,
    stator_f: ArrayLike,
    terminal_f: ArrayLike,
    omega: float,
) -> Complex:
    """Into the zone's capacitances (..., 3): the stator's at half the EMF, the lumped ones at the
    whole."""
    stator = np.asarray(stator_f)[..., None]
    terminal = np.asarray(terminal_f)[..., None]
    return 1j * omega * (stator * (neutral_v + emf / 2) + terminal * (neutral_v + emf))


def _split(into: Complex, through_neutral: Complex | Array, infeed_share: ArrayLike) -> Complex:
    """Currents at the six places from those into the zone (..., 3) and through the machine's
    neutral (..., 1)."""
    balanced = into - into.mean(axis=-1, keepdims=True)  # positive and negative sequence
    neutral_end = through_neutral / 3 + (1 - np.asarray(infeed_share))[..., None] * balanced
    return np.concatenate(np.broadcast_arrays(neutral_end, neutral_end - into), axis=-1)


# --- faults between phases ----------------------------------------------------


def phase_fault(  # noqa: PLR0913
    kind: PhaseFaultKind,
    x: ArrayLike,
    phase: ArrayLike,
    emf_v: ArrayLike,
    machine_ohm: ArrayLike,
    infeed_ohm: ArrayLike,
    fault_ohm: ArrayLike,
    *,
    stator_capacitance_f: ArrayLike,
    terminal_capacitance_f: ArrayLike,
    omega: float,
    infeed_share: ArrayLike,
) -> Complex:
    """Fault between two phases or three at x, clear of earth. [A]

    Derived: the network's voltage is taken equal to the machine's EMF E; of it the remaining
    winding
    takes (1 - x)E, so x E drives the infeed as it drives the machine's own current, and both stand
    in parallel: phase-phase sqrt(3)xE/(2Z + R_F), three-phase xE/(Z + R_F). No magnetic coupling
    between the two parts of the winding. No EMF, no current: 0 at x = 0. The healthy charging
    currents are added (V_N = 0: such a fault leaves the sum of the three voltages as it was).

    Parameters
    ----------
    kind : "phase_phase" or "three_phase"
    x : array_like (-)
        From the neutral, 0 ... 1.
    phase : array_like of int
        Of a pair, the one not involved: 0, 1 or 2.
    emf_v : array_like (V)
        Phase EMF, RMS.
    machine_ohm : complex array_like (ohm)
        Z_w(x) per phase.
    infeed_ohm : complex array_like (ohm)
        Remaining winding and network per phase, np.inf with the breaker open.
    fault_ohm : array_like (ohm)
        Between two phases, or per phase of a three-phase fault.
    stator_capacitance_f, terminal_capacitance_f, omega, infeed_share
        As of `charging_currents`.

    Returns
    -------
    (..., 6) complex array (A)
    """
    emf = phase_phasors(emf_v)
    between = _between_phases(kind, x, phase, emf, machine_ohm, infeed_ohm, fault_ohm)
    return between + charging_currents(
        emf_v, stator_capacitance_f, terminal_capacitance_f, omega, infeed_share
    )


def _between_phases(
    kind: PhaseFaultKind,
    x: ArrayLike,
    phase: ArrayLike,
    emf: Complex,
    machine_ohm: ArrayLike,
    infeed_ohm: ArrayLike,
    fault_ohm: ArrayLike,
) -> Complex:
    """The fault's own currents at the six places: the machine's part at one end, minus the
    network's at the other."""
    machine = np.asarray(machine_ohm)[..., None]
    infeed = np.asarray(infeed_ohm)[..., None]
    alone = np.isinf(infeed)
    finite = np.where(alone, 1.0, infeed)
    share = np.where(alone, 0.0, _ohm(machine, machine + finite))  # of the network
    both = np.where(alone, machine, finite * share)  # the two in parallel
    drive = np.asarray(x)[..., None] * emf
    resistance = np.asarray(fault_ohm)[..., None]
    if kind == "three_phase":
        current = _ohm(drive, both + resistance)
    else:
        apart = _one_hot(phase)
        # +1 in the next phase, -1 after it
        sign = np.roll(apart, 1, axis=-1) - np.roll(apart, 2, axis=-1)
        current = sign * _ohm((sign * drive).sum(axis=-1, keepdims=True), 2 * both + resistance)
    ends = np.broadcast_arrays((1 - share) * current, -share * current)
    return np.concatenate(ends, axis=-1)


def _ohm(voltage: Complex, impedance: Complex) -> Complex:
    """voltage/impedance, and 0 wherever the voltage is 0, be the impedance 0 as well."""
    return voltage / np.where(voltage == 0, 1.0, impedance)


def _one_hot(phase: ArrayLike) -> Array:
    """(...) phase numbers -> (..., 3) with 1 in that phase, 0 in the others."""
    number_of = np.asarray(phase)[..., None]
    if not np.all((number_of >= 0) & (number_of <= 2)):
        raise ValueError("phase must be 0, 1 or 2")
    return np.asarray(number_of == np.arange(3), float)
