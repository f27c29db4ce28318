"""Rows of kept samples: what was drawn and what came of it, a column a value, from the solutions
that the tally of the same chunk rests on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine.block import Block
from montecarlo.engine.count import count
from montecarlo.engine.groups import class_of
from montecarlo.engine.job import Job
from montecarlo.engine.path import solve
from montecarlo.engine.pickup_columns import Column, measured_pickups, pickups_along
from montecarlo.engine.space import concerns
from montecarlo.engine.winding import Along
from montecarlo.estimates.tally import Pickups, Tally
from montecarlo.plant.turns.catalogue import CLASSES
from montecarlo.quantities import Array
from montecarlo.relays.places import ENDS, GROUPS, PHASES, places_of
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.inputs import Input, list_inputs
from montecarlo.sampling.stratum import INTER_TURN, Side, Stratum
from montecarlo.study.candidates import Lattice
from montecarlo.study.description import Study
from montecarlo.study.strata import off_network_share

ELEMENTS = (*PHASES, "earth")
SIX = [f"{end}.{phase}" for end in ENDS for phase in PHASES]
Rows = dict[Column, NDArray[np.generic]]  # (n,) each, in the order of the columns


class KeepRows(Protocol):
    """Takes the rows of one chunk after the other, in the order of the chunks' keys. `parts`: names
    that lead to the study that has them, where a run solves several; empty for the study itself."""

    def __call__(
        self, stratum: Stratum, rows: Rows, *, weighted: bool = False, parts: tuple[str, ...] = ()
    ) -> None: ...


def of_part(keep: KeepRows | None, name: str) -> KeepRows | None:
    """What takes the rows of one of several studies of a run.

    Parameters
    ----------
    keep : KeepRows or None
        What takes those of the run.
    name : str
        Of the study.

    Returns
    -------
    KeepRows or None
    """
    if keep is None:
        return None

    def inner(
        stratum: Stratum, rows: Rows, *, weighted: bool = False, parts: tuple[str, ...] = ()
    ) -> None:
        keep(stratum, rows, weighted=weighted, parts=(name, *parts))

    return inner


def run_and_keep(job: Job, chunk: Chunk | tuple[Chunk, ...]) -> tuple[Tally, Rows]:
    """The tally of `count.run_chunk` and the rows, from one set of solutions.

    Parameters
    ----------
    job : Job
    chunk : Chunk, or tuple of them

    Returns
    -------
    Tally, Rows
    """
    block = Block(job, chunk)
    head = _head(block, *_numbers(block))
    solution = solve(block)
    if isinstance(solution, Along):
        pickups = pickups_along(block, solution)
    else:
        found = [(lattice, solution.pickups(lattice)) for lattice in job.lattices]
        before = None
        if block.stratum.side is Side.INTERNAL:
            before = {lattice: solution.before(lattice) for lattice in job.lattices}
        pickups = measured_pickups(block, found, before)
    return count(block, solution), _finished(block, head, pickups)


def weighted_rows(
    block: Block, first: int, found: Iterable[tuple[Lattice, Pickups]], weight: Array
) -> Rows:
    """Rows of weighted samples of an external event; each is an installation of its own.

    Parameters
    ----------
    block : Block
    first : int
        Number of the first of them.
    found : iterable of (Lattice, Pickups)
    weight : (n,) array

    Returns
    -------
    Rows
    """
    head = _head(block, first + np.arange(len(block)), np.zeros(len(block), np.int64))
    return _finished(block, head, measured_pickups(block, found), weight)


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
            "weight: number of unweighted samples that this one represents",
            "result",
        ): (np.ones(len(block)) if weight is None else weight),
        Column(
            "resolved",
            "",
            "whether the solvers gave a result on every relay circuit; else the critical pick-up"
            " is empty",
            "result",
        ): resolved,
        **dict(_draws(block)),
        **dict(_inputs(block)),
        **results,
    }


# --- what was drawn -----------------------------------------------------------


def _numbers(block: Block) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Installation and event of each of a block's samples."""
    design, chunk = block.design, block.chunk
    events = np.arange(design.events_in(chunk)) + design.first_event(chunk)
    every = np.arange(design.installations_rounded)
    installations = np.concatenate([every[design.installations_in(one)] for one in block.chunks])
    return np.repeat(installations, events.size), np.tile(events, installations.size)


def _head(block: Block, installation: NDArray[np.int64], event: NDArray[np.int64]) -> Rows:
    stratum, n = block.stratum, len(block)
    return {
        Column("side", "", "internal fault, external event or state", "key"): np.full(
            n, stratum.side.value
        ),
        Column("type", "", "type of the fault, name of the event or state", "key"): np.full(
            n, stratum.kind
        ),
        Column("batch", "-", "1: selection sample", "key"): np.full(n, block.chunk.round_ + 1),
        Column(
            "installation",
            "-",
            "number of the sampled installation, the row of installations.npz; a weighted sample is"
            " an installation of its own",
            "key",
        ): installation,
        Column("event", "-", "number of the event on its installation", "key"): event,
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
            "point on wave of the event; not used by phasors",
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
    if off_network_share(block.study, block.stratum) > 0:
        yield (
            Column(
                "breaker_open",
                "",
                "whether the breaker was open: no load, no infeed, no capacitance outside the zone",
                "draw",
            ),
            block.breaker_open,
        )
    if block.stratum == INTER_TURN:
        yield (
            Column("fault_class", "", "class of the place of the fault between turns", "draw"),
            np.array(CLASSES)[class_of(block)],
        )


def _inputs(block: Block) -> Iterator[tuple[Column, Array]]:
    """Every uncertain input that has a part in the stratum, as it was solved."""
    for item in block.job.inputs:
        if not (item.uncertain and concerns(block.study, item, block.stratum)):
            continue
        values = block.samples[item.key].reshape(len(block), -1)
        text = f"{item.quantity.text}; varies by {item.varies}"
        for label, column in _places(block.study, item):
            name = f"{item.key}[{label}]" if label else item.key
            yield Column(name, item.quantity.unit, text, "input"), values[:, column]


def _places(study: Study, item: Input) -> Iterator[tuple[str, int]]:
    """The columns of an input that something is made of, each with its place: a table of one group
    of CTs leaves the other end's columns unused, and takes its own from [ct]."""
    if item.columns == 1:
        yield "", 0
        return
    if item.quantity.width == "element":
        yield from zip(ELEMENTS, range(len(ELEMENTS)), strict=True)
        return
    group, _, field = item.key.removeprefix("ct.").rpartition(".")
    if group in GROUPS:
        if group not in study.ct.groups:
            return
        labels = PHASES if len(places_of(group)) > 1 else ("",)
        yield from zip(labels, _columns_of(group), strict=False)
        return
    stated = {each.key for each in list_inputs(study)}
    groups = [group for group in study.ct.groups if f"ct.{group}.{field}" not in stated]
    for column in sorted({column for group in groups for column in _columns_of(group)}):
        yield SIX[column], column


def _columns_of(group: str) -> range:
    """Which of the six columns of a CT input a group of CTs takes."""
    first = 3 * (group == "line_end")
    return range(first, first + len(places_of(group)))
