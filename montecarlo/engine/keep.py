"""Rows of kept samples: what was drawn and what came of it, a column a value, from the solutions
that the tally of the same chunk rests on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import winding
from montecarlo.engine.block import Block
from montecarlo.engine.count import count
from montecarlo.engine.job import Job
from montecarlo.engine.path import solve
from montecarlo.engine.space import concerns
from montecarlo.estimates.tally import Pickups, Tally
from montecarlo.quantities import Array
from montecarlo.quantities.keepable import keepable
from montecarlo.relays.places import ENDS, GROUPS, PHASES, places_of
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.inputs import Input, list_inputs
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.axes import AXES as SETTING_AXES
from montecarlo.study.axes import BIAS, CIRCUIT
from montecarlo.study.candidates import Lattice
from montecarlo.study.description import Study

__all__ = ["SETTING", "Column", "KeepRows", "Rows", "run_and_keep", "weighted_rows"]

ELEMENTS = (*PHASES, "earth")
SIX = [f"{end}.{phase}" for end in ENDS for phase in PHASES]
WHOSE = {"phase": "largest of the phase elements", "earth": "earth element"}


SETTING = (
    "scheme",
    *CIRCUIT,
    *BIAS,
    "phase_burden_at_a",
    "earth_burden_at_a",
    "element",
    "delay_s",
    "judges_a",
)


@keepable
@dataclass(frozen=True)
class Column:
    """One column of kept samples. `what` it holds: key, draw, input, result, critical pick-up or
    load pick-up; the last two with the part of a setting that they belong to, by the names of
    `SETTING`; judges_a: the pick-ups for which it counts, in the file's words, all where nothing
    stands."""

    name: str
    unit: str
    meaning: str
    what: str
    setting: tuple[str | float | None, ...] = (None,) * len(SETTING)


Rows = dict[Column, NDArray[np.generic]]  # (n,) each, in the order of the columns


class KeepRows(Protocol):
    """Takes the rows of one chunk after the other, in the order of the chunks' keys."""

    def __call__(self, stratum: Stratum, rows: Rows, *, weighted: bool = False) -> None: ...


def run_and_keep(job: Job, chunk: Chunk) -> tuple[Tally, Rows]:
    """The tally of `count.run_chunk` and the chunk's rows, from one set of solutions."""
    block = Block(job, chunk)
    head = _head(block, *_numbers(block))
    solution = solve(block)
    if isinstance(solution, winding.Along):
        pickups = _at_places(block, solution)
    else:
        pickups = _measured(
            block,
            [
                (
                    lattice,
                    lattice.delay_s if solution.timed(lattice) else None,
                    solution.pickups(lattice),
                )
                for lattice in job.lattices
            ],
        )
    return count(block, solution), _finished(block, head, pickups)


def weighted_rows(
    block: Block, first: int, found: Iterable[tuple[Lattice, Pickups]], weight: Array
) -> Rows:
    """Rows of weighted samples of an external event, the first of them no. `first`; each is a plant
    of its own."""
    head = _head(block, first + np.arange(len(block)), np.zeros(len(block), np.int64))
    timed = [(lattice, lattice.delay_s, pickups) for lattice, pickups in found]
    return _finished(block, head, _measured(block, timed), weight)


def _finished(
    block: Block, head: Rows, pickups: Iterable[tuple[Column, Array]], weight: Array | None = None
) -> Rows:
    """Keys, weight and whether the sample gave a result; then draws, inputs and critical
    pick-ups."""
    results = dict(pickups)
    resolved = np.all([np.isfinite(values) for values in results.values()], axis=0)
    return head | {
        Column(
            "weight",
            "-",
            "how many samples of the study's own distributions this one stands for",
            "result",
        ): (np.ones(len(block)) if weight is None else weight),
        Column(
            "resolved",
            "",
            "whether the solvers gave a result on every circuit; a critical pick-up without one is "
            "not a number",
            "result",
        ): resolved,
        **dict(_draws(block)),
        **dict(_inputs(block)),
        **results,
    }


# --- what was drawn -----------------------------------------------------------


def _numbers(block: Block) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Plant and event of each of a chunk's samples."""
    design, chunk = block.design, block.chunk
    events = np.arange(design.events_in(chunk)) + chunk.event_block * design.events_per_chunk
    plants = np.arange(design.plants_rounded)[design.plants_in(chunk)]
    return np.repeat(plants, events.size), np.tile(events, plants.size)


def _head(block: Block, plant: NDArray[np.int64], event: NDArray[np.int64]) -> Rows:
    stratum, n = block.stratum, len(block)
    return {
        Column("side", "", "internal fault, external event or state", "key"): np.full(
            n, stratum.side.value
        ),
        Column("type", "", "type of the fault, name of the event or state", "key"): np.full(
            n, stratum.kind
        ),
        Column("batch", "-", "1: the study's own batch", "key"): np.full(n, block.chunk.round_ + 1),
        Column(
            "plant",
            "-",
            "number of the sampled plant, the row of plants.npz; a weighted sample is a plant of"
            " its own",
            "key",
        ): plant,
        Column("event", "-", "number of the event on its plant", "key"): event,
    }


def _draws(block: Block) -> Iterator[tuple[Column, NDArray[np.generic]]]:
    """What is drawn though no input states it."""
    side = block.stratum.side
    if side is Side.STATE:
        return
    yield (
        Column(
            "point_on_wave_turn",
            "turn",
            "angle of the event on the voltage's wave; phasors have no use for it",
            "draw",
        ),
        block.uniform("point_on_wave"),
    )
    yield (
        Column(
            "phase_number",
            "-",
            "the faulted phase, or the one that a fault between two leaves out: 1, 2, 3",
            "draw",
        ),
        1 + block.phase_number(),
    )
    if side is Side.INTERNAL and block.study.states.breaker_open_share > 0:
        yield (
            Column(
                "breaker_open",
                "",
                "whether the machine was off the network: no load, no infeed, nothing "
                "outside the zone",
                "draw",
            ),
            block.breaker_open,
        )


def _inputs(block: Block) -> Iterator[tuple[Column, Array]]:
    """Every uncertain input that has a part in the stratum, as it was solved."""
    for item in list_inputs(block.study):
        if not (item.uncertain and concerns(item, block.stratum)):
            continue
        values = block.samples[item.key]
        if item.columns == 1:
            yield _input(item, item.key), values if values.ndim == 1 else values[:, 0]
            continue
        for label, column in _places(block.study, item):
            yield _input(item, f"{item.key}[{label}]" if label else item.key), values[:, column]


def _input(item: Input, name: str) -> Column:
    return Column(
        name, item.quantity.unit, f"{item.quantity.text}; varies by {item.varies}", "input"
    )


def _places(study: Study, item: Input) -> Iterator[tuple[str, int]]:
    """The columns of an input that something is made of, each with its place: a table of one group
    of CTs leaves the other end's columns unused, and takes its own from [ct]."""
    if item.quantity.width == "element":
        yield from zip(ELEMENTS, range(len(ELEMENTS)), strict=True)
        return
    group, _, field = item.key.removeprefix("ct.").rpartition(".")
    if group in GROUPS:
        labels = PHASES if len(places_of(group)) > 1 else ("",)
        yield from zip(labels, _columns_of(group), strict=False)
        return
    used = [
        column
        for group in study.ct.groups
        if f"ct.{group}.{field}" not in _keys(study)
        for column in _columns_of(group)
    ]
    yield from ((SIX[column], column) for column in sorted(set(used)))


def _columns_of(group: str) -> range:
    """Which of the six columns of a CT input a group of CTs takes."""
    first = 3 * (group == "line_end")
    return range(first, first + len(places_of(group)))


def _keys(study: Study) -> set[str]:
    return {item.key for item in list_inputs(study)}


# --- what came of it ----------------------------------------------------------


def _measured(
    block: Block,
    found: Iterable[tuple[Lattice, tuple[float, ...] | None, Pickups]],
) -> Iterator[tuple[Column, Array]]:
    """Critical pick-ups of every circuit, bias and axis, for each delay where it matters; with
    those under the load before an internal fault."""
    for lattice, delays, event in found:
        for axis in AXES:
            if (held := getattr(event, axis)) is not None:
                for number, delay in enumerate(delays or (None,)):
                    yield _pickup(block, lattice, axis, delay), held[:, number]
        if block.stratum.side is Side.INTERNAL:
            yield from _under_load(block, lattice)


def _at_places(block: Block, along: winding.Along) -> Iterator[tuple[Column, Array]]:
    """The same of earth faults, at the sampled places; by phasors or in time, each for the pick-ups
    that it judges."""
    held: dict[Hashable, tuple[Lattice, winding.AtPlace, Array]] = {}
    judged: defaultdict[Hashable, set[float]] = defaultdict(set)
    for lattice in block.job.lattices:
        for found, values in winding.pickups_at_place(block, lattice, along):
            key: Hashable = (lattice.circuit, lattice.bias, found.axis, found.delay_s)
            held.setdefault(key, (lattice, found, values))
            judged[key].update(found.pickups_a)
        yield from _under_load(block, lattice)
    for key, (lattice, found, values) in held.items():
        judges = " ".join(f"{pickup:g}" for pickup in sorted(judged[key]))
        yield _pickup(block, lattice, found.axis, found.delay_s, judges), values


def _under_load(block: Block, lattice: Lattice) -> Iterator[tuple[Column, Array]]:
    load = block.load_pickups(lattice)
    for axis in AXES:
        if (held := getattr(load, axis)) is not None:
            yield (
                Column(
                    f"load_pickup_a[{_circuit_words(block, lattice)}, {axis}]",
                    "A",
                    f"critical pick-up of the {WHOSE[axis]} under the load before the fault",
                    "load pick-up",
                    _setting(block, lattice, axis, None),
                ),
                held[:, 0],
            )


def _pickup(
    block: Block, lattice: Lattice, axis: Axis, delay_s: float | None, judges: str | None = None
) -> Column:
    """judges: of earth faults, the pick-ups for which this solution counts."""
    words = [_circuit_words(block, lattice), axis]
    text = (
        f"critical pick-up of the {WHOSE[axis]}: the setting at which it would only just have"
        " operated"
    )
    if delay_s is not None:
        text += f", for a delay of {delay_s:g} s"
    if judges is not None:
        how = "by phasors" if delay_s is None else "in time"
        words.append(how)
        text += (
            f"; solved {how} along the winding, interpolated at the sampled place; for the pick-ups"
            " in judges_a"
        )
    words += [] if delay_s is None else [f"{delay_s:g} s"]
    return Column(
        f"critical_pickup_a[{', '.join(words)}]",
        "A",
        text,
        "critical pick-up",
        _setting(block, lattice, axis, delay_s, judges),
    )


def _setting(
    block: Block, lattice: Lattice, axis: Axis, delay_s: float | None, judges: str | None = None
) -> tuple[str | float | None, ...]:
    """In the order of `SETTING`; None where the scheme has no such thing, or for whatever delay."""
    circuit, scheme = lattice.circuit, block.scheme(lattice.circuit)
    shared = {
        each.key: lattice.shared[each.key] if each.in_scheme(scheme) else None
        for each in SETTING_AXES
        if each.key in lattice.shared
    }
    return (
        circuit.scheme,
        *(shared[key] for key in (*CIRCUIT, *BIAS)),
        circuit.phase_pickup_a,
        circuit.earth_pickup_a,
        axis,
        delay_s,
        judges,
    )


def _circuit_words(block: Block, lattice: Lattice) -> str:
    circuit, bias = lattice.circuit, lattice.bias
    words = [circuit.scheme]
    if block.scheme(circuit).stabilised:
        words.append(f"{circuit.stabilising_resistance_ohm:g} ohm")
    words += [
        f"{axis} burden at {pickup:g} A"
        for axis, pickup in (("phase", circuit.phase_pickup_a), ("earth", circuit.earth_pickup_a))
        if pickup is not None
    ]
    if bias is not None:
        words.append(
            f"slope {bias.slope1:g}"
            + ("" if bias.slope2 is None else f" ({bias.slope2:g} above {bias.slope_break_a:g} A)")
        )
    return ", ".join(words)
