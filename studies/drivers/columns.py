"""Points of one fault type or event by the columns of its inputs, not folded: every column is what
it is called."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from montecarlo.engine.clearing import wanted
from montecarlo.engine.clearing_inputs import types_with
from montecarlo.engine.space import inputs_of
from montecarlo.quantities import Array
from montecarlo.sampling.inputs import Input, Tie, correlation_matrix
from montecarlo.sampling.points import Matrix, Points
from montecarlo.sampling.stratum import EARTH, INTER_TURN, Side, Stratum
from montecarlo.sampling.transform import DRAWN, HIGHEST, LOWEST
from montecarlo.study.description import Study
from montecarlo.study.shifts import uncertain_inputs
from montecarlo.study.strata import in_time, off_network_share, sees_turns

PHASE, ANGLE, STATE, BRANCH, CONTACT = DRAWN
DRAWS = {
    PHASE: "phase of the fault",
    ANGLE: "point on wave",
    STATE: "breaker open or closed",
    BRANCH: "branch with the fault",
    CONTACT: "place of the fault between turns",
}


@dataclass(frozen=True, eq=False)
class Columns:
    """How many columns each input and draw of a stratum has, and where they begin; in their
    order."""

    widths: Mapping[str, int]
    first: Mapping[str, int]
    dims: int

    def points(self, u: Array) -> Points:
        """The points at standard normal scores u (n, dims)."""
        return self.at(np.asarray(ndtr(u)))

    def at(self, uniforms: Array) -> Points:
        """The points at uniforms (n, dims)."""
        return _Drawn(uniforms, self.first)

    def of(self, keys: tuple[str, ...]) -> list[int]:
        """The columns of some of the names."""
        return [
            place
            for key in keys
            for place in range(self.first[key], self.first[key] + self.widths[key])
        ]


class _Drawn(Matrix):
    def of(self, key: str, columns: int) -> Array:
        """1/2 for an input that does not concern the stratum."""
        return (
            super().of(key, columns) if key in self.first else np.full((self.count, columns), 0.5)
        )


def columns_of(study: Study, stratum: Stratum) -> Columns:
    """Of a type of internal fault or an external event: its uncertain inputs, then the draws that
    no input states."""
    draws = [PHASE, ANGLE]
    if stratum.side is Side.INTERNAL:
        draws = [
            PHASE,
            *([ANGLE] if stratum == EARTH or in_time(study, stratum) else []),
            *([STATE] if off_network_share(study, stratum) > 0 else []),
            *([BRANCH] if sees_turns(study) and stratum != INTER_TURN else []),
            *([CONTACT] if stratum == INTER_TURN else []),
        ]
    widths = {item.key: item.columns for item in inputs_of(study, stratum)}
    return _in_a_row(widths | dict.fromkeys(draws, 1))


def columns_of_effects(study: Study, stratum: Stratum) -> Columns:
    """The same, and of earth faults what beside these decides their damage and who clears them.
    Behind all others, whose points stay."""
    columns = columns_of(study, stratum)
    if stratum != EARTH or not wanted(study):
        return columns
    read = [item for item in uncertain_inputs(study) if types_with(study, item, [EARTH])]
    return _in_a_row({**columns.widths, **{item.key: item.columns for item in read}})


def _in_a_row(widths: Mapping[str, int]) -> Columns:
    starts = np.cumsum([0, *widths.values()])
    return Columns(widths, dict(zip(widths, map(int, starts), strict=False)), int(starts[-1]))


# --- groups -------------------------------------------------------------------


@dataclass(frozen=True)
class Group:
    """What is swapped together: one input with all its columns, several that are correlated, or one
    draw."""

    keys: tuple[str, ...]

    @property
    def name(self) -> str:
        return " with ".join(DRAWS.get(key, key) for key in self.keys)


def groups_of(columns: Columns, ties: list[Tie]) -> tuple[Group, ...]:
    """Correlated inputs are one group: their effects cannot be told apart by variances, since
    knowing one tells of the other (Sobol' effects need independent groups)."""
    of = {key: {key} for key in columns.widths}
    for one, other, rho in ties:
        if rho and one in of and other in of and of[one] is not of[other]:
            of[one] |= of[other]
            for key in of[other]:
                of[key] = of[one]
    return tuple(
        dict.fromkeys(
            Group(tuple(key for key in columns.widths if key in of[name]))
            for name in columns.widths
        )
    )


# --- normal scores ------------------------------------------------------------


def scores_of(
    inputs: list[Input], ties: list[Tie], points: Points
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Normal scores (n, columns) of each input as the model takes them, and of correlated ones also
    R⁻¹ times them."""
    scores = {
        item.key: ndtri(np.clip(points.of(item.key, item.columns), LOWEST, HIGHEST))
        for item in inputs
    }
    tied = {key for tie in ties for key in tie[:2]}
    keys = [key for key in scores if key in tied]
    if not keys:
        return scores, {}
    matrix = correlation_matrix(keys, [tie for tie in ties if {*tie[:2]} <= {*keys}])
    factor = np.linalg.cholesky(matrix)
    scores |= {
        key: np.asarray(sum(factor[i, j] * scores[keys[j]] for j in range(i + 1) if factor[i, j]))
        for i, key in reversed([*enumerate(keys)])
    }
    inverse = np.linalg.inv(matrix)
    return scores, {
        key: np.asarray(
            sum(inverse[i, j] * scores[keys[j]] for j in range(len(keys)) if inverse[i, j])
        )
        for i, key in enumerate(keys)
    }
