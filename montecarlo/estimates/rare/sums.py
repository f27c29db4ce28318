"""What is kept of weighted samples: sums per setting that add over chunks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import reduce
from operator import add

import numpy as np

from montecarlo.estimates.rare.mixture import BATCH
from montecarlo.quantities import Array, Flags
from montecarlo.quantities.keepable import keepable


@keepable
@dataclass(frozen=True, eq=False)
class Sums:
    """Sums over n samples in batches of `BATCH` consecutive ones, (C,) per setting; w <= `ceiling`.

    y is 1 where the setting operates; unresolved samples have y = 0 and are summed by themselves as
    v = 1."""

    trials: int
    ceiling: float  # what no weight exceeds: 1/share of the nominal component
    hits: Array  # sum of y
    total: Array  # sum of w y
    squares: Array  # sum of (w y)^2
    batch_squares: Array  # sum over batches of (sum of w y)^2
    largest: Array  # largest w y
    lost_hits: Array  # sum of v
    lost: Array  # sum of w v
    lost_squares: Array  # sum over batches of (sum of w v)^2
    lost_largest: Array  # largest w v

    @classmethod
    def of(
        cls, operates: Flags, log_w: Array, ceiling: float, unresolved: Flags | None = None
    ) -> Sums:
        """Sums of rows as drawn.

        Parameters
        ----------
        operates : (n, C) array of bool
            n a multiple of `BATCH`.
        log_w : (n,) array
            ln of the weights.
        ceiling : float
            What no weight exceeds.
        unresolved : (n,) or (n, C) array of bool, optional

        Returns
        -------
        Sums

        Raises
        ------
        ValueError
            n is no multiple of `BATCH`.
        """
        n, settings = operates.shape
        if n % BATCH:
            raise ValueError(f"n = {n} must be a multiple of {BATCH}")
        w = np.exp(log_w)
        assert (w <= ceiling * (1 + 1e-9)).all()
        lost = np.zeros((n, 1), bool) if unresolved is None else unresolved.reshape(n, -1)
        operates = operates & ~lost
        total, squares, batch_squares = _batched(operates, w)
        lost_total, _, lost_squares = _batched(lost, w)
        parts = (
            operates.sum(axis=0),
            total,
            squares,
            batch_squares,
            np.where(operates, w[:, None], 0.0).max(axis=0, initial=0.0),
            lost.sum(axis=0),
            lost_total,
            lost_squares,
            np.where(lost, w[:, None], 0.0).max(axis=0, initial=0.0),
        )
        return cls(n, ceiling, *(np.full(settings, part, float) for part in parts))

    def __add__(self, other: Sums) -> Sums:
        assert abs(self.ceiling - other.ceiling) < 1e-6  # one mixture
        names = [field.name for field in fields(self)][2:]
        parts = {name: getattr(self, name) + getattr(other, name) for name in names}
        for name in ("largest", "lost_largest"):
            parts[name] = np.maximum(getattr(self, name), getattr(other, name))
        return Sums(self.trials + other.trials, self.ceiling, **parts)

    @classmethod
    def join(cls, chunks: Sequence[Sums]) -> Sums:
        """All chunks, added in their order.

        Parameters
        ----------
        chunks : sequence of Sums

        Returns
        -------
        Sums
        """
        return reduce(add, chunks)

    @classmethod
    def beside(cls, parts: Sequence[Sums]) -> Sums:
        """Sums over the same samples for further settings, one after the other.

        Parameters
        ----------
        parts : sequence of Sums

        Returns
        -------
        Sums
        """
        names = [field.name for field in fields(cls)][2:]
        return cls(
            parts[0].trials,
            parts[0].ceiling,
            **{name: np.concatenate([getattr(part, name) for part in parts]) for name in names},
        )

    @property
    def batches(self) -> int:
        """Of `BATCH` samples each."""
        return self.trials // BATCH


def _batched(y: Flags, w: Array) -> tuple[Array, Array, Array]:
    """Sum of w y, of (w y)^2, and over batches of the squared sum of w y; (C,) each."""
    batches = y.reshape(-1, BATCH, y.shape[1]).astype(float)
    sums = np.einsum("bi,bic->bc", w.reshape(-1, BATCH), batches)
    return sums.sum(axis=0), (w**2) @ y, (sums**2).sum(axis=0)
