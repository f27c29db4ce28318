"""Both remanence models against a fuller published one: cores that obey the equations of Jiles and
Atherton.

D. C. Jiles and D. L. Atherton, Theory of ferromagnetic hysteresis, J. Magn. Magn. Mater. 61 (1986)
48-60, with the irreversible part held where it would move against the field. A core is put through
a test of its excitation curve, our characteristic is fitted to those points as to any test report,
and both are driven by the same offset current from the remanence that the rival's own loop leaves.
Parameters, from memory: those of the 1986 paper's example and of Jiles, Thoelke and Devine (IEEE
Trans. Magn. 28, 1992); neither is a CT's steel.

`python -m tests.against.test_jiles_atherton` prints the comparison.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from numba import njit

from montecarlo.quantities import Array
from montecarlo.secondary import transient
from montecarlo.secondary.measured import ExcitationFit, fit_points
from montecarlo.secondary.remanence import RemanenceModel, coefficients_of
from tests.reference.test_current_transformers import OMEGA, offset_wave, one_ct, secondary_wave

MODELS: tuple[RemanenceModel, ...] = ("stop_operators", "shifted_curve")
MATERIALS = {  # saturation magnetisation, a, k [A/m]; alpha, c
    "1986": (1.6e6, 1100.0, 400.0, 1.6e-3, 0.2),
    "1992": (1.7e6, 1000.0, 2000.0, 1.0e-3, 0.1),
}
OHM, KNEE_A, PER_CYCLE, AFTER_S = 5.0, 0.03, 250, 0.2  # of 1 A secondary
FINER = 8  # the rival's steps to one of ours


# --- the rival: H in units of a, B in units of mu0·M_s ------------------------


@njit
def _rise(h, b, sign, k, alpha, c, vacuum):  # type: ignore[no-untyped-def]
    """dH/dB."""
    m = b - vacuum * h
    x = h + alpha * m
    if abs(x) < 1e-3:
        langevin, slope = x / 3, 1 / 3
    else:
        langevin = 1 / np.tanh(x) - 1 / x
        slope = 1 / x**2 - (1 / np.sinh(x) ** 2 if abs(x) < 300 else 0.0)
    irreversible = (langevin - (m - c * langevin) / (1 - c)) / (k * sign)
    d = (1 - c) * max(irreversible, 0.0) + c * slope  # by the effective field
    return 1 / (vacuum + d / (1 - alpha * d))


@njit
def _along(b, h, k, alpha, c, vacuum):  # type: ignore[no-untyped-def]
    """H along a path of B, midpoint rule."""
    out = np.empty(b.size)
    out[0] = h
    for i in range(1, b.size):
        step = b[i] - b[i - 1]
        sign = 1.0 if step > 0 else -1.0
        middle = h + step / 2 * _rise(h, b[i - 1], sign, k, alpha, c, vacuum)
        h += step * _rise(middle, b[i - 1] + step / 2, sign, k, alpha, c, vacuum)
        out[i] = h
    return out


@njit
def _driven(source, step_s, ohm_per_wb, amperes, b, k, alpha, c, vacuum):  # type: ignore[no-untyped-def]
    """Exciting current [A] under a secondary source given at steps and their middles, from H = 0 at
    B = b."""
    out, h = np.zeros((source.size + 1) // 2), 0.0
    for s in range(out.size - 1):
        rate = ohm_per_wb * (source[2 * s] - amperes * h)
        middle = h + step_s / 2 * rate * _rise(h, b, 1.0 if rate > 0 else -1.0, k, alpha, c, vacuum)
        rate = ohm_per_wb * (source[2 * s + 1] - amperes * middle)
        b_middle = b + step_s / 2 * rate
        h += step_s * rate * _rise(middle, b_middle, 1.0 if rate > 0 else -1.0, k, alpha, c, vacuum)
        b += step_s * rate
        out[s + 1] = amperes * h
    return out


@dataclass(frozen=True)
class Core:
    """A material wound so that its knee, as fitted, stands at 100 V and 1 A."""

    parameters: tuple[float, float, float, float]  # k, alpha, c, vacuum in the rival's units
    fit: ExcitationFit

    @property
    def knee_b(self) -> float:
        return self.fit.knee_voltage_v / 100

    def remanence(self, magnetised_to: float) -> float:
        """Flux at zero current after a peak, both in knee units, on the rival's own loop."""
        down = np.concatenate(
            [np.linspace(0, magnetised_to, 20_001), np.linspace(magnetised_to, 0, 20_001)[1:]]
        )
        h = _along(down * self.knee_b, 0.0, *self.parameters)
        return float(down[20_001 + np.argmax(h[20_001:] * np.sign(magnetised_to) < 0)])


@cache
def core(name: str) -> Core:
    saturation, a, k, alpha, c = MATERIALS[name]
    parameters = k / a, alpha * saturation / a, c, a / saturation
    peaks = np.concatenate([np.geomspace(0.03, 0.6, 8), np.linspace(0.62, 0.97, 36)])
    cycle = np.sin(2 * np.pi * np.arange(3 * 4000 + 1) / 4000)
    rms = np.array(
        [np.sqrt(np.mean(_along(p * cycle, 0.0, *parameters)[-4000:] ** 2)) for p in peaks]
    )
    ten_more = np.exp(np.interp(np.log(1.1 * peaks), np.log(peaks), np.log(rms)))
    knee = peaks[np.argmax((ten_more > 1.5 * rms) & (peaks > 0.3))]
    report = peaks < 1.15 * knee  # no test goes far beyond the knee
    return Core(parameters, fit_points(tuple(100 * peaks[report]), tuple(rms[report]), 80.0))


# --- the same current through both --------------------------------------------


@dataclass(frozen=True)
class Answer:
    """From the fault's start: when a tenth of the peak is lost, and the largest one-cycle RMS of
    what is lost."""

    time_s: float
    rms_a: float


def answer(lost: Array) -> Answer:
    late = np.abs(lost) > 0.1 * np.sqrt(2)
    area = np.cumsum(lost**2)
    return Answer(
        float(late.argmax() / PER_CYCLE * 2 * np.pi / OMEGA) if late.any() else np.inf,
        float(np.sqrt((area[PER_CYCLE:] - area[:-PER_CYCLE]).max() / PER_CYCLE)),
    )


def theirs(name: str, factor: float, remanence: float) -> Answer:
    material = core(name)
    steps = round(AFTER_S * 50) * PER_CYCLE * FINER
    times = np.arange(2 * steps + 1) * AFTER_S / (2 * steps)
    knee_wb = np.sqrt(2) * factor * OHM / OMEGA
    lost = _driven(
        offset_wave(15.0, times) / 1000,
        AFTER_S / steps,
        OHM * material.knee_b / knee_wb,
        KNEE_A / material.fit.knee_current_a,
        remanence * material.knee_b,
        *material.parameters,
    )
    return answer(lost[::FINER])


def ours(name: str, factor: float, remanence: float, model: RemanenceModel) -> Answer:
    fit = core(name).fit
    curve = coefficients_of(model, fit.bound_percent, fit.exponent, fit.ankle_ratio)
    bank = one_ct(
        turns=1000.0,
        series_ohm=2.0,
        knee_v=factor * OHM,
        knee_a=KNEE_A,
        curve=tuple(curve),
        exponent=fit.exponent,
        remanence=remanence,
    )
    window = transient.Window(50.0, AFTER_S, PER_CYCLE)
    wave = offset_wave(15.0, window.times())
    secondary = secondary_wave(replace(bank, remanence_model=model), OHM - 2.0, wave, window)
    return answer((wave[2::2] / 1000 - secondary)[PER_CYCLE - 1 :])


@pytest.mark.parametrize(("name", "rms"), [("1986", 0.10), ("1992", 0.06)])
def test_their_test_points_are_a_curve_of_ours(name: str, rms: float) -> None:
    assert core(name).fit.rms < rms
    assert 0.14 < core(name).fit.ankle_ratio < 0.25


def test_the_rival_s_loop_leaves_what_ours_does() -> None:
    # Ours, at an ankle of 0.2 and a bound of 80 %: 0.43 and 0.56 after peaks of 1.0 and 1.2
    # (tests/unit).
    assert core("1986").remanence(1.0) == pytest.approx(0.43, abs=0.02)
    assert 0.43 < core("1992").remanence(1.0) < 0.80
    assert core("1992").remanence(-1.0) == pytest.approx(-core("1992").remanence(1.0), abs=1e-3)


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("name", MATERIALS)
def test_they_saturate_when_the_rival_does(name: str, model: RemanenceModel) -> None:
    """From no remanence, and from what a peak of 0.7, 0.9, 1.1 of the knee leaves, either sign:
    within 0.6 ms; the remanence moves it by up to 21 ms. The RMS current lost lies below the
    rival's, by 5 to 29 %: points up to the knee do not tell how hard iron saturates beyond it, and
    the exponent fitted to them is too low."""
    moved = []
    for factor in (3.0, 5.0):
        for peak in (0.0, 0.7, 0.9, 1.1, -0.9):
            remanence = core(name).remanence(peak) if peak else 0.0
            rival, mine = theirs(name, factor, remanence), ours(name, factor, remanence, model)
            assert mine.time_s == pytest.approx(rival.time_s, abs=0.6e-3)
            assert 0.70 * rival.rms_a < mine.rms_a < rival.rms_a
            moved.append(abs(rival.time_s - theirs(name, factor, 0.0).time_s))
    assert max(moved) > 15e-3


def rows() -> Iterator[str]:
    for name in MATERIALS:
        yield f"{name}: {core(name).fit}"
        for factor in (3.0, 5.0, 10.0):
            for peak in (0.0, 0.7, 0.9, 1.1, -0.9):
                remanence = core(name).remanence(peak) if peak else 0.0
                found = [
                    theirs(name, factor, remanence),
                    *(ours(name, factor, remanence, model) for model in MODELS),
                ]
                yield f"{factor:5.1f} {remanence:6.3f} " + " ".join(
                    f"{1000 * each.time_s:8.1f} ms {each.rms_a:.3f} A" for each in found
                )


if __name__ == "__main__":
    print(*rows(), sep="\n")
