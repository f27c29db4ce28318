"""Primary currents in time: an external event as it passes, an internal fault as it begins."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import groups
from montecarlo.engine.primary import Complex, neutral
from montecarlo.engine.samples import ChunkSamples
from montecarlo.plant.events.base import Event, Scene
from montecarlo.plant.events.waves import steps
from montecarlo.quantities import Array
from montecarlo.relays.places import CHANNELS, SPLIT
from montecarlo.secondary.transient import STEPS_PER_CYCLE, Source, Window
from montecarlo.study.strata import event_of


@dataclass(frozen=True, eq=False)
class Waves:
    """Primary currents on a window's times: of three phases, alike at both ends, or of the ends'
    six; then the neutral conductor's and those of the groups of branches, where a scheme wants
    them. wave (n, channels, points) [A]."""

    wave: Array
    channels: NDArray[np.int64]  # (17,) of the currents that CTs may carry; -1: not there
    loop_from: int = -1
    jumps: bool = False  # two points at t = 0, just before and just after

    def at(self, places: tuple[int, ...]) -> Source:
        """What drives the CTs of one scheme.

        Parameters
        ----------
        places : tuple of int

        Returns
        -------
        Source
        """
        channels = self.channels[CHANNELS[list(places)]]
        return Source(self.wave, channels, self.loop_from, self.jumps)


def waves_of(
    block: ChunkSamples, wave: Array, loop_from: int = -1, *, jumps: bool = False
) -> Waves:
    """With the neutral conductor's current, the sum of the neutral end's three, and with those of
    the groups of branches, where a scheme has CTs there.

    Parameters
    ----------
    block : ChunkSamples
    wave : (n, 3, 6 or 10, points) array (A)
        Ten where a scheme has CTs at the groups.
    loop_from : int
        Point from which the rest repeats; -1: none.
    jumps : bool
        As of `Waves`.

    Returns
    -------
    Waves
    """
    channels = np.full(17, -1)
    channels[:6] = np.arange(6) % min(wave.shape[1], 6)
    parts = [wave]
    if block.wants_neutral:
        channels[6] = wave.shape[1]
        parts.append(wave[:, :3].sum(axis=1, keepdims=True))
    if block.wants_groups:
        channels[7:] = wave.shape[1] + len(parts) - 1 + np.arange(10)
        parts.append(np.einsum("gk,nkt->ngt", SPLIT, wave))
    whole = wave if len(parts) == 1 else np.concatenate(parts, axis=1)
    return Waves(whole, channels, loop_from, jumps)


def scene_of(block: ChunkSamples, event: Event) -> tuple[Scene, Window]:
    """What an event is given to work with, and its window.

    Parameters
    ----------
    block : ChunkSamples
    event : Event

    Returns
    -------
    Scene, Window
    """
    s, m, prefix = block.samples, block.study.machine, f"external_events.{event.name}."
    scene = Scene(
        machine=m,
        samples=s,
        own={key.removeprefix(prefix): s[key] for key in s if key.startswith(prefix)},
        neutral_ohm=neutral(block),
        point_on_wave_rad=2 * np.pi * block.uniform("point_on_wave"),
        phase=block.phase_number(),
    )
    return scene, Window(m.frequency_hz, event.lasts_s(scene))


def external_neutral(block: ChunkSamples) -> Array | None:
    """Current of the machine's neutral at the ends of the window's steps, (n, steps + 1) [A]; None
    clear of earth.

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n, steps + 1) array or None
    """
    event = event_of(block.study, block.stratum)
    scene, window = scene_of(block, event)
    return event.neutral_current(scene, window.times()[::2])


def external_event(
    block: ChunkSamples, per_cycle: int = STEPS_PER_CYCLE, cycles_before: int = 1
) -> tuple[Window, Waves, Complex]:
    """The event of an external stratum, as it passes.

    Parameters
    ----------
    block : ChunkSamples
    per_cycle, cycles_before : int
        Of the window.

    Returns
    -------
    Window
    Waves
        On the window's times.
    ndarray (n, 6 or 10), complex
        Phasors before it (A RMS).
    """
    event = event_of(block.study, block.stratum)
    scene, window = scene_of(block, event)
    window = replace(window, per_cycle=per_cycle, cycles_before=cycles_before)
    times = window.times()
    turn = scene.turn[:, None]
    wave = groups.waves_beside(block, event.currents(scene, times), times, turn)
    return window, waves_of(block, wave), groups.beside(block, event.before(scene), turn)


def step_currents(
    block: ChunkSamples,
    window: Window,
    before: Complex,
    during: Complex,
    turn: Complex | float = 1.0,
) -> Waves:
    """Sinusoids that jump from one set of phasors to another at t = 0; the cycle after it repeats.

    The step that ends at 0 and the one that begins there each see their own side of the jump.

    Parameters
    ----------
    block : ChunkSamples
    window : Window
    before, during : (n k, 6 or 10) complex array (A RMS)
        k of each sample, one after another.
    turn : (n, 1) complex array, optional (-)
        What has turned them to the point on wave.

    Returns
    -------
    Waves
    """
    cycles = window.times(window.lead + window.per_cycle)
    times = np.insert(cycles, 2 * window.lead, -np.finfo(float).tiny)  # just before 0
    wave = steps(np.sqrt(2) * before, np.sqrt(2) * during, block.omega * times)
    wave = groups.with_third_harmonic(block, wave, times, turn)
    return waves_of(block, wave, wave.shape[-1] - 2 * window.per_cycle, jumps=True)
