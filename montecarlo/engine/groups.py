"""What the first group of branches carries more than the second: from standing differences, and
from the places of faults.

A fault takes its current out of one branch at a place along it. The branches' currents then differ
by what balances its field (`plant/turns/currents.py`); reactances at their centres. A fault between
turns has each sample's own."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from montecarlo.engine.samples import ChunkSamples
from montecarlo.plant.events.waves import sinusoids
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.plant.turns.catalogue import BETWEEN_PHASES, WITHIN_PHASE, contacts
from montecarlo.plant.turns.currents import TurnFaults
from montecarlo.plant.turns.layout import Placing, Winding, coils_of
from montecarlo.quantities import Array, Complex, Index
from montecarlo.study.description import Study


@lru_cache(maxsize=4)
def _faults(placing: Placing, turns: int) -> TurnFaults:
    """The faults of a winding; kept, since every chunk asks."""
    return TurnFaults(contacts(coils_of(placing), turns))


@lru_cache(maxsize=4)
def _differences(faults: TurnFaults, reactance_pu: float, leakage_pu: float) -> Array:
    """Of places between the turns' own; kept likewise."""
    return faults.winding.differences(reactance_pu, leakage_pu)


def turn_faults(winding: Winding) -> TurnFaults:
    """The catalogue of a winding, and what its faults carry.

    Parameters
    ----------
    winding : Winding

    Returns
    -------
    TurnFaults
    """
    return _faults(winding.placing, winding.turns_per_coil)


def branch_current_a(study: Study) -> float:
    """Rated current of a branch. [A]

    Parameters
    ----------
    study : Study
        With a winding.

    Returns
    -------
    float (A)
    """
    assert study.winding is not None
    return study.machine.rated_current_a / study.winding.branches


# --- standing -----------------------------------------------------------------

# What one ampere of third harmonic in the star link makes of a machine's ten currents: it leaves
# the first group in all phases alike and comes back through the second.
FROM_LINK = np.array([*[0.0] * 6, *[2 / 3] * 3, 0.0])


def unbalance(block: ChunkSamples) -> Array:
    """Difference of the groups over the phase's current. [-]

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n, 3) array (-)
    """
    return block.samples["winding.group_unbalance_percent"][:, :3] / 100


def circulating(block: ChunkSamples) -> Complex:
    """Standing difference of the groups, for a voltage of L1 at angle 0. [A RMS]

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n, 3) complex array (A RMS)
    """
    s, rated_a = block.samples, block.study.machine.rated_current_a
    angle = np.exp(1j * np.radians(s["winding.circulating_angle_deg"]))[:, None]
    return np.asarray(
        s["winding.circulating_percent"][:, :3] / 100 * rated_a * angle * PHASE_ROTATION
    )


def third_harmonic(block: ChunkSamples) -> Complex:
    """Of the star link without a fault, for a voltage of L1 at angle 0; it turns three times as
    fast. [A RMS]

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n,) complex array (A RMS)
    """
    s, rated_a = block.samples, block.study.machine.rated_current_a
    angle = np.exp(1j * np.radians(s["winding.link_third_harmonic_angle_deg"]))
    return np.asarray(s["winding.link_third_harmonic_percent"] / 100 * rated_a * angle)


def beside(block: ChunkSamples, ends: Complex, turn: Complex | float = 1.0) -> Complex:
    """Currents of the ends with those that make ten of them, where a scheme has CTs at the groups.

    Parameters
    ----------
    block : ChunkSamples
    ends : (n, ..., 6) complex array (A RMS)
    turn : (n, 1) complex array, optional (-)
        What turns phasors to the point on wave, where that has turned the ends.

    Returns
    -------
    (n, ..., 6 or 10) complex array (A RMS)
    """
    if not block.wants_groups:
        return ends
    shape = (len(block), *(1,) * (ends.ndim - 2), 3)
    lasting = (circulating(block) * turn).reshape(shape)
    standing = unbalance(block).reshape(shape) * ends[..., 3:] + lasting
    none = np.zeros((*ends.shape[:-1], 1))
    return np.concatenate([ends, standing, none], axis=-1)


def waves_beside(block: ChunkSamples, wave: Array, t: Array, turn: Complex) -> Array:
    """The same of currents in time.

    Parameters
    ----------
    block : ChunkSamples
    wave : (n, 3 or 6, points) array (A)
        Of both ends, or of each.
    t : (points,) array (s)
    turn : (n, 1) complex array (-)
        As of `beside`.

    Returns
    -------
    (n, 3, 6 or 10, points) array (A)
    """
    if not block.wants_groups:
        return wave
    ends = np.tile(wave, (1, 2, 1)) if wave.shape[1] == 3 else wave
    lasting = np.sqrt(2) * circulating(block) * turn
    standing = sinusoids(lasting, block.omega * t) + unbalance(block)[..., None] * ends[:, 3:]
    ten = np.concatenate([ends, standing, np.zeros_like(standing[:, :1])], axis=1)
    return with_third_harmonic(block, ten, t, turn)


def with_third_harmonic(block: ChunkSamples, wave: Array, t: Array, turn: Complex | float) -> Array:
    """Currents in time with what stands of it in the star link.

    Parameters
    ----------
    block : ChunkSamples
    wave : (n k, 6 or 10, points) array (A)
        k of each sample, one after another.
    t : (points,) array (s)
    turn : (n, 1) complex array (-)
        As of `beside`.

    Returns
    -------
    (n k, 6 or 10, points) array (A)
    """
    if not block.wants_groups or not (third := third_harmonic(block)).any():
        return wave
    each = np.repeat(third[:, None] * turn**3, len(wave) // len(block), axis=0)
    standing = sinusoids(np.sqrt(2) * each, 3 * block.omega * t)
    return np.asarray(wave + FROM_LINK[:, None] * standing)


# --- faults -------------------------------------------------------------------


def with_fault(block: ChunkSamples, ends: Complex, healthy: Complex, x: Array) -> Complex:
    """Currents with a fault that takes its own out of one branch of each phase, all at one place.

    Parameters
    ----------
    block : ChunkSamples
    ends, healthy : (n, ..., 6) complex array (A RMS)
        With the fault and without.
    x : (n, ...) array (-)
        Place along the branch from the neutral.

    Returns
    -------
    (n, ..., 6 or 10) complex array (A RMS)
    """
    ten = beside(block, ends)
    if block.wants_groups:
        added = ends - healthy
        into = added[..., :3] - added[..., 3:]
        branch = _branch(block).reshape(len(block), *(1,) * (x.ndim - 1), 3)
        ten[..., 6:] += (shares(block.study, branch, x) * into[..., None]).sum(axis=-2)
    return ten


def with_fault_in_time(block: ChunkSamples, wave: Array, t: Array, turn: Complex) -> Array:
    """Of a fault at the sampled place that begins within the window; what the ends differ by flows
    into it.

    Parameters
    ----------
    block : ChunkSamples
    wave : (n, 6, points) array (A)
    t, turn
        As of `waves_beside`.

    Returns
    -------
    (n, 6 or 10, points) array (A)
    """
    ten = waves_beside(block, wave, t, turn)
    if block.wants_groups:
        share = shares(block.study, _branch(block), block.samples["internal_faults.position"])
        into = wave[:, :3] - wave[:, 3:]
        ten[:, 6:] += np.einsum("nqp,nqt->npt", share, into)
    return ten


def shares(study: Study, branch: Index | int, x: Array) -> Array:
    """The last four of a machine's ten currents, over the current out of each phase at x. [-]

    Parameters
    ----------
    study : Study
        With a winding.
    branch : (..., 3) array of int, or int
        Of each phase, the one at fault.
    x : (...) array (-)
        Place along it from the neutral.

    Returns
    -------
    (..., 3, 4) array
        The faulted phase; then differences of L1, L2, L3, and what the star link has of it.
    """
    assert study.winding is not None
    table = _differences(
        turn_faults(study.winding),
        study.machine.subtransient_reactance_pu.centre(),
        study.winding.leakage_reactance_pu.centre(),
    )
    coils = table.shape[2] - 1
    at = np.clip(x * coils, 0.0, coils)[..., None]
    coil = np.minimum(at.astype(np.int64), coils - 1)
    phase = np.arange(3)
    whole: Array = table[phase, branch, coil]
    return np.asarray(whole + (at - coil)[..., None] * (table[phase, branch, coil + 1] - whole))


def _branch(block: ChunkSamples) -> Index:
    """The branch of each phase that a fault lies in, by one draw: (n, 3)."""
    assert block.study.winding is not None
    branches = block.study.winding.branches
    every = np.minimum((block.uniform("branch") * branches**3).astype(np.int64), branches**3 - 1)
    return np.stack([every // branches**k % branches for k in range(3)], axis=-1)


def contact_weights(study: Study) -> Array:
    """How likely each place of the winding's catalogue is beside the others.

    Parameters
    ----------
    study : Study
        With a winding.

    Returns
    -------
    (contacts,) array (-)
        Of any sum.
    """
    turns = study.internal_faults.turns
    assert study.winding is not None
    assert turns is not None
    return turn_faults(study.winding).weights(turns.voltage_exponent)


def which_contact(block: ChunkSamples) -> Index:
    """The place of each fault between turns, of all within a phase by their weights.

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n,) array of int
        Its number in the catalogue.
    """
    assert block.study.winding is not None
    found = turn_faults(block.study.winding).contacts
    weights = np.where(found.of(BETWEEN_PHASES), 0, contact_weights(block.study))
    steps = np.cumsum(weights)
    drawn = block.uniform("contact") * steps[-1]
    return np.asarray(np.searchsorted(steps, drawn, side="right"), np.int64)


def class_of(block: ChunkSamples) -> Index:
    """The class of the place of each fault between turns.

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n,) array of int
        Number of `CLASSES`.
    """
    assert block.study.winding is not None
    return np.asarray(turn_faults(block.study.winding).contacts.kind[which_contact(block)])


def class_shares(study: Study) -> dict[str, float]:
    """Shares of the classes among faults between turns, as the catalogue's weights have them.

    Parameters
    ----------
    study : Study
        With a winding.

    Returns
    -------
    dict of float (-)
        By class within a phase; they sum to 1.
    """
    assert study.winding is not None
    places, weights = turn_faults(study.winding).contacts, contact_weights(study)
    sums = {name: float(weights[places.of(name)].sum()) for name in WITHIN_PHASE}
    return {name: part / sum(sums.values()) for name, part in sums.items()}


def with_turns(block: ChunkSamples, load: Complex) -> Complex:
    """Currents with a fault between turns, which the ends do not see.

    Parameters
    ----------
    block : ChunkSamples
    load : (n, 6 or 10) complex array (A RMS)

    Returns
    -------
    (n, 6 or 10) complex array (A RMS)
    """
    if not block.wants_groups:
        return load
    study, s = block.study, block.samples
    assert study.winding is not None
    rated_a = branch_current_a(study)
    emf = s["machine.voltage_factor"]
    faults, which = turn_faults(study.winding), which_contact(block)
    current = faults.currents(
        which,
        reactance_pu=s["machine.subtransient_reactance_pu"],
        leakage_pu=s["winding.leakage_reactance_pu"],
        coupling=s["winding.coil_leakage_coupling"],
        fault_pu=s["internal_faults.turns.fault_resistance_ohm"]
        * rated_a
        / study.machine.phase_voltage_v,
    )
    scale = rated_a * emf * (1 + s["internal_faults.turns.current_error_percent"] / 100)
    load = load.copy()
    load[:, 6:] += current.apart * scale[:, None]
    return load
