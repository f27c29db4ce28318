"""The transient solution: any primary waveform through the six CTs into the legs, measured in the same pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.excitation import YIELDS, start_state
from montecarlo.secondary.kernel import GAMMA, LANES, integrate

STEPS_PER_CYCLE = 32
UNRESOLVED_MOVE = 1e-3                                     # a last Newton move above this leaves a sample unresolved


@dataclass(frozen=True)
class Window:
    """The time grid: one cycle before the event, then `after_s` of it."""

    frequency_hz: float
    after_s: float
    per_cycle: int = STEPS_PER_CYCLE

    @property
    def step_s(self) -> float:
        return 1 / (self.frequency_hz * self.per_cycle)

    @property
    def steps(self) -> int:
        return self.per_cycle + int(np.ceil(self.after_s / self.step_s - 1e-9))

    def times(self, steps: int | None = None) -> Array:
        """Start, then for each step its inner stage and its end [s]: (2·steps + 1,). The event begins at 0."""
        count = self.steps if steps is None else steps
        ends = (np.arange(count + 1) - self.per_cycle) * self.step_s
        grid = np.empty(2 * count + 1)
        grid[0::2] = ends
        grid[1::2] = ends[:-1] + GAMMA * self.step_s
        return grid

    def holds(self, delays_s: tuple[float, ...]) -> NDArray[np.int64]:
        return np.array([round(d / self.step_s) for d in delays_s], np.int64)


@dataclass(frozen=True, eq=False)
class Source:
    """Primary currents on `Window.times`: wave (n, channels, points) [A]; channel (ct,) says which one a CT carries.

    The last cycle may stand for all later ones: loop_from is the first point of the part that repeats."""

    wave: Array
    channel: NDArray[np.int64]
    loop_from: int = -1


@dataclass(frozen=True, eq=False)
class Response:
    """pickup (n, elements, delays) [A secondary]: the largest current sustained for each delay, NaN where
    unresolved; trace (n, legs, steps) instantaneous leg currents at step ends, empty unless asked for."""

    pickup: Array
    trace: Array


def solve(table: Array, leg_ohm: Array, bank: CtBank, source: Source, window: Window, load_flux: NDArray[np.complex128],
          *, watch: tuple[int, ...], fundamental: bool, delays_s: tuple[float, ...], settle: float = 0.0,
          keep_trace: bool = False) -> Response:
    """Legs' currents through an event, and what each watched leg's element would only just have operated at.

    table (legs, ct); leg_ohm (n, legs); load_flux (n, ct) the flux phasors (peak, knee units) of the load at t = 0,
    from `steady.solve`; watch: the legs with an element; settle: stop once no element's value changes by more than
    this share a cycle, and hold the last value to the end of the window (0: never)."""
    n = len(bank)
    fill = np.minimum(np.arange(-(-n // LANES) * LANES), n - 1)   # whole blocks: the last sample again

    def across(values: Array) -> Array:
        return np.ascontiguousarray(values[..., fill, :].swapaxes(-1, -2))

    amperes = bank.coefficients * bank.knee_current_a
    curve = np.concatenate([amperes, amperes[2:] / YIELDS[:, None, None]])
    m0, h0 = start_state(load_flux, bank.remanence, bank.coefficients, bank.exponent)
    pickup = np.empty((fill.size, len(watch), len(delays_s)))
    moves = np.empty(fill.size)
    trace = np.empty((fill.size, table.shape[0], window.steps) if keep_trace else (0, 0, 0))
    wave = source.wave if fill.size == n else source.wave[fill]
    points = wave.shape[2]
    integrate(
        np.ascontiguousarray(wave), source.channel, 1 / across(bank.turns), across(bank.series_ohm),
        1 / across(bank.knee_flux_wb), across(curve), (bank.exponent - 1) // 2,
        np.ascontiguousarray(table, dtype=float), across(leg_ohm), across(m0), across(h0 * bank.knee_current_a),
        window.step_s, window.per_cycle, window.per_cycle, window.steps,
        source.loop_from if source.loop_from >= 0 else points - 1, settle, np.array(watch, np.int64), fundamental,
        window.holds(delays_s), pickup, moves, trace)
    pickup[~(moves <= UNRESOLVED_MOVE)] = np.nan
    return Response(pickup[:n], trace[:n])
