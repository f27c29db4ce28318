"""Random secondary circuits, shared by the tests of the secondary network.

Amplitudes are chosen so that every regime occurs: cores that stay straight, that saturate at the
first peak, that are driven there by the offset; earth legs from a wire to kilo-ohms."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.relays.places import NEUTRAL, carried
from montecarlo.relays.schemes import Scheme, build_scheme, leg_resistances
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import CtBank, take
from montecarlo.secondary.excitation import excitation_table
from montecarlo.secondary.measurement import Measurement

Complex = NDArray[np.complex128]

FREQUENCY_HZ = 50.0
OMEGA = 2 * np.pi * FREQUENCY_HZ
BOUND, EXPONENT = 80.0, 15
THREE_PHASES = np.tile(np.exp(-2j * np.pi / 3 * np.arange(3)), 2)


@dataclass(frozen=True, eq=False)
class Circuits:
    """n circuits and what drives them: load phasors before t = 0, fault phasors with an offset that
    decays after."""

    scheme: Scheme
    leg_ohm: Array  # (n, legs)
    bank: CtBank
    load_a: Complex  # (n, ct) RMS primary
    fault_a: Complex  # (n, ct) RMS primary
    decay_s: Array  # (n,)

    def __len__(self) -> int:
        return len(self.bank)

    def pick(self, index: object) -> Circuits:
        return Circuits(
            self.scheme,
            self.leg_ohm[index],
            take(self.bank, index),
            self.load_a[index],
            self.fault_a[index],
            self.decay_s[index],
        )

    def primary(self, t: Array) -> Array:
        """(n, ct, times) [A]; continuous at 0."""
        turning = np.sqrt(2) * np.exp(1j * OMEGA * t)
        before = (self.load_a[..., None] * turning).real
        offset = np.sqrt(2) * (self.load_a - self.fault_a).real[..., None]
        after = (self.fault_a[..., None] * turning).real + offset * np.exp(
            -np.maximum(t, 0.0) / self.decay_s[:, None, None]
        )
        return np.where(t < 0, before, after)

    def load_flux(self) -> Complex:
        return steady.solve(self.scheme.table, self.leg_ohm, self.bank, self.load_a, OMEGA).flux

    def solve(
        self,
        after_s: float,
        per_cycle: int = 32,
        *,
        fundamental: bool = False,
        delays_s: tuple[float, ...] = (0.0,),
        settle: float = 0.0,
        trace: bool = False,
    ) -> transient.Response:
        window = transient.Window(FREQUENCY_HZ, after_s, per_cycle)
        source = transient.Source(self.primary(window.times()), np.arange(len(self.scheme.places)))
        return self._solve(source, window, fundamental, delays_s, settle, trace)

    def jump(self, after_s: float, per_cycle: int) -> transient.Response:
        """Without the offset: the current jumps at t = 0, where it has two points."""
        window = transient.Window(FREQUENCY_HZ, after_s, per_cycle)
        times, event = window.times(), 2 * per_cycle
        after = np.sqrt(2) * (self.fault_a[..., None] * np.exp(1j * OMEGA * times[event:])).real
        wave = np.concatenate([self.primary(times[: event + 1]), after], axis=-1)
        source = transient.Source(wave, np.arange(len(self.scheme.places)), jumps=True)
        return self._solve(source, window, False, (0.0,), 0.0, True)

    def _solve(
        self,
        source: transient.Source,
        window: transient.Window,
        fundamental: bool,
        delays_s: tuple[float, ...],
        settle: float,
        trace: bool,
    ) -> transient.Response:
        response = transient.solve(
            self.scheme.table,
            self.leg_ohm,
            self.bank,
            source,
            window,
            self.load_flux(),
            Measurement(
                legs=tuple(range(len(self.scheme.legs))),
                delays_s=delays_s,
                quantity="fundamental" if fundamental else "rms",
            ),
            settle=settle,
            keep_trace=trace,
        )
        return replace(response, pickup=response.pickup[:, :, 0])


def log_uniform(
    rng: np.random.Generator, low: float, high: float, size: int | tuple[int, ...]
) -> Array:
    return np.exp(rng.uniform(np.log(low), np.log(high), size))


def random_bank(
    rng: np.random.Generator,
    n: int,
    *,
    remanence: float = BOUND / 100,
    hysteresis: bool = True,
    turns: float = 1000.0,
    cts: int = 6,
) -> CtBank:
    """CTs much alike within a circuit: knee 100-500 V and 10-60 mA, ratio errors of 1 %, ankle over
    its whole range; without hysteresis the two stops are left out, and the remanence that only they
    can hold."""
    table = excitation_table(BOUND, EXPONENT)
    coefficients = table.at(rng.uniform(*table.ankle_range, (n, cts)))
    if not hysteresis:
        coefficients[2:] = 0.0
        remanence = 0.0
    return CtBank(
        turns=turns * (1 + rng.uniform(-0.01, 0.01, (n, cts))),
        series_ohm=rng.uniform(1.0, 10.0, (n, cts)),
        knee_flux_wb=np.sqrt(2)
        * log_uniform(rng, 100.0, 500.0, (n, 1))
        * rng.uniform(0.9, 1.1, (n, cts))
        / OMEGA,
        knee_current_a=log_uniform(rng, 0.01, 0.06, (n, 1)) * rng.uniform(0.8, 1.2, (n, cts)),
        coefficients=coefficients,
        exponent=np.full(cts, EXPONENT),
        remanence=rng.uniform(-1, 1, (n, cts)) * remanence,
    )


def random_legs(rng: np.random.Generator, scheme: Scheme, n: int) -> Array:
    """Phase legs 0.05-100 ohm, earth leg 0.1-3000 ohm, all log-uniform; return cores and whatever
    else 1-10 ohm."""
    phase, balancing = log_uniform(rng, 0.05, 100.0, n), log_uniform(rng, 0.05, 100.0, n)
    ohm = {
        "phase_burden": phase,
        "phase_resistor": np.zeros(n),
        "balancing": balancing,
        "earth_burden": log_uniform(rng, 0.1, 3000.0, n),
        "stabilising": np.zeros(n),
    }
    for part in dict.fromkeys(part for leg in scheme.legs for part in leg.parts if part not in ohm):
        ohm[part] = rng.uniform(1.0, 10.0, n)
    return leg_resistances(scheme, ohm)


def random_circuits(seed: int, n: int, kind: str | Scheme, *, hysteresis: bool = True) -> Circuits:
    """Through faults of 2-8 A secondary with offset; every fourth circuit with an internal fault:
    another current at one phase's neutral end; every third with load before. Where a CT stands in
    the neutral conductor, every other through fault is one phase's. Where CTs stand at groups of
    branches, these differ by a tenth to twice the current."""
    rng = np.random.default_rng(seed)
    scheme = build_scheme(kind) if isinstance(kind, str) else kind
    bank = random_bank(rng, n, hysteresis=hysteresis, cts=len(scheme.places))
    turn = np.exp(2j * np.pi * rng.random((n, 1)))
    fault = 1000.0 * log_uniform(rng, 2.0, 8.0, (n, 1)) * turn * THREE_PHASES
    inner = np.flatnonzero(np.arange(n) % 4 == 3)
    other = log_uniform(rng, 0.003, 1.0, inner.size) * np.exp(2j * np.pi * rng.random(inner.size))
    fault[inner, inner % 3] *= 1 + other
    if NEUTRAL in scheme.places:
        fault[::2, [1, 2, 4, 5]] = 0.0
    load = (
        1000.0
        * rng.uniform(0.1, 1.0, (n, 1))
        * turn
        * np.exp(1j * rng.uniform(0, 1.5, (n, 1)))
        * THREE_PHASES
    )
    load[np.arange(n) % 3 != 0] = 0.0
    legs_ohm, decay_s = random_legs(rng, scheme, n), log_uniform(rng, 0.03, 0.2, n)
    if scheme.of_branches:
        apart = log_uniform(rng, 0.1, 2.0, (n, 3)) * np.exp(2j * np.pi * rng.random((n, 3)))
        load, fault = (np.hstack([ends, apart * ends[:, 3:]]) for ends in (load, fault))
    cts = carried(load, scheme.places), carried(fault, scheme.places)
    return Circuits(scheme, legs_ohm, bank, *cts, decay_s)
