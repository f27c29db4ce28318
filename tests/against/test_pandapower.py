"""IEC 60909 currents of a generator against pandapower's short-circuit calculation.

pandapower (>= 3.5) computes I''k, I''k2 and their peaks with K_G and the fictitious resistance, by
the method of the equivalent frequency (kappa_method "C"), for generators on a bus and beyond lines;
I''k1 for network feeders only. It has no breaking current: I_b is compared in
tests/reference/test_iec60909.py. It does not run on pandas 3, so an environment may be without it.
"""

import os

import numpy as np
import pytest

from montecarlo.formulas import iec60909
from montecarlo.formulas.iec60909 import Generator

pp = pytest.importorskip("pandapower", reason="pandapower is not installed (it needs pandas 2)")
shortcircuit = pytest.importorskip("pandapower.shortcircuit")

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
MACHINES = range(32)  # the odd ones beyond a line


def machine(number):
    """A random generator, its frequency and the impedance of the line to the fault (0 for a
    terminal fault)."""
    rng = np.random.default_rng([SEED, number])
    rated_v = float(rng.choice([400.0, 690.0, 3.3e3, 6.6e3, 11e3, 15.75e3, 24e3]))
    rated_va = float(10 ** rng.uniform(4.7, 6) if rated_v < 1e3 else 10 ** rng.uniform(6, 8.8))
    base_ohm = rated_v**2 / rated_va
    generator = Generator(
        rated_power_va=rated_va,
        rated_voltage_v=rated_v,
        nominal_voltage_v=rated_v / rng.choice([1.0, 1.05]),
        subtransient_reactance_pu=rng.uniform(0.08, 0.35),
        rated_power_factor=rng.uniform(0.7, 1.0),
        resistance_ohm=base_ohm * rng.uniform(0.0005, 0.03),
        operating_voltage_factor=1 + rng.uniform(0, 0.075),
    )
    line = base_ohm * 10 ** rng.uniform(-2.5, 0) * (rng.uniform(0.05, 1.5) + 1j)
    return generator, float(rng.choice([50.0, 60.0])), line if number % 2 else 0.0


def library_current(generator, frequency_hz, line_ohm, fault):
    """I''k and i_p at the end of the line. [A]"""
    net = pp.create_empty_network(f_hz=frequency_hz, sn_mva=1.0)
    nominal_kv = generator.nominal_voltage_v / 1e3
    bus = pp.create_bus(net, vn_kv=nominal_kv)
    pp.create_gen(
        net,
        bus,
        p_mw=0.0,
        sn_mva=generator.rated_power_va / 1e6,
        vn_kv=generator.rated_voltage_v / 1e3,
        xdss_pu=generator.subtransient_reactance_pu,
        rdss_ohm=generator.resistance_ohm,
        cos_phi=generator.rated_power_factor,
        pg_percent=100 * (generator.operating_voltage_factor - 1),
    )
    net.gen["power_station_trafo"] = np.nan
    if line_ohm:
        start, bus = bus, pp.create_bus(net, vn_kv=nominal_kv)
        pp.create_line_from_parameters(
            net,
            start,
            bus,
            length_km=1.0,
            r_ohm_per_km=line_ohm.real,
            x_ohm_per_km=line_ohm.imag,
            c_nf_per_km=0.0,
            max_i_ka=1.0,
        )
    shortcircuit.calc_sc(
        net, bus=bus, fault=fault, case="max", lv_tol_percent=10, ip=True, kappa_method="C"
    )
    row = net.res_bus_sc.loc[bus]
    return 1e3 * row["ikss_ka"], 1e3 * row["ip_ka"]


@pytest.mark.parametrize("number", MACHINES)
def test_three_phases(number):
    generator, frequency_hz, line_ohm = machine(number)
    initial = iec60909.initial_current(generator, line_ohm)
    peak = iec60909.peak_current(iec60909.peak_factor(generator, line_ohm), initial)
    assert (initial, peak) == pytest.approx(
        library_current(generator, frequency_hz, line_ohm, "3ph"), rel=1e-6
    )


@pytest.mark.parametrize("number", MACHINES)
def test_two_phases(number):
    generator, frequency_hz, line_ohm = machine(number)  # the library has X2 = X''d
    initial = iec60909.phase_phase_current(generator, generator.subtransient_reactance_pu, line_ohm)
    peak = iec60909.peak_current(iec60909.peak_factor(generator, line_ohm), initial)
    assert (initial, peak) == pytest.approx(
        library_current(generator, frequency_hz, line_ohm, "2ph"), rel=1e-6
    )


@pytest.mark.parametrize("number", MACHINES)
def test_one_phase_to_earth(number):
    # The library's generators have no zero sequence: a feeder of the same Z_1 and of Z_0 with
    # 3Z_N stands in for one.
    generator, frequency_hz, _ = machine(number)
    rng = np.random.default_rng([SEED, number, 1])
    zero_pu, own = rng.uniform(0.02, 0.15), complex(generator.impedance_ohm())
    neutral_ohm = abs(own) * 10 ** rng.uniform(-1, 3)
    zero = complex(generator.impedance_ohm(zero_pu)) + 3 * neutral_ohm
    net = pp.create_empty_network(f_hz=frequency_hz, sn_mva=1.0)
    bus = pp.create_bus(net, vn_kv=generator.nominal_voltage_v / 1e3)
    pp.create_ext_grid(
        net,
        bus,
        s_sc_max_mva=1.1 * generator.nominal_voltage_v**2 / abs(own) / 1e6,
        rx_max=own.real / own.imag,
        x0x_max=zero.imag / own.imag,
        r0x0_max=zero.real / zero.imag,
    )
    shortcircuit.calc_sc(net, bus=bus, fault="1ph", case="max", lv_tol_percent=10)
    found = iec60909.phase_earth_current(
        generator, generator.subtransient_reactance_pu, zero_pu, neutral_ohm
    )
    assert found == pytest.approx(1e3 * net.res_bus_sc.loc[bus, "ikss_ka"], rel=1e-6)
