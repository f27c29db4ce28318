"""From a block of samples to primary currents: which sampled input goes into which model."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal, cast

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine.samples import ChunkSamples
from montecarlo.plant import internal, machine, states
from montecarlo.plant.earthing import neutral_ohm, resistor_ohm
from montecarlo.plant.events.base import Event, Scene
from montecarlo.quantities import Array, Complex, Index
from montecarlo.relays.places import CHANNELS
from montecarlo.sampling.stratum import EARTH, OVERLOAD, Side
from montecarlo.secondary.transient import STEPS_PER_CYCLE, Source, Window
from montecarlo.study.strata import event_of


def _emf(block: ChunkSamples) -> Array:
    return block.study.machine.phase_voltage_v * block.samples["machine.voltage_factor"]


def _infeed_share(block: ChunkSamples) -> Array:
    """Part of an internal fault's positive and negative sequence that the network takes over."""
    if "network.reactance_pu" not in block.samples:
        return np.zeros(len(block))
    return machine.infeed_share(
        *(
            block.samples[key]
            for key in (
                "machine.subtransient_reactance_pu",
                "machine.negative_sequence_reactance_pu",
                "network.reactance_pu",
            )
        )
    )


def _carried(block: ChunkSamples) -> Complex:
    """The load itself, (n, 6) [A] RMS."""
    return states.load_currents(
        block.samples["load.current_pu"],
        block.samples["load.power_factor"],
        block.study.machine.rated_current_a,
    )


def load(block: ChunkSamples) -> Complex:
    """Load and charging currents at the six CTs before an internal fault, (n, 6) [A] RMS."""
    s = block.samples
    charging = internal.charging_currents(
        _emf(block),
        s["machine.stator_capacitance_f"],
        s["machine.terminal_capacitance_f"],
        block.omega,
        _infeed_share(block),
    )
    return np.asarray(_carried(block) + charging)


def overload(block: ChunkSamples) -> Complex:
    """The lasting heavy load at the six CTs, (n, 6) [A] RMS."""
    s = block.samples
    return states.load_currents(
        s["states.overload_current_pu"],
        s["states.overload_power_factor"],
        block.study.machine.rated_current_a,
    )


def _winding(block: ChunkSamples, x: Array, reactance_pu: Array) -> Complex:
    """Z_w at x, (n, nodes), from (n, nodes) or (1, nodes) positions."""
    ohm = reactance_pu * block.study.machine.base_impedance_ohm
    return machine.winding_impedance(
        x,
        block.samples["machine.winding_resistance_ohm"][:, None],
        ohm[:, None],
        block.study.machine.winding_exponent,
    )


def neutral(block: ChunkSamples) -> NDArray[Any]:
    """Of the machine's own neutral, hot, whatever its kind of earthing. (n,)"""
    return neutral_ohm(block.study.earthing, block.samples, block.study.machine.phase_voltage_v)


def resistor(block: ChunkSamples) -> Array:
    """What of the neutral's impedance is its resistor, hot. (n,)"""
    return resistor_ohm(block.study.earthing, block.samples, block.study.machine.phase_voltage_v)


def _earth_return(block: ChunkSamples, wide: bool, alone: bool = False) -> dict[str, NDArray[Any]]:
    """The return path, (n, 1) for a sweep of positions or (n,); `alone`: of the machine off the
    network."""
    s, n = block.samples, len(block)
    path = {
        "neutral_ohm": neutral(block),
        "other_neutrals_ohm": s.get("earthing.other_neutrals_ohm", np.full(n, np.inf)),
        "stator_capacitance_f": s["machine.stator_capacitance_f"],
        "terminal_capacitance_f": s["machine.terminal_capacitance_f"],
        "external_capacitance_f": s["network.external_capacitance_f"],
        "infeed_share": _infeed_share(block),
    }
    if alone:
        path |= {
            "other_neutrals_ohm": np.full(n, np.inf),
            "external_capacitance_f": np.zeros(n),
            "infeed_share": np.zeros(n),
        }
    return {key: value[:, None] for key, value in path.items()} if wide else path


def earth_fault(
    block: ChunkSamples, nodes: Array, *, solid: bool = False, alone: bool = False
) -> internal.EarthFault:
    """An earth fault at every node, without the load: (n, nodes). nodes (nodes,), or (n, nodes)
    places of their own.

    solid: without fault resistance; alone: with the machine off the network."""
    s = block.samples
    reactance = machine.earth_fault_reactance_pu(
        s["machine.subtransient_reactance_pu"],
        s["machine.negative_sequence_reactance_pu"],
        s["machine.zero_sequence_reactance_pu"],
    )
    x = np.broadcast_to(nodes, (len(block), nodes.shape[-1]))
    fault_ohm = np.zeros(len(block)) if solid else s["internal_faults.earth_fault_resistance_ohm"]
    return internal.earth_fault(
        x,
        block.phase_number()[:, None],
        _emf(block)[:, None],
        _winding(block, x, reactance),
        fault_ohm[:, None],
        internal.EarthReturn(omega=block.omega, **_earth_return(block, True, alone)),
    )


def earth_faults(block: ChunkSamples, nodes: Array) -> Complex:
    """Currents at the six CTs with an earth fault at every node, load included: (n, nodes, 6) [A]
    RMS."""
    return np.asarray(earth_fault(block, nodes).end_currents_a + _carried(block)[:, None])


def _loops(block: ChunkSamples) -> tuple[Complex, Complex]:
    """Impedances per phase of a fault between phases at its sampled place, (n,) each: machine;
    infeed, np.inf for none. [ohm]"""
    s, study = block.samples, block.study
    x = s["internal_faults.position"]
    reactance = machine.phase_fault_reactance_pu(
        s["machine.subtransient_reactance_pu"], s["machine.negative_sequence_reactance_pu"]
    )
    own = _winding(block, x[:, None], reactance)[:, 0]
    outside = np.full(len(block), np.inf, complex)
    if "network.reactance_pu" in s:
        network = s["network.reactance_pu"] * study.machine.base_impedance_ohm
        remaining = _winding(block, 1 - x[:, None], reactance)[:, 0]
        outside = np.where(
            np.isinf(network), np.inf, remaining + 1j * np.where(np.isinf(network), 0.0, network)
        )
    return own, outside


def phase_phase_earth(block: ChunkSamples) -> internal.EarthFault:
    """Two phases to earth at the sampled place, without the load: (n,)."""
    s = block.samples
    return internal.phase_phase_earth(
        s["internal_faults.position"],
        block.phase_number(),
        _emf(block),
        *_loops(block),
        s["internal_faults.earth_fault_resistance_ohm"],
        internal.EarthReturn(omega=block.omega, **_earth_return(block, False)),
    )


def phase_faults(block: ChunkSamples, kind: str) -> Complex:
    """Currents at the six CTs with a fault between phases, load included: (n, 6) [A] RMS."""
    s = block.samples
    if kind == "phase_phase_earth":
        fault = phase_phase_earth(block).end_currents_a
    else:
        fault = internal.phase_fault(
            cast(Literal["phase_phase", "three_phase"], kind),
            s["internal_faults.position"],
            block.phase_number(),
            _emf(block),
            *_loops(block),
            s["internal_faults.phase_fault_resistance_ohm"],
            stator_capacitance_f=s["machine.stator_capacitance_f"],
            terminal_capacitance_f=s["machine.terminal_capacitance_f"],
            omega=block.omega,
            infeed_share=_infeed_share(block),
        )
    return np.asarray(fault + _carried(block))


def lasting(block: ChunkSamples) -> Complex:
    """What flows in an internal fault, at its sampled place, or in a state.

    Returns
    -------
    ndarray (n, 6), complex
        Currents at the six CTs (A RMS).
    """
    stratum = block.stratum
    if stratum == EARTH:
        return earth_faults(block, block.samples["internal_faults.position"][:, None])[:, 0]
    if stratum.side is Side.INTERNAL:
        return phase_faults(block, stratum.kind)
    return overload(block) if stratum == OVERLOAD else load(block)


@dataclass(frozen=True, eq=False)
class Waves:
    """Primary currents on a window's times: of three phases, alike at both ends, or of the ends'
    six, and last the neutral conductor's where a scheme wants it. wave (n, channels, points) [A].
    """

    wave: Array
    ends: Index  # (6,) channel of each phase of each end
    loop_from: int = -1
    jumps: bool = False  # two points at t = 0, just before and just after

    def at(self, places: tuple[int, ...]) -> Source:
        """What drives the CTs of one scheme."""
        channels = np.append(self.ends, self.wave.shape[1] - 1)[CHANNELS]
        return Source(self.wave, channels[list(places)], self.loop_from, self.jumps)


def waves_of(
    block: ChunkSamples, wave: Array, loop_from: int = -1, *, jumps: bool = False
) -> Waves:
    """With the neutral conductor's current, the sum of the neutral end's three, where a scheme has
    a CT in it."""
    ends = np.tile(np.arange(3), 2) if wave.shape[1] == 3 else np.arange(6)
    if block.wants_neutral:
        wave = np.concatenate([wave, wave[:, :3].sum(axis=1, keepdims=True)], axis=1)
    return Waves(wave, ends, loop_from, jumps)


def scene_of(block: ChunkSamples, event: Event) -> tuple[Scene, Window]:
    """What an event is given to work with, and its window."""
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
    clear of earth."""
    event = event_of(block.study, block.stratum)
    scene, window = scene_of(block, event)
    return event.neutral_current(scene, window.times()[::2])


def external_event(
    block: ChunkSamples, per_cycle: int = STEPS_PER_CYCLE
) -> tuple[Window, Waves, Complex]:
    """The event of an external stratum, as it passes.

    Parameters
    ----------
    block : ChunkSamples
    per_cycle : int
        Steps of the window.

    Returns
    -------
    Window
    Waves
        On the window's times.
    ndarray (n, 6), complex
        Phasors before it (A RMS).
    """
    event = event_of(block.study, block.stratum)
    scene, window = scene_of(block, event)
    window = replace(window, per_cycle=per_cycle)
    return window, waves_of(block, event.currents(scene, window.times())), event.before(scene)


def step_currents(block: ChunkSamples, window: Window, before: Complex, during: Complex) -> Waves:
    """Sinusoids that jump from one set of phasors (n, 6) to another at t = 0; the second cycle
    repeats.

    The step that ends at 0 and the one that begins there each see their own side of the jump."""
    cycles = window.times(2 * window.per_cycle)
    event = 2 * window.per_cycle  # the point of t = 0
    parts = []
    for times, phasors in ((cycles[: event + 1], before), (cycles[event:], during)):
        peak = np.sqrt(2) * phasors[..., None]
        parts.append(
            peak.real * np.cos(block.omega * times) - peak.imag * np.sin(block.omega * times)
        )
    wave = np.concatenate(parts, axis=-1)
    return waves_of(block, wave, wave.shape[-1] - 2 * window.per_cycle, jumps=True)
