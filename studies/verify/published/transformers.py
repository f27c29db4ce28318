"""Current transformers: errors, flux, the knee, what a class allows, saturation by an offset
current."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from montecarlo.quantities import Array
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.excitation import excitation_table, loop_rms
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.nameplate import MINUTE, Core, Designation, design, read_class
from montecarlo.secondary.remanence import coefficients_of
from studies.verify.published.row import Kind, Published
from studies.verify.published.winding import RAO

__all__ = [
    "OMEGA",
    "first_loss",
    "flux_over_symmetrical",
    "offset_wave",
    "one_ct",
    "rows",
    "secondary_phasor",
    "secondary_wave",
    "transient_rows",
]

OMEGA = 2 * math.pi * 50.0
LINEAR = (1.0, 0.0, 0.0, 0.0)
ONE_LEG = np.ones((1, 1))
RAJPUT = "Rajput, Electronic Measurements and Instrumentation"
IEC = "IEC 61869-2"
AGRAWAL = "IEC 60044-1, in Agrawal, Industrial Power Engineering and Applications Handbook, p. 501"
C37110 = "IEEE C37.110"
X_OVER_R = 15.0
BURDEN_VA = 15.0
CLASSES = {
    "5P20": (5.0, 1.0, 60.0),
    "10P10": (10.0, 3.0, None),
}  # composite %, ratio %, displacement min: p. 501


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
    """A single CT, (1, 1), at 50 Hz; `curve` the four coefficients of its characteristic, by
    default straight."""

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
    """Secondary current [A] and core flux [knee flux] of one CT."""
    legs, _, flux = steady.solve(
        ONE_LEG, np.full((1, 1), leg_ohm), bank, np.full((1, 1), primary_a + 0j), OMEGA
    )
    return complex(legs[0, 0]), complex(flux[0, 0])


def secondary_wave(bank: CtBank, leg_ohm: float, wave: Array, window: transient.Window) -> Array:
    """Secondary current at step ends [A] under a primary wave on `window.times`."""
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
    # 1:240, 5 A, 1.2 ohm, 96 ampere-turns, 1200 mm2, 50 Hz
    bank = one_ct(turns=240.0, series_ohm=0.0, knee_v=6.0, knee_a=math.sqrt(2) * 96 / 240)
    primary = math.hypot(240 * 5, 96)
    current, flux = secondary_phasor(bank, 1.2, primary)
    yield Published(
        RAJPUT, "Ex 6.1", "actual ratio", "-", 240.77, primary / abs(current), 0.005, Kind.SCRIPT
    )
    yield Published(
        RAJPUT,
        "Ex 6.1",
        "phase displacement",
        "deg",
        4.57,
        math.degrees(np.angle(current)),
        0.005,
        Kind.SCRIPT,
    )
    yield Published(
        RAJPUT,
        "Ex 6.1",
        "flux density",
        "T",
        0.0938,
        abs(flux) * float(bank.knee_flux_wb[0, 0]) / (240 * 1200e-6),
        5e-5,
        Kind.SCRIPT,
    )
    # CT 2000/5, 40 kA, 0.31 + 2 ohm, 28.45 cm2, 50 Hz; printed with 4.4 for pi sqrt(2)
    bank = one_ct(turns=400.0, series_ohm=0.31, knee_v=231.0, knee_a=0.0)
    tesla = (
        abs(secondary_phasor(bank, 2.0, 40e3)[1])
        * float(bank.knee_flux_wb[0, 0])
        / (400 * 28.45e-4)
    )
    yield Published(
        RAO,
        "Ex 35.3",
        "flux density at 40 kA, with 4.4",
        "T",
        0.9227,
        tesla * np.pi * math.sqrt(2) / 4.4,
        5e-5,
        Kind.SCRIPT,
    )
    yield from _knee()
    yield from _classes()


def _knee() -> Iterator[Published]:
    for words, curve in (
        ("hysteresis", excitation_table(80.0, 15).at(0.2)),
        ("shifted curve", coefficients_of("shifted_curve", 80.0, 15, 0.2)),
    ):
        ratio = loop_rms(curve, 1.1, 15) / loop_rms(curve, 1.0, 15)
        yield Published(
            IEC,
            f"knee, {words}",
            "exciting current, 1.1 V_k over V_k",
            "-",
            1.5,
            float(ratio),
            1e-4,
            Kind.MEMORY,
        )


def _classes() -> Iterator[Published]:
    """A core that only just meets its class, on its rated burden taken as a resistance."""
    for name, (_, ratio, minutes) in CLASSES.items():
        plate, bank = _just(name)
        error = secondary_phasor(bank, 0.0, 1.0)[0] - 1
        whole = 100 * abs(abs(1 + error) - 1) + plate.rules.turns_percent
        place = f"{name}, {BURDEN_VA:g} VA, at rated current"
        yield Published(
            AGRAWAL,
            place,
            "ratio error",
            "%",
            ratio,
            whole,
            0.002 * ratio,
            Kind.QUOTED,
            at_most=True,
        )
        if minutes is not None:
            yield Published(
                AGRAWAL,
                place,
                "phase displacement",
                "min",
                minutes,
                float(abs(np.angle(1 + error))) / MINUTE,
                1e-3,
                Kind.QUOTED,
                at_most=True,
            )


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
    """1000 A RMS, full offset; behind a ratio of 1000 the secondary carries 1 A RMS."""
    decay = np.exp(-np.maximum(times, 0.0) * OMEGA / x_over_r)
    return np.where(times < 0, 0.0, 1000.0 * np.sqrt(2) * (decay - np.cos(OMEGA * times)))


def flux_over_symmetrical(current: Array, window: transient.Window) -> Array:
    """Flux that a resistive burden needs over the peak that it needs without offset, at step
    ends."""
    area = (
        np.cumsum(current - np.concatenate(([0.0], np.diff(current) / 2))) * window.step_s
    )  # trapezes
    return np.asarray(area * OMEGA / np.sqrt(2))


def saturates_at(factor: float, remanence: float = 0.0) -> float:
    """Time [s] at which a nearly rectangular core whose knee flux is `factor` times what the
    symmetrical current needs gives way, a tenth of the peak current lost; inf if never. X/R = 15.
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
    """When a CT of ratio 1000 on 3 ohm first loses a tenth of the peak of the offset current.
    [s]"""
    window = transient.Window(50.0, 0.4, 256)
    wave = offset_wave(X_OVER_R, window.times())
    lost = np.abs(secondary_wave(bank, 3.0, wave, window) - wave[2::2] / 1000) > 0.1 * np.sqrt(2)
    return float(window.times()[2::2][lost.argmax()]) if lost.any() else math.inf


def transient_rows() -> Iterator[Published]:
    yield from _composite_errors()
    yield from _dimensioning()
    # t_s = -X/(wR) ln[1 - (K_s - 1)/(X/R)]: three quarters of a cycle, where the alternating
    # flux has its crest
    for factor, remanence, words in ((5.0, 0.0, "K_s 5"), (10.0, 0.5, "K_s 10, remanence 50 %")):
        yield Published(
            C37110,
            f"X/R 15, {words}",
            "time to saturation",
            "ms",
            14.8,
            1e3 * saturates_at(factor, remanence),
            0.8,
            Kind.MEMORY,
        )


def _composite_errors() -> Iterator[Published]:
    """Sinusoidal primary current at the accuracy limit, RMS of the instantaneous error (the
    standard's direct test)."""
    window = transient.Window(50.0, 0.5, 128)
    for name, (composite, _, _) in CLASSES.items():
        plate, bank = _just(name)
        assert plate.factor is not None
        wave = plate.factor * math.sqrt(2) * np.sin(OMEGA * window.times())
        error = (secondary_wave(bank, 0.0, wave, window) - wave[2::2])[-window.per_cycle :]
        yield Published(
            AGRAWAL,
            f"{name}, {BURDEN_VA:g} VA, at the accuracy limit",
            "composite error",
            "%",
            composite,
            100 * float(np.sqrt(np.mean(error**2))) / plate.factor,
            0.0,
            Kind.QUOTED,
            at_most=True,
        )


def _dimensioning() -> Iterator[Published]:
    """Both formulas are envelopes: integration stays below."""
    window = transient.Window(50.0, 0.6, 128)
    wave = offset_wave(X_OVER_R, window.times())
    bank = one_ct(turns=1000.0, series_ohm=2.0, knee_v=100.0, knee_a=0.0)
    need = flux_over_symmetrical(secondary_wave(bank, 3.0, wave, window), window).max()
    yield Published(
        C37110,
        "X/R 15, no exciting current",
        "largest flux ratio, 1 + X/R",
        "-",
        16.0,
        float(need),
        0.16,
        Kind.MEMORY,
    )
    primary_s, secondary_s, ohm = X_OVER_R / OMEGA, 1.0, 5.0
    bank = one_ct(
        turns=1000.0,
        series_ohm=2.0,
        knee_v=100.0,
        knee_a=math.sqrt(2) * 100.0 / (OMEGA * secondary_s * ohm),
    )  # flux over current = T_s R
    need = flux_over_symmetrical(secondary_wave(bank, ohm - 2.0, wave, window), window).max()
    t = window.times()[2::2]
    envelope = 1 + OMEGA * primary_s * secondary_s / (primary_s - secondary_s) * (
        np.exp(-t / primary_s) - np.exp(-t / secondary_s)
    )
    yield Published(
        C37110,
        "X/R 15, T_s 1 s",
        "the same, K_td by the formula",
        "-",
        float(envelope.max()),
        float(need),
        0.01 * float(envelope.max()),
        Kind.MEMORY,
    )
