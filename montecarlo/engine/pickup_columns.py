"""Columns of critical pick-ups: a circuit, bias, axis and delay each, with the settings that it
judges."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from montecarlo.engine import winding
from montecarlo.engine.block import Block
from montecarlo.estimates.tally import Pickups
from montecarlo.quantities import Array
from montecarlo.quantities.keepable import keepable
from montecarlo.relays.gates import NO_GATE
from montecarlo.relays.schemes import Axis
from montecarlo.sampling.stratum import EVOLVING
from montecarlo.study.axes import BIAS, CIRCUIT
from montecarlo.study.candidates import Lattice
from montecarlo.study.strata import in_time

WHOSE = {
    "phase": "largest of the phase elements",
    "earth": "earth element",
    "high_set": "largest of the high-set elements",
}


SETTING = (
    "scheme",
    *CIRCUIT,
    *BIAS,
    "phase_burden_at_a",
    "earth_burden_at_a",
    "element",
    "delay_s",
    "judges_a",
    "gate",
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


def measured_pickups(
    block: Block,
    found: Iterable[tuple[Lattice, Pickups]],
    before: Mapping[Lattice, Pickups] | None = None,
) -> Iterator[tuple[Column, Array]]:
    """Critical pick-ups of every circuit, bias and axis, for each delay where it matters, as where
    a sample is solved in time; with those before an internal fault.

    Parameters
    ----------
    block : Block
    found : iterable of (Lattice, Pickups)
    before : mapping of Pickups, optional
        Of internal faults.

    Yields
    ------
    Column, (n,) array
    """
    passing = in_time(block.study, block.stratum)
    told = set[Column]()  # lattices may share elements
    for lattice, event in found:
        for stage in block.stages(lattice.circuit):
            if (held := getattr(event, stage)) is not None:
                delays = lattice.delays_of(stage) if passing else (None,)
                for values, delay in zip(held.T, delays, strict=True):
                    column = _pickup(block, lattice, stage, delay)
                    if column not in told:
                        told.add(column)
                        yield column, values
        if before is not None:
            yield from _before(block, lattice, before[lattice], told)


def pickups_along(block: Block, along: winding.Along) -> Iterator[tuple[Column, Array]]:
    """The same of earth faults, at the sampled places; by phasors or in time, each for the pick-ups
    that it judges.

    Parameters
    ----------
    block : Block
    along : Along

    Yields
    ------
    Column, (n,) array
    """
    held: dict[Hashable, tuple[Lattice, winding.Sweep, Array]] = {}
    judged: defaultdict[Hashable, set[float]] = defaultdict(set)
    told = set[Column]()
    for lattice in block.job.lattices:
        for found, values in winding.pickups_at_place(block, lattice, along):
            bias, gate = lattice.bias_of(found.axis), _gate(lattice, found.axis, found.delay_s)
            key: Hashable = (lattice.circuit, bias, found.axis, found.delay_s, gate)
            held.setdefault(key, (lattice, found, values))
            judged[key].update(found.pickups_a)
        yield from _before(block, lattice, block.load_pickups(lattice), told)
    for key, (lattice, found, values) in held.items():
        judges = " ".join(f"{pickup:g}" for pickup in sorted(judged[key]))
        yield _pickup(block, lattice, found.axis, found.delay_s, judges), values


def _before(
    block: Block, lattice: Lattice, before: Pickups, told: set[Column]
) -> Iterator[tuple[Column, Array]]:
    """told: the columns that there are already; changed."""
    evolves = block.stratum == EVOLVING
    for stage in block.stages(lattice.circuit):
        if (held := getattr(before, stage)) is None:
            continue
        delays = lattice.delays_of(stage) if evolves else (None,)
        for values, delay in zip(held.T, delays, strict=True):
            column = _load_pickup(block, lattice, stage, delay)
            if column not in told:
                told.add(column)
                yield column, values


def _load_pickup(block: Block, lattice: Lattice, stage: Axis, delay_s: float | None) -> Column:
    """delay_s: in the external fault from which an internal one evolves."""
    text = f"critical pick-up of the {WHOSE[stage]} under the load before the fault"
    words = [_circuit_words(block, lattice, stage), stage]
    if delay_s is not None:
        text += f" and in the external fault, for a delay of {delay_s:g} s"
        words.append(f"{delay_s:g} s")
    gate = _gate(lattice, stage, delay_s)
    words += [] if gate in (None, NO_GATE) else [f"gate {gate}"]
    return Column(
        f"load_pickup_a[{', '.join(words)}]",
        "A",
        text,
        "load pick-up",
        _setting(block, lattice, stage, delay_s),
    )


def _pickup(
    block: Block, lattice: Lattice, axis: Axis, delay_s: float | None, judges: str | None = None
) -> Column:
    """judges: of earth faults, the pick-ups for which this solution counts."""
    words = [_circuit_words(block, lattice, axis), axis]
    text = f"critical pick-up of the {WHOSE[axis]}: the highest setting at which it operates"
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
    gate = _gate(lattice, axis, delay_s)
    words += [] if gate in (None, NO_GATE) else [f"gate {gate}"]
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
    """In the order of `SETTING`; None where the elements have no such thing, or for whatever
    delay."""
    circuit, bias = lattice.circuit, lattice.bias_of(axis)
    scheme = block.scheme(circuit)
    return (
        circuit.scheme,
        *(getattr(circuit, key) if scheme.stabilised else None for key in CIRCUIT),
        *(None if bias is None else getattr(bias, key) for key in BIAS),
        circuit.phase_pickup_a,
        circuit.earth_pickup_a,
        axis,
        delay_s,
        judges,
        _gate(lattice, axis, delay_s),
    )


def _gate(lattice: Lattice, axis: Axis, delay_s: float | None) -> str | None:
    """What lasts is judged without the gates of phase elements."""
    if axis == "earth":
        return lattice.own.earth_gate
    return lattice.own.gate if axis == "phase" and delay_s is not None else None


def _circuit_words(block: Block, lattice: Lattice, axis: Axis) -> str:
    circuit, bias = lattice.circuit, lattice.bias_of(axis)
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
            f"slope {bias.first_slope:g}"
            + (
                ""
                if bias.second_slope is None
                else f" ({bias.second_slope:g} above {bias.turning_point_a:g} A)"
            )
        )
    return ", ".join(words)
