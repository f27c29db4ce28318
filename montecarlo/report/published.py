"""The desk's formulas and the models against values in print, worked out anew whenever a report is made.

"(companion)": the printed answer was read from a public solutions companion of the named book."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from montecarlo.estimates import handcalc, iec60909
from montecarlo.plant.decrement import Decrement, fault_current_rms
from montecarlo.secondary.excitation import excitation_table, loop_rms
from montecarlo.secondary.restraint import SUM, operating_quantity

__all__ = ["Published", "published_values"]

ROOT3 = math.sqrt(3)


@dataclass(frozen=True)
class Published:
    """One printed value and ours; `tolerance`: what the printed digits, or the reading of them, leave open."""

    source: str
    quantity: str
    unit: str
    printed: float
    ours: float
    tolerance: float

    @property
    def agrees(self) -> bool:
        return abs(self.ours - self.printed) <= self.tolerance


def published_values() -> Iterator[Published]:
    """Winding left unprotected, earthing, stability, bias, machine currents, cores."""
    yield from _unprotected()
    yield from _stability()
    yield from _currents()
    yield from _secondary()


def _unprotected() -> Iterator[Published]:
    for source, line_v, pickup_a, ohm, winding_ohm, printed, digit in (
            ("Mehta & Mehta, Principles of Power System, Ex 22.2 (companion)", 6600, 100.0, 7.5, 0.0, 19.68, 0.01),
            ("the same, Ex 22.3 (companion)", 6600, 150.0, 6.0, 0.0, 23.62, 0.01),
            ("Chakrabarti et al., A Textbook on Power System Engineering, III Ex 8.3 (companion)", 6600,
             0.3 * 5e6 / (ROOT3 * 6600), 6.5, 0.5, 22.8, 0.1),
            ("Rao, Switchgear Protection & Power Systems, Ex 33.3 (companion)", 11000, 0.2 * 10e6 / (ROOT3 * 11000),
             7.0, 0.0, 11.57, 0.01)):
        ours = 100 * float(handcalc.unprotected_fraction(pickup_a, ohm, line_v / ROOT3,
                                                         winding_resistance_ohm=winding_ohm))
        yield Published(source, "winding left unprotected", "%", printed, ours, digit)
    ours = float(handcalc.resistance_for_fraction(0.10, 175.0, 6600 / ROOT3,
                                                  winding_reactance_ohm=0.1 * 6600**2 / 10e6))
    yield Published("Mehta & Mehta, Ex 22.1 (companion)", "neutral resistor that leaves 10 %", "ohm", 2.177, ours,
                    0.001)


def _stability() -> Iterator[Published]:
    source = "NPTEL, Power System Protection and Switchgear, lecture 28"
    through = 12 * 200e6 / (ROOT3 * 13.8e3 * 0.9) / 2000
    volts = handcalc.stabilising_voltage(through, 1.5, 0.3)
    yield Published(source, "stabilising voltage", "V", 100.4, float(volts), 0.1)
    yield Published(source, "stabilising resistance", "ohm", 196.8, float(handcalc.stabilising_resistance(
        volts, 0.5, 1 / 0.5**2)), 0.1)
    yield Published(source, "knee voltage needed", "V", 200.8, float(handcalc.required_knee(volts)), 0.1)


def _currents() -> Iterator[Published]:
    machine = Decrement(
        subtransient_reactance_pu=0.09, transient_reactance_pu=0.15, synchronous_reactance_pu=1.0,
        negative_sequence_reactance_pu=0.09, subtransient_time_constant_s=1e3, transient_time_constant_s=1e9,
        armature_time_constant_s=1e9)                      # far apart, so that each stage stands by itself
    stages = fault_current_rms("three_phase", np.array([0.0, 1e5, 1e12]), 1.0, machine, 0.0) * 7.5e6 / (ROOT3 * 6600)
    for name, ours, printed, digit in zip(("subtransient", "transient", "sustained"), stages, (7290, 4370, 656),
                                          (5, 5, 0.5), strict=True):
        yield Published("Rao, Ex 20.15 (companion)", f"{name} short-circuit current", "A", printed, float(ours), digit)
    held = iec60909.Generator(rated_power_va=100e6, rated_voltage_v=10.5e3, nominal_voltage_v=10e3,
                              subtransient_reactance_pu=0.16, rated_power_factor=0.9, resistance_ohm=0.005,
                              operating_voltage_factor=1.075)
    initial = iec60909.initial_current(held)
    source = "IEC TR 60909-4, generator G2 (as an open network library encodes it)"
    yield Published(source, "initial short-circuit current", "kA", 39.5042, float(initial) / 1e3, 5e-5)
    yield Published(source, "peak short-circuit current", "kA", 104.1085, float(iec60909.peak_current(
        iec60909.peak_factor(held), initial)) / 1e3, 1e-4)
    yield Published(source, "breaking current at 0.1 s", "kA", 27.347, float(iec60909.breaking_current(
        held, 0.1)) / 1e3, 1e-4)


def _secondary() -> Iterator[Published]:
    curve = excitation_table(80.0, 15).at(0.2)
    yield Published("IEC 61869-2, definition of the knee", "exciting current at 1.1 times the knee voltage, over that "
                    "at the knee", "-", 1.5, float(loop_rms(curve, 1.1, 15) / loop_rms(curve, 1.0, 15)), 1e-4)
    ours = 0.2 + 0.5 - float(operating_quantity(np.array([0.5]), np.array([4.25]), SUM, 0.10, 0.10, 0.0)[0])
    yield Published("Wadhwa, Electrical Power Systems, Ex 14.6 (companion)", "current at which a biased element trips",
                    "A", 0.625, ours, 0.0005)
