"""The transient solution: any primary waveform through the CTs into the legs, measured in the same
pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.quantities import Array, Complex, Index
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.kernel import integrate
from montecarlo.secondary.lanes import LANES
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.remanence import start_of
from montecarlo.secondary.restraint import LARGEST, PRODUCT, scalar_product
from montecarlo.secondary.stage_code import compiled
from montecarlo.secondary.workspace import GAMMA, Cores, Meter, Pace

STEPS_PER_CYCLE = 28  # 99 % of RMS currents within 1 % of 1,024 steps (tests/MEASUREMENTS)
UNRESOLVED_MOVE = 1e-3  # a last Newton move above this leaves a sample unresolved


@dataclass(frozen=True)
class Window:
    """The time grid: whole cycles before the event, then `after_s` of it."""

    frequency_hz: float
    after_s: float
    per_cycle: int = STEPS_PER_CYCLE
    cycles_before: int = 1
    # whether these are alike; else the first of them settles the cores
    repeats: bool = True

    @property
    def step_s(self) -> float:
        """[s]"""
        return 1 / (self.frequency_hz * self.per_cycle)

    @property
    def lead(self) -> int:
        """Steps before the event."""
        return self.per_cycle * self.cycles_before

    @property
    def steps(self) -> int:
        """All of them, before the event and after."""
        return self.lead + int(np.ceil(self.after_s / self.step_s - 1e-9))

    def times(self, steps: int | None = None) -> Array:
        """Start, then for each step its inner stage and its end; the event begins at 0. [s]

        Parameters
        ----------
        steps : int, optional
            Those of the window unless given.

        Returns
        -------
        ndarray, (2 steps + 1,)
        """
        count = self.steps if steps is None else steps
        ends = (np.arange(count + 1) - self.lead) * self.step_s
        grid = np.empty(2 * count + 1)
        grid[0::2] = ends
        grid[1::2] = ends[:-1] + GAMMA * self.step_s
        return grid


@dataclass(frozen=True, eq=False)
class Source:
    """Primary currents on `Window.times`: wave (n, channels, points) [A]; channel (ct,) says which
    one a CT carries.

    The last cycle may stand for all later ones: loop_from is the first point of the part that
    repeats. jumps: the wave has two points at t = 0, the currents just before and just after."""

    wave: Array
    channel: Index
    loop_from: int = -1
    jumps: bool = False


@dataclass(frozen=True, eq=False)
class Response:
    """pickup (n, elements, forms, delays) [A secondary]: the largest pick-up sustained for each
    delay, NaN where unresolved; earlier: the same before the event, empty where the cycles before
    it are alike.

    The rest at step ends, empty unless asked for. Instantaneous: trace (n, legs, steps) the legs'
    currents [A]; cts (n, ct, steps) what each CT delivers into its lead [A], ideal the same without
    exciting current [A], flux that of its core [knee flux]. Measured over the last cycle:
    difference and bias (n, elements, steps) [A]; a bias of 0 where none restrains. on (n, gates,
    elements, steps): 1 where a gate holds an element back, else 0. These three are at the relay's
    samples where it has a chain, `Measurement.grid`."""

    pickup: Array
    earlier: Array
    trace: Array
    cts: Array
    ideal: Array
    flux: Array
    difference: Array
    bias: Array
    on: Array


def solve(  # noqa: PLR0913
    table: Array,
    leg_ohm: Array,
    bank: CtBank,
    source: Source,
    window: Window,
    load_flux: Complex,
    measurement: Measurement,
    *,
    settle: float = 0.0,
    keep_trace: bool = False,
) -> Response:
    """Legs' currents through an event, and what each element would only just have operated at.

    Parameters
    ----------
    table : ndarray, (legs, ct)
    leg_ohm : ndarray, (n, legs)
        (ohm).
    bank : CtBank
        (n, ct).
    source : Source
    window : Window
    load_flux : complex ndarray, (n, ct)
        Phasors of the load's flux at t = 0, peak, from `steady.solve` (knee flux).
    measurement : Measurement
    settle : float
        Stop once no measured value changes by more than this share a cycle, and hold the last value
        to the end of the window (0: never).
    keep_trace : bool
        Keep what passes at step ends.

    Returns
    -------
    Response
    """
    n = len(bank)
    # whole blocks: the last sample again
    fill = np.minimum(np.arange(-(-n // LANES) * LANES), n - 1)
    points = source.wave.shape[2]
    pace = Pace(
        step_s=window.step_s,
        per_cycle=window.per_cycle,
        lead=window.lead,
        # harmonics of the load's flux, which phasors do not have
        warm=window.per_cycle if window.repeats and np.any(load_flux) else 0,
        steps=window.steps,
        loop_from=source.loop_from if source.loop_from >= 0 else points - 1,
        jump=source.jumps,
        # a gate may still be on when nothing that is measured changes any more
        settle=0.0 if measurement.gates else float(settle),
    )
    pickup = np.empty((fill.size, *measurement.shape))
    earlier = np.empty((0 if window.repeats else fill.size, *measurement.shape))
    moves = np.empty(fill.size)
    meter = measurement.meter(window.step_s, window.per_cycle, fill)
    (legs, cts), signals = table.shape, meter.signals.size
    gates, slots = meter.gates.what.size, meter.gates.side.size
    sizes = (legs, cts, cts, cts, signals, gates * slots) if keep_trace else (0,) * 6
    taken = measurement.grid(window.step_s, window.per_cycle).taken(window.steps, window.per_cycle)
    trace = np.full((fill.size, sum(sizes), max(window.steps, taken) if keep_trace else 0), np.nan)
    integrate(
        np.ascontiguousarray(source.wave if fill.size == n else source.wave[fill]),
        source.channel,
        _cores(bank, leg_ohm, load_flux, fill),
        compiled(table, source.channel, (bank.exponent - 1) // 2),
        len(table),
        pace,
        meter,
        pickup,
        earlier,
        moves,
        trace,
    )
    for found in (pickup, earlier):
        found[~(moves[: len(found)] <= UNRESOLVED_MOVE)] = np.nan
    parts = np.split(trace[:n], np.cumsum(sizes)[:-1], axis=1)
    in_legs, of_cts, ideal, flux = (part[..., : window.steps] for part in parts[:4])
    measured, on = (part[..., :taken] for part in parts[4:])
    return Response(
        pickup[:n],
        earlier[:n],
        in_legs,
        of_cts,
        ideal,
        flux,
        *_compared(np.sqrt(measured), meter),
        _by_element(on.reshape(n, gates, slots, on.shape[-1]), meter.gates.slot),
    )


def _by_element(on: Array, slot: Index) -> Array:
    """(n, gates, slots, steps) as (n, gates, elements, steps): 0 where gates do not look."""
    n, gates, _, steps = on.shape
    found = np.zeros((n, gates, slot.size, steps))
    found[:, :, slot >= 0] = on[:, :, slot[slot >= 0]]
    return found


def _compared(measured: Array, meter: Meter) -> tuple[Array, Array]:
    """What each element compares, (n, elements, steps) each: differential and bias current, as
    `judging.judge` makes them of what is measured of the signals."""
    if not measured.size:
        return measured, measured
    difference = measured[:, meter.element]
    restraining = np.where(meter.bias < 0, 0.0, meter.share)[..., None] * measured[:, meter.bias]
    combine = meter.combine[:, None]
    bias = np.where(combine == LARGEST, restraining.max(axis=2), restraining.sum(axis=2))
    products = scalar_product(restraining[:, :, 0], difference)
    return difference, np.where(combine == PRODUCT, products, bias)


def _cores(bank: CtBank, leg_ohm: Array, load_flux: Complex, fill: Index) -> Cores:
    """Constants and start of the samples `fill`, sample last."""

    def across(values: Array) -> Array:
        return np.ascontiguousarray(values[..., fill, :].swapaxes(-1, -2))

    start = start_of(
        bank.remanence_model, load_flux, bank.remanence, bank.coefficients, bank.exponent
    )
    curve = np.concatenate([bank.coefficients[:2], start.bounds, start.slopes])
    return Cores(
        curve=across(curve * bank.knee_current_a),
        series_ohm=across(bank.series_ohm),
        inv_flux=1 / across(bank.knee_flux_wb),
        inv_turns=1 / across(bank.turns),
        leg_ohm=across(leg_ohm),
        flux=across(start.flux),
        stops=across(start.stops * bank.knee_current_a),
    )
