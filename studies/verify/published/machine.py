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
from studies.verify.published.data import beside
from studies.verify.published.row import Published
from studies.verify.published.winding import rated_current_a

ROOT2, ROOT3 = math.sqrt(2), math.sqrt(3)

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
    """Machines and earthing.

    Yields
    ------
    Published
    """
    yield from _stages()
    yield from _with_decrement()
    yield from _standard()
    yield from _to_earth()


def full_offset(
    t: Array, machine: Decrement, omega: float, rated_a: float, voltage_factor: float
) -> Array:
    """L1 of a terminal three-phase fault from no load, never cleared, with the largest offset. [A]

    Parameters
    ----------
    t : ndarray, (nt,)
        (s).
    machine : Decrement
    omega : float
        (rad/s).
    rated_a, voltage_factor : float
        Rated current (A), EMF (pu).

    Returns
    -------
    ndarray, (nt,)
    """
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
    at = np.array([0.0, 1e5, 1e12])
    rms = fault_current_rms("three_phase", at, 1.0, RAO_MACHINE, 0.0) * rated_a
    wave = full_offset(np.array([0.01]), RAO_MACHINE, 100 * np.pi, rated_a, 1.0)
    crest_ka = abs(float(wave[0])) / 1e3
    yield from beside("stages", *rms, crest_ka, crest_ka / 2)


def _with_decrement() -> Iterator[Published]:
    rated_ka = rated_current_a(500e6, 20e3) / 1e3
    at = np.array([0.0, 0.05])
    rms = fault_current_rms("three_phase", at, 1.05, GLOVER, 0.0) * rated_ka
    direct = full_offset(at, GLOVER, 120 * np.pi, rated_ka, 1.05) - ROOT2 * rms
    yield from beside("decrement", rms[0], -direct[0], rms[1], np.hypot(rms[1], direct[1]))


def _standard() -> Iterator[Published]:
    initial, factor = iec60909.initial_current(G2), iec60909.peak_factor(G2)
    # transformer of 100 MVA, 120/10.5 kV, 12 %, 0.5 %; then 10 km of line; all on the side of
    # 10.5 kV. Without K_SO the generator keeps its K_G and the transformer has its K_T
    ratio, short = 120 / 10.5, 0.005 + 1j * math.sqrt(0.12**2 - 0.005**2)
    plain = short * 10.5e3**2 / 100e6
    transformer = 0.95 * 1.1 / (1 + 0.6 * short.imag) * plain
    line = 10 * (0.12 + 0.39j) / ratio**2
    beyond = [
        iec60909.initial_current(G2, path) * (110 / ratio / 10) / ratio / 1e3
        for path in (transformer, transformer + line)
    ]
    two, three = (
        fault_current_rms(kind, 0.0, 1.0, RAO_MACHINE, 0.0)
        for kind in ("phase_phase", "three_phase")
    )
    yield from beside(
        "iec60909",
        initial / 1e3,
        factor,
        iec60909.peak_current(factor, initial) / 1e3,
        iec60909.breaking_current(G2, 0.1) / 1e3,
        *beyond,
        iec60909.station_unit_current(G2, plain * ratio**2, ratio, 110e3) / 1e3,
        two / three,
    )


def _to_earth() -> Iterator[Published]:
    # 25 MVA, 13.2 kV, X'' 0.25, X2 0.35, X0 0.1, neutral solid; the book rounds on the way (the
    # script)
    base_ohm, emf_v = 13.2e3**2 / 25e6, 13.2e3 / ROOT3
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
    outside_a = abs(sum(part[0] for part in bus.sequences(0.25 * ohm, np.array([emf_v]))))
    inside = earth_fault(
        1.0,
        0,
        emf_v,
        1j * (0.25 + 0.35 + 0.1) / 3 * base_ohm,
        0.0,
        EarthReturn(neutral_ohm=1e-9, omega=100 * math.pi, infeed_share=0.0),
    )
    # 15.75 kV, 0.25 uF a phase, 50 Hz; printed with 3.14 for pi
    limit_ohm = float(handcalc.capacitive_limit_ohm(100 * math.pi, 0.25e-6))
    limit_a = 15750 / ROOT3 / limit_ohm
    yield from beside("earth", outside_a, np.abs(inside.fault_current_a), limit_ohm, limit_a)
