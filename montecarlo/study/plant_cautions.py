"""Cautions of the earthing, the winding, the machine and its load, every input at its centre."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from montecarlo.relays.places import OF_BRANCHES
from montecarlo.study.check import Caution
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal

# An earth-fault current below it is that of a unit-connected machine; common practice. [A]
FEW_AMPERES = 25.0
MOST_HEATED_K = 760.0  # rise of a neutral resistor in its shortest duties


def _capacitive_current(study: Study) -> Iterator[Caution]:
    nominal = Nominal(study)
    capacitance = nominal.capacitance_f
    resistance = nominal.largest_neutral_ohm
    if capacitance <= 0:
        yield Caution(
            "machine.stator_capacitance_f",
            "No capacitance to earth is given. Charging currents are left out of the faults. The"
            " rule R <= 1/(3wC) of the resistor cannot be checked.",
        )
    elif resistance > (limit := 1 / (3 * study.machine.omega * capacitance)):
        key, after = study.earthing.key, ""
        if study.earthing.high_resistance_ohm is not None:
            key, after = "high_resistance_ohm", " after the trip"
        yield Caution(
            f"earthing.{key}",
            f"{resistance:.4g} ohm{after} is above 1/(3wC) = {limit:.4g} ohm"
            f" (C = {capacitance * 1e6:.3g} uF per phase). Intermittent earth faults may then"
            " raise the voltage.",
        )


def _heating(study: Study) -> Iterator[Caution]:
    """Rises of IEEE Std 32-1972, as quoted in secondary sources: 10 s and 60 s duty 760 K, extended
    time 610 K."""
    rise = study.earthing.temperature_rise_k.support()[1]
    if rise > MOST_HEATED_K:
        yield Caution(
            "earthing.temperature_rise_k",
            f"The resistor heats by up to {rise:g} K. The limit for short duty is"
            f" {MOST_HEATED_K:g} K (IEEE Std 32-1972, as quoted in secondary sources).",
        )


def _winding_exponent(study: Study) -> Iterator[Caution]:
    if study.machine.winding_exponent == 1:
        yield Caution(
            "machine.winding_exponent",
            "The winding reactance grows linearly from the neutral, as in textbook examples. For a"
            " real winding 2 (ampere-turns squared) is the better law.",
        )


def _winding_reactance(study: Study) -> Iterator[Caution]:
    nominal = Nominal(study)
    winding = abs(nominal.earth_loop_ohm())
    back = abs(1 / nominal.earth_return.admittance)
    if winding > back / 3:
        yield Caution(
            "machine.winding_exponent",
            f"The winding impedance of {winding:.3g} ohm is not small compared with {back:.3g} ohm"
            " of the earth return. The law of its growth along the winding matters.",
        )


def _unit_connected(study: Study) -> Iterator[Caution]:
    current = abs(Nominal(study).earth_faults(1.0).fault_current_a[0, 0])
    if current < FEW_AMPERES:
        yield Caution(
            f"earthing.{study.earthing.key}",
            f"An earth fault at the terminals drives {current:.3g} A, as on a unit-connected"
            " machine. The usual protection against it measures neutral voltage or neutral"
            " current, not differential current.",
        )


def _reach(study: Study) -> Iterator[Caution]:
    """What flows into the zone is what the CTs of both ends can see of a fault."""
    seen = abs(Nominal(study).earth_faults(1.0).residual_a[0, 0])
    finest = min((*study.candidates.phase_pickup_a, *study.candidates.earth_pickup_a))
    own = (study.ct.at(group).leg_ratio for group in study.ct.groups if group in OF_BRANCHES)
    needed = finest * min((study.ct.stating.leg_ratio, *own))
    if seen < needed:
        yield Caution(
            "candidates",
            f"The lowest pick-up needs {needed:.3g} A primary. A bolted earth fault at the"
            f" terminals gives the CTs {seen:.3g} A. No element can operate on an earth fault"
            " here.",
        )


def _zone_capacitance(study: Study) -> Iterator[Caution]:
    """An earth fault outside the zone makes the zone itself feed 3w(C_s + C_z)V_N, V_N up to E."""
    listed = any(event.kind == "phase_earth" for event in study.external_events)
    if listed or not study.candidates.earth_pickup_a:
        return
    nominal = Nominal(study)
    fed = 3 * study.machine.omega * nominal.zone_capacitance_f * nominal.emf_v
    finest = min(study.candidates.earth_pickup_a)
    ratio = study.ct.stating.leg_ratio
    if fed > finest * ratio:
        yield Caution(
            "candidates.earth_pickup_a",
            "On an earth fault outside the zone the capacitance inside the zone feeds up to"
            f" {fed:.3g} A. This is above the lowest earth pick-up of {finest:g} A secondary ="
            f" {finest * ratio:.3g} A primary. No event of kind phase_earth is listed, so p_false"
            " does not include such faults.",
        )


def _voltage(study: Study) -> Iterator[Caution]:
    machine = study.machine
    if not 380 <= machine.line_voltage_v <= 30e3:
        yield Caution(
            "machine.line_voltage_v",
            f"{machine.line_voltage_v:g} V is unusual for a generator (400 V to 27 kV). The key"
            " takes the line-to-line voltage in volts.",
        )
    low, high = machine.voltage_factor.support()
    if low < 0.9 or high > 1.1:
        yield Caution(
            "machine.voltage_factor",
            f"The EMF before a fault is {low:g} ... {high:g} of the rated phase voltage. Usual in"
            " service is 0.9 ... 1.1.",
        )


def _frequency(study: Study) -> Iterator[Caution]:
    if study.machine.frequency_hz not in (50.0, 60.0, 16.7, 50 / 3, 25.0):
        yield Caution(
            "machine.frequency_hz",
            f"{study.machine.frequency_hz:g} Hz is not a usual system frequency.",
        )


def _time_constants(study: Study) -> Iterator[Caution]:
    fast = study.machine.subtransient_time_constant_s.centre()
    slow = study.machine.transient_time_constant_s.centre()
    if fast >= slow:
        yield Caution(
            "machine.subtransient_time_constant_s",
            f"T''d = {fast:g} s is not below T'd = {slow:g} s; are the two swapped?",
        )


def _reactance_order(study: Study) -> Iterator[Caution]:
    names = ("subtransient_reactance_pu", "transient_reactance_pu", "synchronous_reactance_pu")
    for small, large in pairwise(names):
        high = getattr(study.machine, small).support()[1]
        low = getattr(study.machine, large).support()[0]
        if high > low:
            yield Caution(
                f"machine.{small}",
                f"It can be as high as {high:g} pu while {large} is as low as {low:g} pu. Some"
                " sampled machines are then impossible. Correlate the two or narrow them.",
            )


def _load(study: Study) -> Iterator[Caution]:
    low, high = study.load.current_pu.support()
    if high > 1.1:
        yield Caution(
            "load.current_pu",
            f"The load reaches {high:g} pu of the machine's rated current. Above 1.1 pu it is an"
            " overload. Every candidate must restrain on it.",
        )
    if high == low == 0:
        yield Caution(
            "load.current_pu",
            "The load is always 0. The error current on load is not known, nor whether a candidate"
            " operates on load.",
        )


PLANT_CAUTIONS = (
    _capacitive_current,
    _heating,
    _winding_exponent,
    _winding_reactance,
    _unit_connected,
    _reach,
    _zone_capacitance,
    _voltage,
    _frequency,
    _time_constants,
    _reactance_order,
    _load,
)
