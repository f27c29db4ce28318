"""The machine's short-circuit currents at its terminals: IEC 60909-0 with its numbers, beside the
model's own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace

import numpy as np

from montecarlo.formulas import iec60909
from montecarlo.formulas.iec60909 import Generator
from montecarlo.plant.decrement import Decrement, fault_current_rms
from montecarlo.plant.events.through_fault import through_fault
from montecarlo.quantities import Array
from studies.nominal.desk import Desk
from studies.report.blocks import Block, Paragraph, Table

DELAYS_S = (0.05, 0.1, 0.25)  # where the breaking current is shown
NEVER_S, AT_ONCE_S = 1e3, 1e-12  # cleared; decay time of a DC part that is not wanted
ANGLES = np.radians(
    np.linspace(0, 60, 61)
)  # points on wave; three phases and both signs do the rest


def generator_of(desk: Desk) -> Generator:
    """The study's machine as the standard takes it; the network's nominal voltage is not an input:
    the rated one.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    Generator
    """
    machine = desk.study.machine
    return Generator(
        rated_power_va=machine.rated_power_va,
        rated_voltage_v=machine.line_voltage_v,
        nominal_voltage_v=machine.line_voltage_v,
        rated_power_factor=machine.rated_power_factor,
        subtransient_reactance_pu=desk.at("machine.subtransient_reactance_pu"),
        resistance_ohm=desk.at("machine.winding_resistance_ohm"),
        operating_voltage_factor=desk.at("machine.voltage_factor"),
    )


def model_currents(desk: Desk, load_pu: float) -> tuple[float, Array, float]:
    """A terminal three-phase fault in the model's own waveforms, at the load's power factor. [A]

    Parameters
    ----------
    desk : Desk
    load_pu : float
        Before the fault (pu).

    Returns
    -------
    tuple of float, ndarray and float
        Initial RMS, RMS of the AC part at `DELAYS_S`, largest instant of the first cycle over all
        points on wave.
    """
    study = desk.study
    data = _decrement(desk)

    def wave(t: Array, machine: Decrement, angles: Array) -> Array:
        return through_fault(
            "three_phase",
            t,
            machine,
            external_reactance_pu=0.0,
            external_resistance_pu=0.0,
            voltage_factor=desk.at("machine.voltage_factor"),
            load_current_pu=load_pu,
            power_factor=desk.at("load.power_factor"),
            point_on_wave_rad=angles,
            pair=0,
            clearing_time_s=NEVER_S,
            omega=study.machine.omega,
            rated_current_a=study.machine.rated_current_a,
        )

    times = np.array([1e-9, *DELAYS_S])
    two = np.array([0.0, np.pi / 2])
    steady = wave(times, replace(data, armature_time_constant_s=AT_ONCE_S), two)
    # two points on wave a quarter apart
    rms = np.hypot(steady[0, 0], steady[1, 0]) / np.sqrt(2)
    cycle = wave(np.linspace(0, 1 / study.machine.frequency_hz, 721), data, ANGLES)
    return float(rms[0]), rms[1:], float(np.abs(cycle).max())


def _decrement(desk: Desk) -> Decrement:
    return Decrement(**{each.name: desk.at(f"machine.{each.name}") for each in fields(Decrement)})


def short_circuit(desk: Desk) -> Iterator[Block]:
    """Formulas with numbers, the table of both, why they differ.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    hertz = desk.study.machine.frequency_hz
    if hertz not in iec60909.FREQUENCIES_HZ:
        yield Paragraph(
            "Short circuit at the terminals: not computed, since IEC 60909 is for 50 Hz and 60 Hz"
            f" and the machine has {hertz:g} Hz."
        )
        return
    generator = generator_of(desk)
    yield Paragraph(_formulas(desk, generator))
    load = desk.at("load.current_pu")
    heads = ("IEC 60909-0", "model, no load", *([f"load {load:.3g} pu"] if load else []))
    yield Table(("kA", *heads), tuple(_rows(desk, generator, load)), "<" + ">" * len(heads))
    yield Paragraph(_why(desk, generator))


def _formulas(desk: Desk, generator: Generator) -> str:
    study, x = desk.study.machine, desk.at("machine.subtransient_reactance_pu")
    held, sine = desk.at("machine.voltage_factor"), np.sqrt(1 - study.rated_power_factor**2)
    ohm, peak = generator.impedance_ohm(), generator.peak_impedance_ohm
    initial = float(iec60909.initial_current(generator))
    kappa = float(iec60909.peak_factor(generator))
    source = f"{iec60909.C_MAX:g} x {study.line_voltage_v:g} V"
    return (
        "Short circuit at the terminals, the machine alone, by IEC 60909-0 (U_n = U_r, c ="
        f" {iec60909.C_MAX:g}, 1 + p_G = {held:.4g}): K_G = c / (1 + p_G) / (1 + X''d sin phi_r) ="
        f" {iec60909.C_MAX:g} / {held:.4g} / (1 + {x:.4g} x {sine:.4g}) ="
        f" {float(generator.correction):.4g}; I''k = c U_n / (sqrt(3) K_G |R + jX''d|) = {source} /"
        f" (sqrt(3) x {abs(ohm):.4g} ohm) = {initial / 1e3:.4g} kA; kappa = 1.02 + 0.98 exp(-3R/X)"
        f" = {kappa:.4g} with R_Gf = {peak.real / peak.imag:.2g} X''d; i_p = kappa sqrt(2) I''k."
    )


def _rows(desk: Desk, generator: Generator, load: float) -> list[tuple[str, ...]]:
    models = [model_currents(desk, value) for value in dict.fromkeys((0.0, load))]
    initial = iec60909.initial_current(generator)
    peak = iec60909.peak_current(iec60909.peak_factor(generator), initial)
    x2, x0 = (desk.at(f"machine.{name}_sequence_reactance_pu") for name in ("negative", "zero"))
    rated, voltage = desk.study.machine.rated_current_a, desk.at("machine.voltage_factor")
    rows = [
        ("three phases, initial I''k (RMS)", initial, *(first for first, _, _ in models)),
        ("  peak i_p", peak, *(crest for _, _, crest in models)),
        *(
            (
                f"  AC part after {delay:g} s, I_b (RMS)",
                iec60909.breaking_current(generator, delay),
                *(later[at] for _, later, _ in models),
            )
            for at, delay in enumerate(DELAYS_S)
        ),
        (
            "phase to phase, initial I''k2",
            iec60909.phase_phase_current(generator, x2),
            rated * fault_current_rms("phase_phase", 0.0, voltage, _decrement(desk), 0.0),
        ),
        (
            "phase to earth, initial I''k1",
            iec60909.phase_earth_current(generator, x2, x0, desk.own_neutral_ohm),
            abs(desk.earth_faults(1.0).fault_current_a[0, -1]),
        ),
    ]
    return [
        (
            name,
            *(f"{float(value) / 1e3:.4g}" for value in values),
            *["-"] * (1 + len(models) - len(values)),
        )
        for name, *values in rows
    ]


def _why(desk: Desk, generator: Generator) -> str:
    emf = float(generator.source_v / generator.correction) / desk.study.machine.line_voltage_v
    return (
        "Why they differ: at the terminals c U_n cancels against K_G and leaves the EMF of rated"
        f" load, (1 + p_G)(1 + X''d sin phi_r) = {emf:.4g} pu. The model takes the EMF of the load"
        " before the fault. kappa and I_b follow the curves of the standard. The model decays with"
        " T''d, T'd and T_a of the study. K_G does not apply to the neutral impedance, so c"
        " remains in I''k1. I''k1 leaves out capacitances and other neutrals."
    )
