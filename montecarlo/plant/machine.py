"""The machine: rating, reactances, time constants, winding; and the load that it carries."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from montecarlo.quantities import Distribution, Plain, Quantity, Section, number


class Machine(Section):
    """Nameplate and reactances. Per unit is on the machine's own rating; X''d etc. are saturated values."""

    rated_power_va: Annotated[float, Plain("VA", "rated apparent power", 1e4, 3e9)]
    line_voltage_v: Annotated[float, Plain("V", "rated line-to-line voltage", 100.0, 5e4)]
    frequency_hz: Annotated[float, Plain("Hz", "rated frequency", 15.0, 70.0)] = 50.0
    voltage_factor: Annotated[Distribution, Quantity(
        "pu", "EMF before the fault over rated phase voltage", 0.0, above=True, usual=(0.5, 1.5), varies="event",
    )] = number(1.0)
    subtransient_reactance_pu: Annotated[Distribution, Quantity(
        "pu", "X''d, direct axis, saturated", 0.0, above=True, usual=(0.005, 5.0))]
    transient_reactance_pu: Annotated[Distribution, Quantity(
        "pu", "X'd, direct axis, saturated", 0.0, above=True, usual=(0.005, 5.0))]
    synchronous_reactance_pu: Annotated[Distribution, Quantity(
        "pu", "Xd, direct axis", 0.0, above=True, usual=(0.005, 5.0))]
    negative_sequence_reactance_pu: Annotated[Distribution, Quantity(
        "pu", "X2", 0.0, above=True, usual=(0.005, 5.0))]
    zero_sequence_reactance_pu: Annotated[Distribution, Quantity(
        "pu", "X0", 0.0, above=True, usual=(0.001, 5.0))]
    subtransient_time_constant_s: Annotated[Distribution, Quantity(
        "s", "T''d, short-circuit value", 0.0, above=True, usual=(1e-3, 1.0))]
    transient_time_constant_s: Annotated[Distribution, Quantity(
        "s", "T'd, short-circuit value", 0.0, above=True, usual=(0.01, 20.0))]
    armature_time_constant_s: Annotated[Distribution, Quantity(
        "s", "T_a, DC time constant of a terminal three-phase fault", 0.0, above=True, usual=(1e-3, 2.0))]
    winding_resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "armature resistance per phase", 0.0, usual=(0.0, 10.0))] = number(0.0)
    winding_exponent: Annotated[Literal[1, 2], Plain(
        "-", "k in Z_w(x) = R_w x + jX x^k: 2 for ampere-turns squared, 1 for the textbook linear form")] = 2
    stator_capacitance_f: Annotated[Distribution, Quantity(
        "F", "stator winding to earth, per phase", 0.0, high=1e-4)] = number(0.0)
    terminal_capacitance_f: Annotated[Distribution, Quantity(
        "F", "lumped at the terminals inside the zone (surge capacitors), per phase", 0.0, high=1e-4)] = number(0.0)

    @property
    def phase_voltage_v(self) -> float:
        return self.line_voltage_v / math.sqrt(3)

    @property
    def rated_current_a(self) -> float:
        return self.rated_power_va / (math.sqrt(3) * self.line_voltage_v)

    @property
    def base_impedance_ohm(self) -> float:
        return self.line_voltage_v**2 / self.rated_power_va

    @property
    def omega(self) -> float:
        """Rated angular frequency [rad/s]."""
        return 2 * math.pi * self.frequency_hz


class Network(Section):
    """What the machine's terminals see. Without `reactance_pu` nothing feeds an internal fault from outside."""

    reactance_pu: Annotated[Distribution, Quantity(
        "pu", "system behind the terminals, positive = negative sequence, on the machine's rating",
        0.0, above=True, usual=(1e-3, 100.0))] | None = None
    external_capacitance_f: Annotated[Distribution, Quantity(
        "F", "connected outside the zone, per phase", 0.0, high=1e-3)] = number(0.0)


class Load(Section):
    """The load before any event; also the state on which no candidate may operate."""

    current_pu: Annotated[Distribution, Quantity(
        "pu", "current over rated machine current", 0.0, high=3.0, varies="event")] = number(0.0)
    power_factor: Annotated[Distribution, Quantity(
        "-", "power factor, lagging", 0.0, high=1.0, varies="event")] = number(1.0)
