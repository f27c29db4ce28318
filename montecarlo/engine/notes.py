"""What there is to say of how a batch was computed, as data: a class a kind of note."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.sizes import designs
from montecarlo.engine.winding import beyond_phasors
from montecarlo.estimates.rare import Why
from montecarlo.estimates.weighted import Weighted
from montecarlo.sampling.design import Design
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.circuits import Circuit
from montecarlo.study.description import Study


@dataclass(frozen=True)
class Rounded:
    """The design draws other numbers than were asked for."""

    design: Design


@dataclass(frozen=True)
class BurdenCircuits:
    """A burden at setting changes the circuit with the pick-up."""

    candidates: int
    circuits: int


@dataclass(frozen=True)
class InTime:
    """Circuits on which earth faults were solved in time, whatever the pick-up."""

    circuits: tuple[Circuit, ...]


@dataclass(frozen=True)
class EarthFaultCount:
    """How many earth faults were solved; by_phasors, in_time: solutions of all circuits."""

    design: Design
    by_phasors: float
    in_time: float


@dataclass(frozen=True)
class Interpolated:
    """moves: of the critical position on average, with half as many places [of the winding]."""

    moves: float


@dataclass(frozen=True)
class ReEntered:
    """Share of the cases whose missed part of the winding is not one stretch."""

    share: float


@dataclass(frozen=True)
class WeightedSamples:
    """How far an event's weighted samples carry, in numbers of candidates.

    Attributes
    ----------
    alone, few, left : int
        Of the `rare` ones, whose p comes from weighted samples; from few that operate; from counts.
    compared : int
        Where both see enough; then at most `apart` standard errors lie between them.
    """

    stratum: Stratum
    samples: int
    rare: int
    alone: int
    few: int
    left: int
    compared: int
    apart: float


@dataclass(frozen=True)
class LeftOut:
    """Relay circuits that were left out of the selection sample after so many samples of each
    event, and their candidates."""

    circuits: int
    candidates: int
    samples: int
    of_samples: int


Method = (
    Rounded
    | BurdenCircuits
    | InTime
    | EarthFaultCount
    | Interpolated
    | ReEntered
    | WeightedSamples
    | LeftOut
)


def method_notes(study: Study, batch: Batch) -> Iterator[Method]:
    """Of the selection sample: sizes, methods, how far each carries.

    Parameters
    ----------
    study : Study
    batch : Batch

    Yields
    ------
    Method
    """
    for design in dict.fromkeys(designs(study)):
        if design.rounded:
            yield Rounded(design)
    for part in batch.left_out.values():
        yield LeftOut(len(part.lattices), len(part.settings), part.samples, batch.samples)
    circuits = dict.fromkeys(lattice.circuit for lattice in batch.asked)
    if any(
        (circuit.phase_pickup_a, circuit.earth_pickup_a) != (None, None) for circuit in circuits
    ):
        yield BurdenCircuits(len(batch.every), len(circuits))
    if EARTH in batch.strata:
        yield from _earth_fault_notes(study, batch)
    for name, stratum in batch.strata.items():
        if stratum.weighted is not None:
            yield _weighted_samples(name, stratum.weighted)


def _earth_fault_notes(study: Study, batch: Batch) -> Iterator[Method]:
    late = dict.fromkeys(
        replace(lattice.circuit, phase_pickup_a=None, earth_pickup_a=None)
        for lattice in batch.lattices
        if any(part.any() for part in beyond_phasors(study, lattice).values())
    )
    if late:
        yield InTime(tuple(late))
    counts = batch.counts
    solved = counts["phasor_solutions"], counts["transient_solutions"]
    yield EarthFaultCount(designs(study)[1], *solved)
    if counts["interpolated"]:
        yield Interpolated(counts["interpolation"] / counts["interpolated"])
    if counts["re_entries"]:
        yield ReEntered(counts["re_entries"] / counts["interpolated"])


def _weighted_samples(name: Stratum, found: Weighted) -> WeightedSamples:
    rare = np.array([verdict.why is not Why.COMMON for verdict in found.verdict])
    seen = np.isfinite(found.gap)
    return WeightedSamples(
        name,
        found.sums.trials,
        int(rare.sum()),
        int(found.alone.sum()),
        int((found.used & ~found.alone).sum()),
        int((rare & ~found.used).sum()),
        int(seen.sum()),
        float(np.abs(found.gap[seen]).max(initial=0.0)),
    )
