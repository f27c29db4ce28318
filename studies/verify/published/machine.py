"""Short-circuit currents of machines, and the neutral against the winding's capacitance."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from montecarlo.formulas import handcalc, iec60909
from montecarlo.plant.decrement import Decrement, fault_current_rms
from montecarlo.plant.events.phase_earth import EarthedBus
from montecarlo.plant.events.through_fault import through_fault
from montecarlo.plant.internal import EarthReturn, earth_fault
from montecarlo.quantities import Array
from studies.verify.published.row import Kind, Published
from studies.verify.published.winding import RAO, WADHWA, rated_current_a

__all__ = ["G2", "GLOVER", "RAO_MACHINE", "rows"]

ROOT2, ROOT3 = math.sqrt(2), math.sqrt(3)
GLOVER_SARMA = "Glover, Sarma, Overbye, Power System Analysis and Design, SI ed., 2022"
LIBRARY = "An open network library's tests, on the data of generator G2 of IEC TR 60909-4"
STANDARD = "IEC 60909-0"
NPTEL = "NPTEL, Power System Protection and Switchgear"

# 7.5 MVA, 6.6 kV; time constants far apart, so that each stage stands by itself
RAO_MACHINE = Decrement(
    subtransient_reactance_pu=0.09,
    transient_reactance_pu=0.15,
    synchronous_reactance_pu=1.0,
    negative_sequence_reactance_pu=0.09,
    subtransient_time_constant_s=1e3,
    transient_time_constant_s=1e9,
    armature_time_constant_s=1e9,
)
# 500 MVA, 20 kV, 60 Hz, 1.05 pu, cleared after 3 cycles
GLOVER = Decrement(
    subtransient_reactance_pu=0.15,
    transient_reactance_pu=0.24,
    synchronous_reactance_pu=1.1,
    negative_sequence_reactance_pu=0.15,
    subtransient_time_constant_s=0.035,
    transient_time_constant_s=2.0,
    armature_time_constant_s=0.20,
)
G2 = iec60909.Generator(
    rated_power_va=100e6,
    rated_voltage_v=10.5e3,
    nominal_voltage_v=10e3,
    subtransient_reactance_pu=0.16,
    rated_power_factor=0.9,
    resistance_ohm=0.005,
    operating_voltage_factor=1.075,
)


def rows() -> Iterator[Published]:
    yield from _stages()
    yield from _with_decrement()
    yield from _standard()
    yield from _to_earth()


def full_offset(
    t: Array, machine: Decrement, omega: float, rated_a: float, voltage_factor: float
) -> Array:
    """L1 of a terminal three-phase fault from no load, never cleared, with the largest offset.
    (nt,)"""
    current, *_ = through_fault(
        "three_phase",
        t,
        machine,
        external_reactance_pu=0.0,
        external_resistance_pu=0.0,
        voltage_factor=voltage_factor,
        load_current_pu=0.0,
        power_factor=1.0,
        point_on_wave_rad=np.pi / 2,
        pair=0,
        clearing_time_s=1e9,
        omega=omega,
        rated_current_a=rated_a,
    )
    return np.asarray(current[0])


def _stages() -> Iterator[Published]:
    rated_a = rated_current_a(7.5e6, 6600)
    rms = (
        fault_current_rms("three_phase", np.array([0.0, 1e5, 1e12]), 1.0, RAO_MACHINE, 0.0)
        * rated_a
    )
    for name, ours, given, digit in zip(
        ("subtransient", "transient", "sustained"), rms, (7290, 4370, 656), (5, 5, 0.5), strict=True
    ):
        yield Published(
            RAO,
            "Ex 20.15",
            f"{name} short-circuit current",
            "A",
            given,
            float(ours),
            digit,
            Kind.SCRIPT,
        )
    crest = (
        abs(float(full_offset(np.array([0.01]), RAO_MACHINE, 100 * np.pi, rated_a, 1.0)[0])) / 1e3
    )
    yield Published(
        RAO,
        "Ex 20.15",
        "making current, half a cycle after inception",
        "kA",
        20.6,
        crest,
        0.05,
        Kind.SCRIPT,
    )
    yield Published(RAO, "Ex 20.15", "its DC component", "kA", 10.3, crest / 2, 0.05, Kind.SCRIPT)


def _with_decrement() -> Iterator[Published]:
    rated_ka, at = rated_current_a(500e6, 20e3) / 1e3, np.array([0.0, 0.05])
    rms = fault_current_rms("three_phase", at, 1.05, GLOVER, 0.0) * rated_ka
    direct = full_offset(at, GLOVER, 120 * np.pi, rated_ka, 1.05) - ROOT2 * rms
    for quantity, given, ours, digit in (
        ("subtransient current", 101, rms[0], 0.5),
        ("largest DC component", 142.9, -direct[0], 0.05),
        ("AC component after 3 cycles", 71.0, rms[1], 0.05),
        ("asymmetrical current after 3 cycles", 132, np.hypot(rms[1], direct[1]), 0.5),
    ):
        yield Published(
            GLOVER_SARMA, "Ex 8.2, p. 412", quantity, "kA", given, float(ours), digit, Kind.MEMORY
        )


def _standard() -> Iterator[Published]:
    def row(
        place: str, quantity: str, unit: str, given: float, ours: Array, digit: float
    ) -> Published:
        return Published(LIBRARY, place, quantity, unit, given, float(ours), digit, Kind.SCRIPT)

    initial, factor = iec60909.initial_current(G2), iec60909.peak_factor(G2)
    place = "terminal fault"
    yield row(place, "initial short-circuit current", "kA", 39.5042, initial / 1e3, 5e-5)
    yield row(place, "factor kappa", "-", 1.8635, factor, 5e-5)
    yield row(
        place,
        "peak short-circuit current",
        "kA",
        104.1085,
        iec60909.peak_current(factor, initial) / 1e3,
        1e-4,
    )
    yield row(
        place,
        "breaking current at 0.1 s",
        "kA",
        27.347,
        iec60909.breaking_current(G2, 0.1) / 1e3,
        1e-4,
    )
    # transformer of 100 MVA, 120/10.5 kV, 12 %, 0.5 %; then 10 km of line; all on the side of
    # 10.5 kV. Without K_SO the generator keeps its K_G and the transformer has its K_T
    ratio, short = 120 / 10.5, 0.005 + 1j * math.sqrt(0.12**2 - 0.005**2)
    plain = short * 10.5e3**2 / 100e6
    transformer = 0.95 * 1.1 / (1 + 0.6 * short.imag) * plain
    for place, given, path in (
        ("beyond its transformer", 1.8460, transformer),
        ("and beyond 10 km of line", 1.6715, transformer + 10 * (0.12 + 0.39j) / ratio**2),
    ):
        ours = iec60909.initial_current(G2, path) * (110 / ratio / 10) / ratio / 1e3
        yield row(place, "initial current without K_SO", "kA", given, ours, 6e-5)
    unit = iec60909.station_unit_current(G2, plain * ratio**2, ratio, 110e3)
    yield row(
        "beyond its transformer", "initial current with K_SO", "kA", 1.9755, unit / 1e3, 1e-4
    )  # cut
    equal = fault_current_rms("phase_phase", 0.0, 1.0, RAO_MACHINE, 0.0) / fault_current_rms(
        "three_phase", 0.0, 1.0, RAO_MACHINE, 0.0
    )
    yield Published(
        STANDARD,
        "4.2.2",
        "two phases over three phases, X2 = X''",
        "-",
        0.866,
        float(equal),
        5e-4,
        Kind.MEMORY,
    )


def _to_earth() -> Iterator[Published]:
    # 25 MVA, 13.2 kV, X'' 0.25, X2 0.35, X0 0.1, neutral solid; the book rounds on the way (the
    # script)
    base_ohm, emf_v = 13.2e3**2 / 25e6, 13.2e3 / ROOT3
    place = "Ex 13.3"
    none, ohm = np.array([np.inf]), np.array([base_ohm])
    bus = EarthedBus(
        negative_ohm=0.35 * ohm,
        zero_ohm=0.1 * ohm,
        network_ohm=none,
        neutral_ohm=1e-9 * ohm,
        other_neutrals_ohm=none,
        capacitance_f=0 * ohm,
        path_ohm=0 * ohm,
        fault_ohm=0 * ohm,
        omega=100 * math.pi,
    )
    outside = abs(sum(part[0] for part in bus.sequences(0.25 * ohm, np.array([emf_v]))))
    yield Published(
        WADHWA,
        place,
        "one phase to earth at the terminals, outside",
        "A",
        4686,
        float(outside),
        0.5,
        Kind.SCRIPT,
    )
    fault = earth_fault(
        1.0,
        0,
        emf_v,
        1j * (0.25 + 0.35 + 0.1) / 3 * base_ohm,
        0.0,
        EarthReturn(neutral_ohm=1e-9, omega=100 * math.pi, infeed_share=0.0),
    )
    yield Published(
        WADHWA,
        place,
        "the same inside, at the end of the winding",
        "A",
        4686,
        float(np.abs(fault.fault_current_a)),
        0.5,
        Kind.SCRIPT,
    )
    # 15.75 kV, 0.25 uF a phase, 50 Hz; printed with 3.14 for pi
    place = "lecture 29"
    limit = float(handcalc.capacitive_limit_ohm(100 * math.pi, 0.25e-6))
    yield Published(
        NPTEL,
        place,
        "largest resistor against the capacitance",
        "ohm",
        4246,
        limit,
        2.5,
        Kind.PRINT,
    )
    yield Published(
        NPTEL,
        place,
        "its current at rated phase voltage",
        "A",
        2.14,
        15750 / ROOT3 / limit,
        0.005,
        Kind.PRINT,
    )
