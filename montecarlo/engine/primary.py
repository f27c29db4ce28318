"""From a block of samples to primary currents: which sampled input goes into which model."""

from __future__ import annotations

from typing import Any, Literal, cast

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import groups
from montecarlo.engine.samples import ChunkSamples
from montecarlo.plant import internal, machine, states
from montecarlo.plant.earthing import branch_ohm, neutral_ohm, resistor_ohm
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import EARTH, INTER_TURN, OVERLOAD, PHASE_PHASE_EARTH, Side

Complex = NDArray[np.complex128]


def _emf(block: ChunkSamples) -> Array:
    return block.study.machine.phase_voltage_v * block.samples["machine.voltage_factor"]


def _infeed_share(block: ChunkSamples) -> Array:
    """Part of an internal fault's positive and negative sequence that the network takes over."""
    s = block.samples
    if "network.reactance_pu" not in s:
        return np.zeros(len(block))
    return machine.infeed_share(
        s["machine.subtransient_reactance_pu"],
        s["machine.negative_sequence_reactance_pu"],
        s["network.reactance_pu"],
    )


def _carried(block: ChunkSamples, prefix: str = "load.") -> Complex:
    """The load itself, or the lasting heavy one, (n, 6) [A] RMS."""
    return states.load_currents(
        block.samples[f"{prefix}current_pu"],
        block.samples[f"{prefix}power_factor"],
        block.study.machine.rated_current_a,
    )


def load(block: ChunkSamples) -> Complex:
    """Load and charging currents before an internal fault. [A RMS]

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n, 6 or 10) complex array
        Of the two ends, and of the groups where a scheme has CTs there.
    """
    return groups.beside(block, _healthy(block))


def _healthy(block: ChunkSamples) -> Complex:
    s = block.samples
    charging = internal.charging_currents(
        _emf(block),
        s["machine.stator_capacitance_f"],
        s["machine.terminal_capacitance_f"],
        block.omega,
        _infeed_share(block),
    )
    return np.asarray(_carried(block) + charging)


def _winding(block: ChunkSamples, x: Array, reactance_pu: Array) -> Complex:
    """Z_w at x, (n, nodes), from (n, nodes) or (1, nodes) positions."""
    ohm = reactance_pu * block.study.machine.base_impedance_ohm
    return machine.winding_impedance(
        x,
        block.samples["machine.winding_resistance_ohm"][:, None],
        ohm[:, None],
        block.study.machine.winding_exponent,
    )


def neutral(block: ChunkSamples, *, switched: bool = False) -> NDArray[Any]:
    """Impedance of the machine's own neutral, hot, whatever its kind of earthing. [ohm]

    Parameters
    ----------
    block : ChunkSamples
    switched : bool
        With the resistor's branch open, of hybrid earthing.

    Returns
    -------
    (n,) array, real or complex
    """
    study = block.study
    rated_v = study.machine.phase_voltage_v
    return neutral_ohm(study.earthing, block.samples, rated_v, switched=switched)


def branch(block: ChunkSamples) -> NDArray[Any]:
    """Of it the branch with the resistor, hot. [ohm]

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n,) array, real or complex
    """
    return branch_ohm(block.study.earthing, block.samples, block.study.machine.phase_voltage_v)


def resistor(block: ChunkSamples) -> Array:
    """What of the neutral's impedance is its resistor, hot. [ohm]

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n,) array
    """
    return resistor_ohm(block.study.earthing, block.samples, block.study.machine.phase_voltage_v)


def _earth_return(
    block: ChunkSamples, *, wide: bool = False, alone: bool = False, switched: bool = False
) -> internal.EarthReturn:
    """The return path, (n,), or (n, 1) for a sweep of positions; `alone`: of the machine off the
    network; `switched`: as of `neutral`."""
    s, none = block.samples, np.zeros(len(block))
    path = {
        "neutral_ohm": neutral(block, switched=switched),
        "other_neutrals_ohm": s.get("earthing.other_neutrals_ohm", none + np.inf),
        "stator_capacitance_f": s["machine.stator_capacitance_f"],
        "terminal_capacitance_f": s["machine.terminal_capacitance_f"],
        "external_capacitance_f": s["network.external_capacitance_f"],
        "infeed_share": _infeed_share(block),
    }
    if alone:
        path |= {"other_neutrals_ohm": none + np.inf}
        path |= dict.fromkeys(("external_capacitance_f", "infeed_share"), none)
    if wide:
        path = {key: value[:, None] for key, value in path.items()}
    return internal.EarthReturn(omega=block.omega, **path)


def earth_fault(
    block: ChunkSamples,
    nodes: Array,
    *,
    solid: bool = False,
    alone: bool = False,
    switched: bool = False,
) -> internal.EarthFault:
    """An earth fault at every node, without the load.

    Parameters
    ----------
    block : ChunkSamples
    nodes : (nodes,) or (n, nodes) array
        Places from the neutral, the samples' own in the second case.
    solid : bool
        Without fault resistance.
    alone : bool
        With the machine off the network.
    switched : bool
        As of `neutral`.

    Returns
    -------
    EarthFault
        (n, nodes).
    """
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
        _earth_return(block, wide=True, alone=alone, switched=switched),
    )


def stretched_places(block: ChunkSamples, count: int) -> Array:
    """Where each sampled earth fault is put: one place in each of as many equally likely stretches
    of the winding, at the sampled place's own quantile of the stretch; the sampled place alone
    where places are discrete. [-]

    Parameters
    ----------
    block : ChunkSamples
    count : int
        Of the stretches.

    Returns
    -------
    (n, count) or (n, 1) array (-)
    """
    law = block.study.internal_faults.position
    place = block.samples["internal_faults.position"][:, None]
    return law.ppf((np.arange(count) + law.cdf(place)) / count) if law.is_continuous else place


def earth_faults(block: ChunkSamples, nodes: Array) -> Complex:
    """Currents with an earth fault at every node, load included. [A RMS]

    Parameters
    ----------
    block : ChunkSamples
    nodes : array
        As of `earth_fault`.

    Returns
    -------
    (n, nodes, 6 or 10) complex array
        As of `load`.
    """
    ends = earth_fault(block, nodes).end_currents_a + _carried(block)[:, None]
    x = np.broadcast_to(nodes, ends.shape[:2])
    return groups.with_fault(block, ends, _healthy(block)[:, None], x)


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
    """Two phases to earth at the sampled place, without the load: (n,).

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    EarthFault
    """
    s = block.samples
    return internal.phase_phase_earth(
        s["internal_faults.position"],
        block.phase_number(),
        _emf(block),
        *_loops(block),
        s["internal_faults.earth_fault_resistance_ohm"],
        _earth_return(block),
    )


def _phase_fault(block: ChunkSamples) -> Complex:
    """Currents at the six CTs with a fault between phases clear of earth, without the load: (n, 6)
    [A] RMS."""
    s = block.samples
    return internal.phase_fault(
        cast(Literal["phase_phase", "three_phase"], block.stratum.kind),
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


def lasting(block: ChunkSamples) -> Complex:
    """What flows in an internal fault, at its sampled place, or in a state. [A RMS]

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n, 6 or 10) complex array
        As of `load`.
    """
    stratum, s = block.stratum, block.samples
    if stratum == EARTH:
        return earth_faults(block, s["internal_faults.position"][:, None])[:, 0]
    if stratum == OVERLOAD:
        return groups.beside(block, _carried(block, "states.overload_"))
    if stratum.side is not Side.INTERNAL:
        return load(block)
    if stratum == INTER_TURN:
        return groups.with_turns(block, load(block))
    if stratum == PHASE_PHASE_EARTH:
        fault = phase_phase_earth(block).end_currents_a
    else:
        fault = _phase_fault(block)
    x = s["internal_faults.position"]
    return groups.with_fault(block, fault + _carried(block), _healthy(block), x)
