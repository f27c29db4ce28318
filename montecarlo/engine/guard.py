"""Samples that give no result: counted by type and batch, reported, and above the study's limit the
end of the run.

A sample has no result where the secondary solution did not converge or where it was driven by
something that is not a finite number. It is never dropped: estimates widen by it,
and no sum takes its value."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import inception, primary, waves
from montecarlo.engine.block import Block
from montecarlo.errors import RunStopped
from montecarlo.estimates.rare import Sums
from montecarlo.estimates.tally import NO_CAUSES, Pickups, Tally
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.candidates import Lattice
from montecarlo.study.description import Study
from montecarlo.study.strata import in_time

COUNTED, WEIGHTED = "counted", "weighted"  # what the samples are, or are for
ENERGY, CLEARING, EFFECTS, ROWS = "energy", "who clears them", "effects", "drivers"


@dataclass(frozen=True)
class Unresolved:
    """Samples of one type in one batch that gave no result; zero of them is reported too.

    number: of the candidate that has most. not_finite and not_converged: by the cause, on any
    circuit, so that their sum may be more; None where nobody looked."""

    of: str  # assumption set, model or wider inputs; "": the study as stated
    round_: int  # 0: the selection sample
    stratum: Stratum
    samples: str
    drawn: int
    number: int
    not_finite: int | None
    not_converged: int | None
    circuit: str = ""  # of that candidate, where there are any

    @property
    def share(self) -> float:
        return self.number / self.drawn if self.drawn else 0.0

    @property
    def batch(self) -> str:
        return "selection sample" if self.round_ == 0 else "independent sample"

    @property
    def name(self) -> str:
        """Which samples they are, in words."""
        return f"{self.stratum}, {self.samples}, {self.batch}" + (f", {self.of}" if self.of else "")

    @property
    def why(self) -> str:
        """By which cause and where most, in words; "" where nobody looked or nothing was found."""
        found = (
            (self.not_finite, "driven by a value that is not finite"),
            (self.not_converged, "not converged"),
        )
        return ", ".join(f"{count} {text}" for count, text in found if count) + (
            f", most with {self.circuit}" if self.circuit else ""
        )


# --- in a chunk ---------------------------------------------------------------


def without_result(pickups: Iterable[Pickups]) -> NDArray[np.bool_]:
    """The samples that have none on one circuit at least, (n,).

    Parameters
    ----------
    pickups : iterable of Pickups

    Returns
    -------
    (n,) array of bool
    """
    return np.asarray(np.any([~each.resolved for each in pickups], axis=0))


def causes(block: Block, lost: NDArray[np.bool_]) -> Array:
    """How many samples were driven by something not finite, and how many did not converge.

    Their primary currents are worked out once more, which costs nothing as long as there are none.

    Parameters
    ----------
    block : Block
    lost : (n,) array of bool

    Returns
    -------
    (2,) array
    """
    if not lost.any():
        return NO_CAUSES
    finite = _finite(block.only(np.flatnonzero(lost)))
    return np.array([(~finite).sum(), finite.sum()], float)


def _finite(block: Block) -> NDArray[np.bool_]:
    """Whether all primary currents and circuit constants of each sample are finite numbers,
    (n,)."""
    parts: list[NDArray[np.complex128] | Array] = [
        block.leg_ohm(circuit) for circuit in block.circuits
    ]
    if in_time(block.study, block.stratum):
        external = block.stratum.side is Side.EXTERNAL
        passing = waves.external_event if external else inception.internal_fault
        _, currents, before = passing(block)
        parts += [currents.wave, before]
    else:
        parts += [block.load_primary, primary.lasting(block)]
    return np.asarray(
        np.all([np.isfinite(part).reshape(len(block), -1).all(axis=1) for part in parts], axis=0)
    )


# --- of a batch ---------------------------------------------------------------


def counted(
    round_: int, stratum: Stratum, tallies: Sequence[Tally], lattices: Sequence[Lattice]
) -> Unresolved:
    """Of a counted type, or of earth faults, from the tallies of its blocks of installations or of
    its chunks.

    Parameters
    ----------
    round_ : int
    stratum : Stratum
    tallies : sequence of Tally
    lattices : sequence of Lattice

    Returns
    -------
    Unresolved
    """
    drawn = sum(float(tally.lattices[0].trials.sum()) for tally in tallies)
    lost = np.sum([[part.unresolved.sum() for part in tally.lattices] for tally in tallies], axis=0)
    of_causes = np.sum([tally.causes for tally in tallies], axis=0)
    return _most(round_, stratum, COUNTED, round(drawn), lost, of_causes, lattices)


def weighted(
    round_: int, stratum: Stratum, sums: Sums, of_causes: Array, lattices: Sequence[Lattice]
) -> Unresolved:
    """Of the weighted samples of an external event.

    Parameters
    ----------
    round_ : int
    stratum : Stratum
    sums : Sums
        Of the candidates.
    of_causes : (2,) array
        As of `causes`.
    lattices : sequence of Lattice

    Returns
    -------
    Unresolved
    """
    ends = np.cumsum([math.prod(lattice.shape) for lattice in lattices])
    lost = np.array([part.max() for part in np.split(sums.lost_hits, ends[:-1])])
    return _most(round_, stratum, WEIGHTED, sums.trials, lost, of_causes, lattices)


def _most(
    round_: int,
    stratum: Stratum,
    samples: str,
    drawn: int,
    lost: Array,
    of_causes: Array,
    lattices: Sequence[Lattice],
) -> Unresolved:
    """The row of the candidate that has most; `lost` (lattices,)."""
    circuit = str(lattices[int(lost.argmax())].circuit) if lost.any() else ""
    number, (not_finite, not_converged) = int(lost.max()), map(int, of_causes)
    return Unresolved(
        "", round_, stratum, samples, drawn, number, not_finite, not_converged, circuit
    )


def looked_at(
    study: Study,
    stratum: Stratum,
    samples: str,
    number: int,
    drawn: int,
    *,
    of: str = "",
    round_: int = 0,
) -> tuple[Unresolved, ...]:
    """Of what a study asks beside its choice: so many of those drawn, if they keep to the limit.

    Parameters
    ----------
    study : Study
    stratum : Stratum
    samples : str
        What they are for.
    number, drawn : int
    of : str
        Assumption set, model or change.
    round_ : int

    Returns
    -------
    tuple of Unresolved
        One row.

    Raises
    ------
    RunStopped
    """
    row = Unresolved(of, round_, stratum, samples, drawn, number, None, None)
    return keep_to_limit(study, row)


def named(rows: Sequence[Unresolved], of: str) -> tuple[Unresolved, ...]:
    """The same of an assumption set, a model or an alternative.

    Parameters
    ----------
    rows : sequence of Unresolved
    of : str

    Returns
    -------
    tuple of Unresolved
    """
    return tuple(replace(row, of=f"{of}, {row.of}" if row.of else of) for row in rows)


def keep_to_limit(study: Study, *rows: Unresolved) -> tuple[Unresolved, ...]:
    """The rows, if all keep to the study's limit.

    Parameters
    ----------
    study : Study
    *rows : Unresolved

    Returns
    -------
    tuple of Unresolved

    Raises
    ------
    RunStopped
    """
    limit = study.study.unresolved_share_max
    if beyond := [row for row in rows if row.share > limit]:
        raise RunStopped(*(_too_many(row, limit) for row in beyond))
    return rows


def _too_many(row: Unresolved, limit: float) -> str:
    why = f": {row.why}" if row.why else ""
    return (
        f"study.unresolved_share_max: {limit:g}, and {row.number} of {row.drawn} samples"
        f" ({row.share:.3g}) of {row.name} gave no result{why}; narrow the widest input ranges,"
        " remove the candidates named, or raise study.unresolved_share_max"
    )
