"""From uniforms to physical values: quantile functions, Gaussian copula, installations joined with
events."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from scipy.special import ndtr, ndtri

from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS, INSTALLATION_STRATUM, Chunk, Design
from montecarlo.sampling.inputs import Input, Tie, correlation_matrix
from montecarlo.sampling.nets import Net
from montecarlo.sampling.points import Matrix, Points, Streams, joined

# key as in the study file -> (n,), (n, 6) or (n, 4) in the key's unit
Samples = dict[str, Array]

# of every event, though no input states them
DRAWN = (
    "drawn.phase",
    "drawn.point_on_wave",
    "drawn.operating_state",
    "drawn.branch",
    "drawn.contact",
)
WHICH_INSTALLATION = "drawn.installation"  # the leading dimension of a net of events
# The low dimensions of a Sobol' sequence fill the unit square best, pair by pair: they go to
# what decides earth faults (measured), whatever a study makes of it; then the study's order;
# tables within tables, which come and go, last.
LEADING = (
    "internal_faults.earth_fault_resistance_ohm",
    "ct.turns_ratio_error_percent",
    "load.current_pu",
    "load.power_factor",
    "earthing.resistance_ohm",
    "machine.voltage_factor",
    "ct.ankle_ratio",
    "ct.knee_current_a",
    "relay.pickup_error_percent",
    "ct.remanence_percent",
)
# In place of LEADING's resistor, which keeps its dimension
RESISTORS = ("earthing.current_limit_a", "earthing.secondary_resistance_ohm")
# Behind all others: what one study has and the next, otherwise alike, has not.
TRAILING = (
    *RESISTORS,
    "network.x_over_r",
    "earthing.transformer_resistance_ohm",
    "earthing.transformer_reactance_ohm",
    "fault_energy.breaker_time_s",
    "fault_energy.field_decay_time_constant_s",
    "fault_energy.undetected_time_s",
    "relay.chain.filter.cutoff_hz",
    "relay.chain.sampling_phase",
    "earthing.high_resistance_ohm",
    "earthing.switch_time_s",
)
# Behind these too: tables that ask for more of a study without changing what it had.
BESIDE = ("damage.", "dependability.")

# open unit interval: no quantile function is asked for 0 or 1
LOWEST = 2.0**-54
HIGHEST = 1 - 2.0**-53


def draw(inputs: Sequence[Input], ties: Sequence[Tie], points: Points) -> Samples:
    """A value of every input at each of n points, in its unit.

    Plain numbers are filled in and consume nothing. The first input of a group of ties keeps its
    own draws. A tied input that has become a plain number still steers its partners, so that their
    draws stay. Each row follows from its own point.

    Parameters
    ----------
    inputs : sequence of Input
    ties : sequence of Tie
        Correlations of normal scores, column by column (Gaussian copula; common practice, no
        source).
    points : Points

    Returns
    -------
    dict of str to array
        By key: (n,) for one value, (n, 6) a CT, (n, 4) an element; shared ones repeated.

    Raises
    ------
    ValueError
        One end of a tie is not among the inputs.
    """
    ties = _ties_among({item.key for item in inputs}, ties)
    tied = {key for tie in ties for key in tie[:2]}
    uniforms: Samples = {}
    for item in inputs:
        if item.uncertain or item.key in tied:
            uniforms[item.key] = np.clip(points.of(item.key, item.columns), LOWEST, HIGHEST)
    uniforms |= _correlated({key: u for key, u in uniforms.items() if key in tied}, ties)
    return {item.key: _values(item, uniforms.get(item.key), points.count) for item in inputs}


def _ties_among(keys: set[str], ties: Sequence[Tie]) -> list[Tie]:
    """The ties within `keys`; one with a single end here cannot be honoured."""
    here = [tie for tie in ties if tie[0] in keys or tie[1] in keys]
    for one, other, _ in here:
        if not {one, other} <= keys:
            raise ValueError(f"{one} and {other} are correlated but are not drawn together")
    return here


def _correlated(uniforms: Samples, ties: Sequence[Tie]) -> Samples:
    """Those of the tied uniforms (n, c) that change."""
    keys = list(uniforms)
    factor = np.linalg.cholesky(correlation_matrix(keys, ties)) if keys else np.empty((0, 0))
    scores = [ndtri(uniforms[key]) for key in keys]
    changed: Samples = {}
    for i, key in enumerate(keys):
        terms = [factor[i, j] * scores[j] for j in range(i + 1) if factor[i, j] != 0]
        if len(terms) > 1:
            changed[key] = np.clip(ndtr(np.sum(terms, axis=0)), LOWEST, HIGHEST)
    return changed


def _values(item: Input, uniform: Array | None, n: int) -> Array:
    shape = (n,) if item.width == 1 else (n, item.width)
    if not item.uncertain or uniform is None:
        return np.full(shape, item.distribution.centre())
    values = item.distribution.ppf(uniform)
    if item.width == 1:
        values = values[:, 0]
    return values if values.shape == shape else np.array(np.broadcast_to(values, shape))


# --- installations and their events --------------------------------------------------


def _dimensions(inputs: Sequence[Input], varies: str) -> list[tuple[str, int]]:
    """The inputs that vary by installation or by event, with the columns that each has on a net:
    plain numbers and shared values too, so that an input may become one and the others' points
    stay."""
    chosen = [(item.key, item.width) for item in inputs if item.varies == varies]
    if any(key in RESISTORS for key, _ in chosen):
        chosen.append(("earthing.resistance_ohm", 1))

    def rank(name: tuple[str, int]) -> tuple[bool, bool, int, bool]:
        key = name[0]
        place = LEADING.index(key) if key in LEADING else len(LEADING)
        return key.startswith(BESIDE), key in TRAILING, place, key.count(".") > 1

    return sorted(chosen, key=rank)


def installation_samples(
    inputs: Sequence[Input],
    ties: Sequence[Tie],
    *,
    seed: int,
    design: Design,
    blocks: Sequence[int],
    round_: int = 0,
) -> Samples:
    """The installation inputs of some blocks of installations: the first points of each one's net.

    Parameters
    ----------
    inputs : sequence of Input
    ties : sequence of Tie
    seed : int
    design : Design
    blocks : sequence of int
    round_ : int

    Returns
    -------
    dict of str to array
        As of `draw`, `design.installations_per_block` rows a block; empty where no input varies by
        installation.
    """
    chosen = [item for item in inputs if item.varies == "installation"]
    names = tuple(_dimensions(inputs, "installation"))
    if not names:
        return {}
    nets = [Net(seed, INSTALLATION_STRATUM, round_, block, names) for block in blocks]
    first = [_first_points(net, design.installations_per_block) for net in nets]
    return draw(chosen, ties, joined(first))


@lru_cache(maxsize=4 * BLOCKS)
def _first_points(net: Net, count: int) -> Matrix:
    """Kept, since all strata share their installations."""
    return net.points(0, count)


def all_installations(
    inputs: Sequence[Input], ties: Sequence[Tie], *, seed: int, design: Design, round_: int = 0
) -> Samples:
    """The installation inputs of all installations, in the order of `design.installations_in`.

    Parameters
    ----------
    inputs, ties, seed, design, round_
        As of `installation_samples`.

    Returns
    -------
    dict of str to array
        As of `draw`, `design.installations_rounded` rows.
    """
    return installation_samples(
        inputs, ties, seed=seed, design=design, blocks=range(BLOCKS), round_=round_
    )


def event_points(
    inputs: Sequence[Input], *, seed: int, design: Design, chunks: Sequence[Chunk]
) -> Points:
    """Uniforms of some chunks' samples, chunk by chunk and event by event over its installations.

    A longer run begins with this one. On a net a chunk is a range of points of its block's. Every
    aligned run of P points, P a power of two, meets each of P equal cells of the leading dimension
    once: that dimension says which installation, and a run is one event of each.

    Parameters
    ----------
    inputs : sequence of Input
    seed : int
    design : Design
    chunks : sequence of Chunk

    Returns
    -------
    Points
        `design.samples_in` each of them.
    """
    if design.net:
        phase, *rest = ((key, 1) for key in DRAWN)
        beside = [item for item in inputs if item.key.startswith(BESIDE)]
        own = [item for item in inputs if not item.key.startswith(BESIDE)]
        first = ((WHICH_INSTALLATION, 1), phase, *_dimensions(own, "event"), *rest)
        names = (*first, *_dimensions(beside, "event"))
        return joined([_on_net(seed, design, chunk, names) for chunk in chunks])
    return joined(
        [
            Streams(
                seed,
                chunk.stratum,
                chunk.round_,
                chunk.index,
                design.samples_in(chunk),
                chunk.begin * design.installations_per_block,
            )
            for chunk in chunks
        ]
    )


def _on_net(seed: int, design: Design, chunk: Chunk, names: tuple[tuple[str, int], ...]) -> Matrix:
    """A chunk's range of points, in the order of their installations event by event."""
    installations = design.installations_per_block
    net = Net(seed, chunk.stratum, chunk.round_, chunk.installation_block, names)
    points = net.points(design.first_event(chunk) * installations, design.samples_in(chunk))
    runs = points.of(WHICH_INSTALLATION, 1).reshape(-1, installations)
    order = np.argsort(runs, axis=1) + installations * np.arange(len(runs))[:, None]
    return Matrix(points.values[order.ravel()], points.first)


def installation_major(values: Array, installations: int, chunks: int = 1) -> Array:
    """Values drawn event by event in the order of samples: installation by installation.

    Parameters
    ----------
    values : (n, ...) array
        Chunk after chunk.
    installations : int
        Of each chunk.
    chunks : int

    Returns
    -------
    (n, ...) array
    """
    by_event = values.reshape(chunks, -1, installations, *values.shape[1:])
    return np.ascontiguousarray(by_event.swapaxes(1, 2)).reshape(values.shape)


def event_samples(
    inputs: Sequence[Input],
    ties: Sequence[Tie],
    *,
    seed: int,
    design: Design,
    chunks: Sequence[Chunk],
    points: Points | None = None,
) -> Samples:
    """All inputs of some chunks of one event block, installation-major; installation values are
    repeated for their events.

    Parameters
    ----------
    inputs : sequence of Input
    ties : sequence of Tie
    seed : int
    design : Design
    chunks : sequence of Chunk
    points : Points, optional
        `event_points` of the chunks, if they are there already.

    Returns
    -------
    dict of str to array
        As of `draw`, `design.samples_in` each chunk rows.
    """
    if points is None:
        points = event_points(inputs, seed=seed, design=design, chunks=chunks)
    of_events = draw([item for item in inputs if item.varies == "event"], ties, points)
    blocks, round_ = [chunk.installation_block for chunk in chunks], chunks[0].round_
    of_installations = installation_samples(
        inputs, ties, seed=seed, design=design, blocks=blocks, round_=round_
    )
    events, installations = design.events_in(chunks[0]), design.installations_per_block
    samples: Samples = {}
    for key, value in of_installations.items():
        samples[key] = np.repeat(value, events, axis=0)
    for key, value in of_events.items():
        samples[key] = installation_major(value, installations, len(chunks))
    return samples
