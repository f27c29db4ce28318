"""Internal faults in time, as they begin: by a jump, with the DC offset of their currents, or as
what becomes of an external fault."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import ceil
from typing import cast

import numpy as np

from montecarlo.engine import groups, primary
from montecarlo.engine.block import Block
from montecarlo.engine.primary import Complex
from montecarlo.engine.samples import ChunkSamples
from montecarlo.engine.waves import Waves, scene_of, step_currents, waves_of
from montecarlo.plant.events.through_fault import ThroughFault
from montecarlo.plant.events.waves import Fading
from montecarlo.plant.evolving import TwoEnds, end_phasors
from montecarlo.plant.machine import phase_fault_reactance_pu
from montecarlo.quantities import Array, Index
from montecarlo.sampling.stratum import EARTH, EVOLVING, PHASE_PHASE_EARTH
from montecarlo.secondary.transient import STEPS_PER_CYCLE, Window
from montecarlo.study.description import Study
from montecarlo.study.strata import event_of, in_time, wants_offset

POINTS = 4_000_000  # of primary currents that are solved in one pass; more need memory


def internal_fault(
    block: ChunkSamples, per_cycle: int = STEPS_PER_CYCLE, cycles_before: int = 1
) -> tuple[Window, Waves, Complex]:
    """The fault of an internal stratum at its sampled place, from t = 0 on for the allowed time.

    Parameters
    ----------
    block : ChunkSamples
    per_cycle, cycles_before : int
        Of the window; an evolving fault has the cycles that it takes.

    Returns
    -------
    Window
    Waves
        On the window's times.
    ndarray (n, 6 or 10), complex
        Phasors before it (A RMS).
    """
    allowed_s = block.study.internal_faults.allowed_time_s
    window = Window(block.study.machine.frequency_hz, allowed_s, per_cycle, cycles_before)
    if block.stratum == EVOLVING:
        return _evolving(block, window)
    turn = np.exp(2j * np.pi * block.uniform("point_on_wave"))[:, None]
    before, during = primary.load(block) * turn, primary.lasting(block) * turn
    if block.stratum != EARTH and wants_offset(block.study):
        return window, _with_offset(block, window, before, during), before
    return window, step_currents(block, window, before, during, turn), before


def in_parts(block: Block) -> Iterator[Block]:
    """A block of internal faults in parts whose primary currents are few enough; in one where the
    last cycle stands for all later ones.

    Parameters
    ----------
    block : Block

    Yields
    ------
    Block
        Each with some of the samples, in their order.
    """
    if not in_time(block.study, block.stratum):
        yield block
        return
    allowed_s = block.study.internal_faults.allowed_time_s
    window = Window(block.study.machine.frequency_hz, allowed_s)
    some = max(1, POINTS // (7 * window.times().size))  # six at the ends, one in the neutral
    for first in range(0, len(block), some):
        yield block.only(np.arange(first, min(first + some, len(block))))


# --- with the DC offset -------------------------------------------------------


def _with_offset(block: ChunkSamples, window: Window, before: Complex, during: Complex) -> Waves:
    """Sinusoids that begin at 0, each with the DC component that makes it continuous (RL circuit;
    textbook): T_a at the neutral end, X/(omega R) of the network's infeed at the line end.

    What two phases and earth carry alike returns through the neutral's resistance: it jumps, as in
    an earth fault."""
    offset = (before - during).real * np.sqrt(2)
    if block.stratum == PHASE_PHASE_EARTH:
        offset[:, :6] = _between_phases(offset[:, :6], block.phase_number())
    times = np.insert(window.times(), 2 * window.lead, -np.finfo(float).tiny)  # just before 0
    never = np.full(len(block), np.inf)
    waves = [
        Fading(
            stages=(np.sqrt(2) * during[:, end],) * 3,
            fast_s=never,
            slow_s=never,
            direct_s=time_s,
            direct=offset[:, end],
            before=np.sqrt(2) * before[:, end],
        ).at(times, block.omega)[0]
        for end, time_s in (
            (slice(0, 3), _armature_s(block)),
            (slice(3, 6), _network_s(block)),
            (slice(6, during.shape[1]), _armature_s(block)),
        )
    ]
    return waves_of(block, np.concatenate(waves, axis=1), jumps=True)


def _between_phases(offset: Array, healthy: Index) -> Array:
    """Of the currents of both ends (n, 6) what passes from one faulted phase to the other."""
    apart = np.arange(6) % 3 == healthy[:, None]
    pair = np.where(apart, 0.0, offset).reshape(-1, 2, 3)
    common = pair.sum(axis=-1, keepdims=True) / 2
    return np.where(apart, 0.0, (pair - common).reshape(-1, 6))


def _armature_s(block: ChunkSamples) -> Array:
    return block.samples["machine.armature_time_constant_s"]


def _network_s(block: ChunkSamples) -> Array:
    """Without a network the line end has no DC component, whatever its time constant."""
    ratio = block.samples.get("network.x_over_r")
    return _armature_s(block) if ratio is None else ratio / block.omega


# --- evolving -----------------------------------------------------------------


def _evolving(block: ChunkSamples, window: Window) -> tuple[Window, Waves, Complex]:
    """The external fault begins at -after_s of each sample, the internal one at 0."""
    s, base_ohm = block.samples, block.study.machine.base_impedance_ohm
    event = cast(ThroughFault, event_of(block.study, EVOLVING))
    evolving = block.study.internal_faults.evolving
    assert evolving is not None
    scene, _ = scene_of(block, event)
    external = event.lasting(scene)
    reactance_pu = s["machine.subtransient_reactance_pu"]
    if event.kind == "phase_phase":
        reactance_pu = phase_fault_reactance_pu(
            reactance_pu, s["machine.negative_sequence_reactance_pu"]
        )
    ends = [
        end_phasors(
            event.kind,
            evolving.kind,
            stage,
            scene.phase,
            s["internal_faults.position"],
            1j * reactance_pu * base_ohm,
            1j * scene.ohm("external_reactance_pu"),
            s["internal_faults.phase_fault_resistance_ohm"],
        )
        for stage in external.stages
    ]
    neutral, line, alone = zip(*ends, strict=True)
    both = TwoEnds(external, neutral, line, alone, _armature_s(block), external.direct_s)
    after_s = s["internal_faults.evolving.after_s"]
    window = replace(window, cycles_before=_cycles_before(block.study, window), repeats=False)
    times = window.times()
    wave = both.at(times, block.omega, after_s, scene.own["clearing_time_s"])
    later = np.exp(1j * block.omega * after_s)[:, None]
    turn = scene.turn[:, None] * later
    wave = groups.with_fault_in_time(block, wave, times, turn)
    return window, waves_of(block, wave), groups.beside(block, event.before(scene) * later, turn)


def _cycles_before(study: Study, window: Window) -> int:
    """One of load, which settles the CTs, those of the window, then the longest external fault:
    the same for every sample, whichever are solved side by side."""
    evolving = study.internal_faults.evolving
    assert evolving is not None
    return 1 + window.cycles_before + ceil(evolving.longest_s * window.frequency_hz)
