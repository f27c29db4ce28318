"""Current transformers: errors, flux, the knee, what a class allows, saturation by an offset
current."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from montecarlo.quantities import Array
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.excitation import excitation_table, loop_rms
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.nameplate import MINUTE, Core, Designation, design, read_class
from montecarlo.secondary.remanence import coefficients_of
from studies.verify.published.data import beside, values
from studies.verify.published.row import Published

OMEGA = 2 * math.pi * 50.0
LINEAR = (1.0, 0.0, 0.0, 0.0)
ONE_LEG = np.ones((1, 1))
X_OVER_R = 15.0
BURDEN_VA = 15.0
CLASSES = ("5P20", "10P10")


def one_ct(
    *,
    turns: float,
    series_ohm: float,
    knee_v: float,
    knee_a: float,
    curve: tuple[float, ...] | Array = LINEAR,
    exponent: int = 15,
    remanence: float = 0.0,
) -> CtBank:
    """A single CT at 50 Hz.

    Parameters
    ----------
    turns : float
    series_ohm : float
        Winding and lead (ohm).
    knee_v, knee_a : float
        Knee, RMS (V, A).
    curve : sequence of float, (4,)
        Coefficients of its characteristic, by default straight.
    exponent : int
    remanence : float
        (knee flux).

    Returns
    -------
    CtBank
        (1, 1).
    """

    def column(value: float) -> Array:
        return np.full((1, 1), value)

    return CtBank(
        column(turns),
        column(series_ohm),
        column(math.sqrt(2) * knee_v / OMEGA),
        column(knee_a),
        np.array(curve)[:, None, None],
        np.array([exponent]),
        column(remanence),
    )


def secondary_phasor(bank: CtBank, leg_ohm: float, primary_a: complex) -> tuple[complex, complex]:
    """Secondary current and core flux of one CT.

    Parameters
    ----------
    bank : CtBank
        (1, 1).
    leg_ohm : float
        (ohm).
    primary_a : complex
        RMS (A).

    Returns
    -------
    tuple of complex
        RMS (A), peak (knee flux).
    """
    legs, _, flux = steady.solve(
        ONE_LEG, np.full((1, 1), leg_ohm), bank, np.full((1, 1), primary_a + 0j), OMEGA
    )
    return complex(legs[0, 0]), complex(flux[0, 0])


def secondary_wave(bank: CtBank, leg_ohm: float, wave: Array, window: transient.Window) -> Array:
    """Secondary current at step ends. [A]

    Parameters
    ----------
    bank : CtBank
        (1, 1).
    leg_ohm : float
        (ohm).
    wave : ndarray, (points,)
        Primary, on `window.times` (A).
    window : Window

    Returns
    -------
    ndarray, (steps,)
    """
    trace = transient.solve(
        ONE_LEG,
        np.full((1, 1), leg_ohm),
        bank,
        transient.Source(wave[None, None], np.array([0])),
        window,
        np.zeros((1, 1), complex),
        Measurement(legs=(0,)),
        keep_trace=True,
    ).trace
    assert trace is not None
    return np.asarray(trace[0, 0])


# --- by phasors ---------------------------------------------------------------


def rows() -> Iterator[Published]:
    """By phasors.

    Yields
    ------
    Published
    """
    # 1:240, 5 A, 1.2 ohm, 96 ampere-turns, 1200 mm2, 50 Hz
    bank = one_ct(turns=240.0, series_ohm=0.0, knee_v=6.0, knee_a=math.sqrt(2) * 96 / 240)
    primary = math.hypot(240 * 5, 96)
    current, flux = secondary_phasor(bank, 1.2, primary)
    tesla = abs(flux) * float(bank.knee_flux_wb[0, 0]) / (240 * 1200e-6)
    angle_deg = math.degrees(np.angle(current))
    yield from beside("ratio_errors", primary / abs(current), angle_deg, tesla)
    # CT 2000/5, 40 kA, 0.31 + 2 ohm, 28.45 cm2, 50 Hz; printed with 4.4 for pi sqrt(2)
    bank = one_ct(turns=400.0, series_ohm=0.31, knee_v=231.0, knee_a=0.0)
    flux = secondary_phasor(bank, 2.0, 40e3)[1]
    tesla = abs(flux) * float(bank.knee_flux_wb[0, 0]) / (400 * 28.45e-4)
    yield from beside("flux_density", tesla * np.pi * math.sqrt(2) / 4.4)
    curves = (
        excitation_table(80.0, 15).at(0.2),
        coefficients_of("shifted_curve", 80.0, 15, 0.2),
    )
    yield from beside(
        "knee", *(loop_rms(curve, 1.1, 15) / loop_rms(curve, 1.0, 15) for curve in curves)
    )
    yield from beside("class_limits", *_class_errors())


def _class_errors() -> Iterator[float]:
    """A core that only just meets its class, on its rated burden taken as a resistance: ratio error
    [%] and displacement [min], as far as the class limits it."""
    for name in CLASSES:
        plate, bank = _just(name)
        error = secondary_phasor(bank, 0.0, 1.0)[0] - 1
        yield 100 * abs(abs(1 + error) - 1) + plate.rules.turns_percent
        if plate.rules.displacement is not None:
            yield float(abs(np.angle(1 + error))) / MINUTE


def _just(name: str) -> tuple[Designation, CtBank]:
    """The class, and the core designed to it: 1 A, 5 ohm, ratio 1, all of the burden in series."""
    plate = read_class(name)
    assert plate is not None
    assert plate.factor is not None
    core = Core(plate.rules.bound_percent, float(np.mean(plate.rules.ankle)), 15)
    found = design(plate, core, 1.0, 5.0, plate.burden_ohm(BURDEN_VA, 1.0), plate.factor, 1.0)
    return plate, one_ct(
        turns=1.0,
        series_ohm=found.limiting_v / plate.factor,
        knee_v=found.knee_voltage_v,
        knee_a=found.knee_current_a,
        curve=excitation_table(core.bound_percent, core.exponent).at(core.ankle),
    )


# --- in time ------------------------------------------------------------------


def offset_wave(x_over_r: float, times: Array) -> Array:
    """1000 A RMS, full offset; behind a ratio of 1000 the secondary carries 1 A RMS. [A]

    Parameters
    ----------
    x_over_r : float
    times : ndarray, (nt,)
        (s).

    Returns
    -------
    ndarray, (nt,)
    """
    decay = np.exp(-np.maximum(times, 0.0) * OMEGA / x_over_r)
    return np.where(times < 0, 0.0, 1000.0 * np.sqrt(2) * (decay - np.cos(OMEGA * times)))


def flux_over_symmetrical(current: Array, window: transient.Window) -> Array:
    """Flux that a resistive burden needs over the peak that it needs without offset, at step ends.

    Parameters
    ----------
    current : ndarray, (steps,)
        (A).
    window : Window

    Returns
    -------
    ndarray, (steps,)
    """
    area = (
        np.cumsum(current - np.concatenate(([0.0], np.diff(current) / 2))) * window.step_s
    )  # trapezes
    return np.asarray(area * OMEGA / np.sqrt(2))


def saturates_at(factor: float, remanence: float = 0.0) -> float:
    """Time at which a nearly rectangular core gives way, a tenth of the peak current lost, at X/R =
    15. [s]

    Parameters
    ----------
    factor : float
        Knee flux over what the symmetrical current needs.
    remanence : float
        (knee flux).

    Returns
    -------
    float
        Infinite if never.
    """
    bank = one_ct(
        turns=1000.0,
        series_ohm=2.0,
        knee_v=factor * 5.0,
        knee_a=1e-3,
        curve=(0.0, 1.0, 0.0, 1e-6),
        exponent=401,
        remanence=remanence,
    )
    return first_loss(bank)


def first_loss(bank: CtBank) -> float:
    """When a CT of ratio 1000 on 3 ohm first loses a tenth of the peak of the offset current. [s]

    Parameters
    ----------
    bank : CtBank
        (1, 1).

    Returns
    -------
    float
        Infinite if never.
    """
    window = transient.Window(50.0, 0.4, 256)
    wave = offset_wave(X_OVER_R, window.times())
    lost = np.abs(secondary_wave(bank, 3.0, wave, window) - wave[2::2] / 1000) > 0.1 * np.sqrt(2)
    return float(window.times()[2::2][lost.argmax()]) if lost.any() else math.inf


def transient_rows() -> Iterator[Published]:
    """By integration.

    Yields
    ------
    Published
    """
    yield from beside("composite_errors", *map(_composite_percent, CLASSES))
    yield from _dimensioning()
    # t_s = -X/(wR) ln[1 - (K_s - 1)/(X/R)]: three quarters of a cycle, where the alternating
    # flux has its crest; K_s 5, and K_s 10 with remanence of 50 %
    yield from beside("saturation", 1e3 * saturates_at(5.0), 1e3 * saturates_at(10.0, 0.5))


def _composite_percent(name: str) -> float:
    """Sinusoidal primary current at the accuracy limit, RMS of the instantaneous error (the
    standard's direct test)."""
    window = transient.Window(50.0, 0.5, 128)
    plate, bank = _just(name)
    assert plate.factor is not None
    wave = plate.factor * math.sqrt(2) * np.sin(OMEGA * window.times())
    error = (secondary_wave(bank, 0.0, wave, window) - wave[2::2])[-window.per_cycle :]
    return 100 * float(np.sqrt(np.mean(error**2))) / plate.factor


def _dimensioning() -> Iterator[Published]:
    """Both formulas are envelopes: integration stays below."""
    window = transient.Window(50.0, 0.6, 128)
    wave = offset_wave(X_OVER_R, window.times())

    def need(knee_a: float) -> float:
        bank = one_ct(turns=1000.0, series_ohm=2.0, knee_v=100.0, knee_a=knee_a)
        current = secondary_wave(bank, 3.0, wave, window)
        return float(flux_over_symmetrical(current, window).max())

    ideal, real = values("dimensioning")
    yield replace(ideal, ours=need(0.0))
    primary_s, secondary_s, ohm = X_OVER_R / OMEGA, 1.0, 5.0
    t = window.times()[2::2]
    envelope = 1 + OMEGA * primary_s * secondary_s / (primary_s - secondary_s) * (
        np.exp(-t / primary_s) - np.exp(-t / secondary_s)
    )
    most = float(envelope.max())
    # flux over current = T_s R
    knee_a = math.sqrt(2) * 100.0 / (OMEGA * secondary_s * ohm)
    yield replace(real, given=most, ours=need(knee_a), tolerance=0.01 * most)
