"""From uniforms to physical values: quantile functions, Gaussian copula, plants joined with
events."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr, ndtri

from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS, PLANT_STRATUM, Chunk, Design
from montecarlo.sampling.inputs import Input, Tie, correlation_matrix
from montecarlo.sampling.nets import Net
from montecarlo.sampling.points import Matrix, Points, Streams

__all__ = [
    "DRAWN",
    "Samples",
    "all_plants",
    "draw",
    "event_points",
    "event_samples",
    "plant_major",
    "plant_samples",
]

# key as in the study file -> (n,), (n, 6) or (n, 4) in the key's unit
Samples = dict[str, Array]

DRAWN = (
    "drawn.phase",
    "drawn.point_on_wave",
    "drawn.operating_state",
)  # of every event, though no input states them
WHICH_PLANT = "drawn.plant"  # the leading dimension of a net of events
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
# Behind all others: what one study has and the next, otherwise alike, has not.
RESISTORS = (
    "earthing.current_limit_a",
    "earthing.secondary_resistance_ohm",
)  # for LEADING's, which keeps its place
TRAILING = (
    *RESISTORS,
    "earthing.transformer_resistance_ohm",
    "earthing.transformer_reactance_ohm",
    "fault_energy.breaker_time_s",
    "fault_energy.field_decay_time_constant_s",
    "fault_energy.undetected_time_s",
)

LOWEST, HIGHEST = (
    2.0**-54,
    1 - 2.0**-53,
)  # open unit interval: no quantile function is asked for 0 or 1


def draw(inputs: Sequence[Input], ties: Sequence[Tie], points: Points) -> Samples:
    """A value of every input at each of n points, in its unit: (n,) for one value, (n, 6) a CT, (n,
    4) an element; shared ones repeated.

    Plain numbers are filled in and consume nothing. `ties` are correlations of normal scores
    (Gaussian copula; common practice, no source), column by column; the first input of a group
    keeps its own draws. A tied input that has become a plain number still steers its partners, so
    that their draws stay. Each row follows from its own point."""
    ties = _ties_among({item.key for item in inputs}, ties)
    tied = {key for tie in ties for key in tie[:2]}
    uniforms = {
        item.key: np.clip(points.of(item.key, item.columns), LOWEST, HIGHEST)
        for item in inputs
        if item.uncertain or item.key in tied
    }
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
    return np.array(np.broadcast_to(values[:, 0] if item.width == 1 else values, shape))


# --- plants and their events --------------------------------------------------


def _dimensions(inputs: Sequence[Input], varies: str) -> tuple[tuple[str, int], ...]:
    """The inputs that vary by plant or by event, with the columns that each has on a net: plain
    numbers and shared values too, so that an input may become one and the others' points stay."""
    place = {key: rank for rank, key in enumerate(LEADING)}
    chosen = [(item.key, item.width) for item in inputs if item.varies == varies]
    if any(key in RESISTORS for key, _ in chosen):
        chosen.append(("earthing.resistance_ohm", 1))
    return tuple(
        sorted(
            chosen,
            key=lambda name: (
                name[0] in TRAILING,
                place.get(name[0], len(place)),
                name[0].count(".") > 1,
            ),
        )
    )


def plant_samples(
    inputs: Sequence[Input],
    ties: Sequence[Tie],
    *,
    seed: int,
    design: Design,
    block: int,
    round_: int = 0,
) -> Samples:
    """The plant inputs of one block of plants, `design.plants_per_block` rows: the first points of
    the block's net."""
    chosen = [item for item in inputs if item.varies == "plant"]
    names = _dimensions(inputs, "plant")
    if not names:
        return {}
    net = Net(seed, PLANT_STRATUM, round_, block, names)
    return draw(chosen, ties, net.points(0, design.plants_per_block))


def all_plants(
    inputs: Sequence[Input], ties: Sequence[Tie], *, seed: int, design: Design, round_: int = 0
) -> Samples:
    """The plant inputs of all plants, `design.plants_rounded` rows, in the order of
    `design.plants_in`."""
    blocks = [
        plant_samples(inputs, ties, seed=seed, design=design, block=block, round_=round_)
        for block in range(BLOCKS)
    ]
    return {key: np.concatenate([block[key] for block in blocks]) for key in blocks[0]}


def event_points(inputs: Sequence[Input], *, seed: int, design: Design, chunk: Chunk) -> Points:
    """Uniforms of a chunk's samples, event by event over the block's plants: a longer run begins
    with this one.

    On a net a chunk is a range of points of its block's. Every aligned run of P points, P a power
    of two, meets each of P equal cells of the leading dimension once: that dimension says which
    plant, and a run is one event of each."""
    if not design.net:
        return Streams(seed, chunk.stratum, chunk.round_, chunk.index, design.samples_in(chunk))
    names = (
        (WHICH_PLANT, 1),
        (DRAWN[0], 1),
        *_dimensions(inputs, "event"),
        *((key, 1) for key in DRAWN[1:]),
    )
    plants = design.plants_per_block
    points = Net(seed, chunk.stratum, chunk.round_, chunk.plant_block, names).points(
        chunk.event_block * design.events_per_chunk * plants, design.samples_in(chunk)
    )
    runs = points.of(WHICH_PLANT, 1).reshape(-1, plants)
    order = np.argsort(runs, axis=1) + plants * np.arange(len(runs))[:, None]
    return Matrix(points.values[order.ravel()], points.first)


def plant_major(values: Array, plants: int) -> Array:
    """(n, ...) drawn event by event, in the order of a chunk's samples: plant by plant."""
    by_event = values.reshape(-1, plants, *values.shape[1:])
    return np.ascontiguousarray(by_event.swapaxes(0, 1)).reshape(values.shape)


def event_samples(
    inputs: Sequence[Input],
    ties: Sequence[Tie],
    *,
    seed: int,
    design: Design,
    chunk: Chunk,
    points: Points | None = None,
) -> Samples:
    """All inputs of one chunk, `design.samples_in(chunk)` rows, plant-major; plant values repeated
    for their events.

    points: `event_points` of the chunk, if they are there already."""
    if points is None:
        points = event_points(inputs, seed=seed, design=design, chunk=chunk)
    drawn = draw([item for item in inputs if item.varies == "event"], ties, points)
    of_plants = plant_samples(
        inputs, ties, seed=seed, design=design, block=chunk.plant_block, round_=chunk.round_
    )
    samples = {
        key: np.repeat(value, design.events_in(chunk), axis=0) for key, value in of_plants.items()
    }
    return samples | {
        key: plant_major(value, design.plants_per_block) for key, value in drawn.items()
    }
