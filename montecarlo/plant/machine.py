"""The machine: rating, reactances, time constants, winding; and the load that it carries."""

from __future__ import annotations

import math
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array, Complex, Distribution, Plain, Quantity, Section, number

PHASE_ROTATION: Complex = np.exp(-2j * np.pi / 3 * np.arange(3))
"""What turns a phasor of L1 into those of L1, L2, L3: L2 lags by 120 degrees, L3 leads by 120."""


class Machine(Section):
    """Nameplate and reactances. Per unit is on the machine's own rating; X''d etc. are saturated
    values."""

    rated_power_va: Annotated[float, Plain("VA", "rated apparent power", 1e4, 3e9)]
    line_voltage_v: Annotated[float, Plain("V", "rated line-to-line voltage", 100.0, 5e4)]
    frequency_hz: Annotated[float, Plain("Hz", "rated frequency", 15.0, 70.0)] = 50.0
    rated_power_factor: Annotated[
        float,
        Plain(
            "-",
            "rated power factor, overexcited; for the IEC 60909 currents that `check` prints",
            0.0,
            1.0,
        ),
    ] = 0.85
    voltage_factor: Annotated[
        Distribution,
        Quantity(
            "pu",
            "terminal voltage before the fault over rated voltage",
            0.0,
            above=True,
            usual=(0.5, 1.5),
            varies="event",
        ),
    ] = number(1.0)
    subtransient_reactance_pu: Annotated[
        Distribution,
        Quantity("pu", "X''d, direct axis, saturated", 0.0, above=True, usual=(0.005, 5.0)),
    ]
    transient_reactance_pu: Annotated[
        Distribution,
        Quantity("pu", "X'd, direct axis, saturated", 0.0, above=True, usual=(0.005, 5.0)),
    ]
    synchronous_reactance_pu: Annotated[
        Distribution, Quantity("pu", "Xd, direct axis", 0.0, above=True, usual=(0.005, 5.0))
    ]
    negative_sequence_reactance_pu: Annotated[
        Distribution, Quantity("pu", "X2", 0.0, above=True, usual=(0.005, 5.0))
    ]
    zero_sequence_reactance_pu: Annotated[
        Distribution, Quantity("pu", "X0", 0.0, above=True, usual=(0.001, 5.0))
    ]
    subtransient_time_constant_s: Annotated[
        Distribution, Quantity("s", "T''d, short-circuit value", 0.0, above=True, usual=(1e-3, 1.0))
    ]
    transient_time_constant_s: Annotated[
        Distribution, Quantity("s", "T'd, short-circuit value", 0.0, above=True, usual=(0.01, 20.0))
    ]
    armature_time_constant_s: Annotated[
        Distribution,
        Quantity(
            "s",
            "T_a, DC time constant of a terminal three-phase fault",
            0.0,
            above=True,
            usual=(1e-3, 2.0),
        ),
    ]
    winding_resistance_ohm: Annotated[
        Distribution, Quantity("ohm", "armature resistance per phase", 0.0, usual=(0.0, 10.0))
    ] = number(0.0)
    winding_exponent: Annotated[
        Literal[1, 2],
        Plain(
            "-",
            "k in Z_w(x) = R_w x + jX x^k: 2 (ampere-turns squared) or 1 (linear, as in textbooks)",
        ),
    ] = 2
    stator_capacitance_f: Annotated[
        Distribution, Quantity("F", "stator winding to earth, per phase", 0.0, high=1e-4)
    ] = number(0.0)
    terminal_capacitance_f: Annotated[
        Distribution,
        Quantity(
            "F",
            "lumped inside the zone, as surge capacitors on the machine's side of the line-end CTs,"
            " per phase",
            0.0,
            high=1e-4,
        ),
    ] = number(0.0)

    @property
    def phase_voltage_v(self) -> float:
        """Rated, between phase and neutral. [V]"""
        return self.line_voltage_v / math.sqrt(3)

    @property
    def rated_current_a(self) -> float:
        """Rated current of a phase, RMS. [A]"""
        return self.rated_power_va / (math.sqrt(3) * self.line_voltage_v)

    @property
    def base_impedance_ohm(self) -> float:
        """What 1 pu is. [ohm]"""
        return self.line_voltage_v**2 / self.rated_power_va

    @property
    def omega(self) -> float:
        """Rated angular frequency. [rad/s]"""
        return 2 * math.pi * self.frequency_hz


class Network(Section):
    """What the machine's terminals see. Without `reactance_pu` nothing feeds an internal fault from
    outside."""

    reactance_pu: (
        Annotated[
            Distribution,
            Quantity(
                "pu",
                "system behind the terminals, positive = negative sequence, on the machine's"
                " rating",
                0.0,
                above=True,
                usual=(1e-3, 100.0),
            ),
        ]
        | None
    ) = None
    x_over_r: (
        Annotated[
            Distribution,
            Quantity(
                "-",
                "X/R of its infeed into an internal fault between phases, for the DC offset",
                0.0,
                above=True,
                usual=(0.1, 500.0),
            ),
        ]
        | None
    ) = None
    external_capacitance_f: Annotated[
        Distribution,
        Quantity(
            "F",
            "outside the zone: bus, cables, surge capacitors beyond the line-end CTs, per phase",
            0.0,
            high=1e-3,
        ),
    ] = number(0.0)


class Load(Section):
    """The load before any event; also the state on which no candidate may operate."""

    current_pu: Annotated[
        Distribution,
        Quantity("pu", "current over rated machine current", 0.0, high=3.0, varies="event"),
    ] = number(0.0)
    power_factor: Annotated[
        Distribution, Quantity("-", "power factor, lagging", 0.0, high=1.0, varies="event")
    ] = number(1.0)


def winding_impedance(
    x: ArrayLike, resistance_ohm: ArrayLike, reactance_ohm: ArrayLike, exponent: int
) -> Complex:
    """Impedance of the winding between the neutral and position x. [ohm]

    Resistance grows with the length, reactance with x^exponent: 2 for ampere-turns squared, 1 for
    the linear form of the textbooks (e.g. Mehta & Mehta, Principles of Power System, ch. 22).
    Broadcasts.

    Parameters
    ----------
    x : array_like (-)
        From the neutral, 0 ... 1.
    resistance_ohm, reactance_ohm : array_like (ohm)
        Of the whole phase winding.
    exponent : int
        1 or 2.

    Returns
    -------
    complex array (ohm)

    Raises
    ------
    ValueError
        x lies outside 0 ... 1.
    """
    place = np.asarray(x, float)
    if not np.all((place >= 0) & (place <= 1)):
        raise ValueError("x must lie in 0 ... 1, as a fraction of the winding from the neutral")
    return np.asarray(
        np.asarray(resistance_ohm) * place + 1j * np.asarray(reactance_ohm) * place**exponent
    )


def earth_fault_reactance_pu(
    x_subtransient: ArrayLike, x_negative: ArrayLike, x_zero: ArrayLike
) -> Array:
    """Reactance of the faulted phase in a terminal earth fault, (X''d + X2 + X0)/3. [pu]

    Symmetrical components: I = 3E/(X1 + X2 + X0).

    Parameters
    ----------
    x_subtransient, x_negative, x_zero : array_like (pu)

    Returns
    -------
    array (pu)
    """
    return np.asarray(np.mean(np.broadcast_arrays(x_subtransient, x_negative, x_zero), axis=0))


def phase_fault_reactance_pu(x_subtransient: ArrayLike, x_negative: ArrayLike) -> Array:
    """Reactance per phase in a terminal phase-phase fault, (X''d + X2)/2. [pu]

    Symmetrical components: I = sqrt(3)E/(X1 + X2).

    Parameters
    ----------
    x_subtransient, x_negative : array_like (pu)

    Returns
    -------
    array (pu)
    """
    return np.asarray(np.mean(np.broadcast_arrays(x_subtransient, x_negative), axis=0))


def infeed_share(x_subtransient: ArrayLike, x_negative: ArrayLike, x_network: ArrayLike) -> Array:
    """Part of an internal fault's positive and negative sequence that the network takes over. [-]

    Z_g/(Z_g + Z_s).

    Parameters
    ----------
    x_subtransient, x_negative : array_like (pu)
    x_network : array_like (pu)
        np.inf for no network.

    Returns
    -------
    array (-)
    """
    own = phase_fault_reactance_pu(x_subtransient, x_negative)
    return np.asarray(own / (own + np.asarray(x_network)))


def phase_phasors(value: ArrayLike) -> Complex:
    """Phasors of L1, L2, L3 from that of L1, in its unit.

    Parameters
    ----------
    value : (...) array_like

    Returns
    -------
    (..., 3) complex array
    """
    return np.asarray(value)[..., None] * PHASE_ROTATION
