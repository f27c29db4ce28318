"""What a run tells about how it computed, a sentence each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from montecarlo.engine.batch import Batch, designs
from montecarlo.engine.winding import STEADY_INTERVALS, TRANSIENT_INTERVALS, beyond_phasors
from montecarlo.estimates.rare import Why
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.budget import too_few
from montecarlo.study.description import Study

__all__ = ["method_notes"]


def method_notes(study: Study, batch: Batch) -> list[str]:
    """Of the study's own batch: what reading moved, sizes, methods."""
    notes = [
        *study.told,
        *(text for design in dict.fromkeys(designs(study)) if (text := design.told())),
    ]
    circuits = list(dict.fromkeys(lattice.circuit for lattice in batch.lattices))
    if any(
        (circuit.phase_pickup_a, circuit.earth_pickup_a) != (None, None) for circuit in circuits
    ):
        notes.append(
            f"A burden in VA at setting changes the circuit with the pick-up: {len(batch.settings)}"
            f" candidates need {len(circuits)} circuits."
        )
    late = [
        lattice
        for lattice in batch.lattices
        if any(part.any() for part in beyond_phasors(study, lattice))
    ]
    if EARTH in batch.strata and late:
        these = ", ".join(
            dict.fromkeys(
                str(replace(lattice.circuit, phase_pickup_a=None, earth_pickup_a=None))
                for lattice in late
            )
        )
        notes.append(
            "Earth faults were solved in time, remanence included, where a pick-up drives more"
            " than a quarter of the knee voltage through the fault's path or where the CTs take"
            f" more exciting current than the element ({these}); elsewhere by phasors."
        )
    if EARTH in batch.strata:
        notes.append(_solutions_told(study, batch))
    if batch.notes.get("interpolated"):
        mean = batch.notes["interpolation"] / batch.notes["interpolated"]
        notes.append(
            "Places between the solved ones along the winding are interpolated: with half as many"
            f" solved places the critical position would move by {100 * mean:.2g} % of the winding"
            " on average."
        )
    if batch.notes.get("re_entries"):
        share = batch.notes["re_entries"] / batch.notes["interpolated"]
        notes.append(
            f"In {100 * share:.2g} % of the cases the missed part of the winding is not one stretch"
            " from the neutral; p_missed counts everything up to its far end, which overstates it."
        )
    notes += _rare_notes(batch)
    return notes + ([few] if (few := too_few(study)) else [])


def _solutions_told(study: Study, batch: Batch) -> str:
    """How many earth faults, where along the winding, how many solutions."""
    design = designs(study)[1]
    circuits = len({lattice.circuit for lattice in batch.lattices})
    a_circuit = design.samples_drawn * (STEADY_INTERVALS + 1)
    late = batch.notes["transient_solutions"]
    in_time = f"; {late:,.0f} more in time at {TRANSIENT_INTERVALS + 1} places" if late else ""
    return (
        f"{design.samples_drawn:,} earth faults on {BLOCKS} randomised Sobol' nets,"
        f" {design.plants_rounded} plants x {design.events_per_plant} events, each at"
        f" {STEADY_INTERVALS + 1} places along the winding: {a_circuit:,} solutions a circuit,"
        f" {a_circuit * circuits:,} in all{in_time}."
    )


def _rare_notes(batch: Batch) -> list[str]:
    """How far weighted samples carry, event by event, and why not further."""
    notes = []
    for name, stratum in batch.strata.items():
        if (weighted := stratum.weighted) is None:
            continue
        rare = np.array([verdict.why is not Why.COMMON for verdict in weighted.verdict])
        few = int((weighted.used & ~weighted.alone).sum())
        sentence = (
            f"{name}: p_false of {int(weighted.alone.sum())} of {int(rare.sum())} candidates with"
            f" rare false trips comes from {weighted.sums.trials} weighted samples"
        )
        if few:
            sentence += (
                f", of {few} from few of them that operate, with limits that reach over those of"
                " the counts"
            )
        if (left := rare & ~weighted.used).any():
            sentence += (
                f", of the other {int(left.sum())} from counts (the reasons stand in rare.csv)"
            )
        seen = np.isfinite(weighted.gap)
        if seen.any():
            sentence += (
                f"; where both see enough ({int(seen.sum())}) they differ by at most "
                f"{np.abs(weighted.gap[seen]).max():.1f} standard errors"
            )
        notes.append(sentence + ".")
    return notes
