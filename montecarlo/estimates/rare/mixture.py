"""The density that rare events are drawn from, and the weights that undo it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.quantities import Array
from montecarlo.quantities.keepable import keepable

BATCH = 128  # rows that share one stratified choice of components
ROWS = 4096  # of u at once, to bound the memory


@keepable
@dataclass(frozen=True, eq=False)
class Mixture:
    """Normal densities with diagonal covariance over the active coordinates; all others stay N(0,
    1).

    The first component is N(0, I) itself, so that no weight exceeds 1/its share, whatever was
    missed ("safe" or defensive importance sampling: Owen and Zhou, J. Am. Stat. Assoc. 95(449),
    2000, 135-143)."""

    dims: int
    active: Array  # (a,) coordinates that are tilted or widened
    shares: Array  # (K,), sum 1
    means: Array  # (K, a)
    sds: Array  # (K, a)

    def __post_init__(self) -> None:
        assert self.shares[0] > 0
        assert not self.means[0].any()
        assert (self.sds[0] == 1).all()
        assert abs(self.shares.sum() - 1) < 1e-9

    @property
    def nominal_share(self) -> float:
        """Of N(0, I)."""
        return float(self.shares[0])

    @property
    def largest_weight(self) -> float:
        """What no weight exceeds."""
        return 1 / self.nominal_share

    def sample(self, rng: np.random.Generator, n: int) -> Array:
        """Points from the density; batches are independent.

        Each batch of consecutive rows takes its components at equal steps through the cumulated
        shares, from one random start: every row comes from the mixture, and what the components
        differ in no longer varies from batch to batch. Rows of one batch are therefore not
        independent.

        Parameters
        ----------
        rng : numpy.random.Generator
        n : int
            A multiple of `BATCH`.

        Returns
        -------
        (n, dims) array

        Raises
        ------
        ValueError
            n is no multiple of `BATCH`.
        """
        if n % BATCH:
            raise ValueError(f"n = {n} must be a multiple of {BATCH}")
        at = (np.arange(BATCH) + rng.random((n // BATCH, 1))) / BATCH
        component = np.searchsorted(np.cumsum(self.shares), at.ravel(), side="right")
        component = np.minimum(component, len(self.shares) - 1)
        u = rng.standard_normal((n, self.dims))
        u[:, self.active] = self.means[component] + self.sds[component] * u[:, self.active]
        return u

    def log_weight(self, u: Array) -> Array:
        """ln of phi/q, with the density of the whole mixture, whichever component a row came from.

        (Balance heuristic: Veach and Guibas, SIGGRAPH 1995; deterministic mixture weights.)

        Parameters
        ----------
        u : (n, dims) array

        Returns
        -------
        (n,) array
        """
        return self.log_weight_at(u[:, self.active])

    def log_weight_at(self, x: Array) -> Array:
        """The same, from the active coordinates alone: the others leave the weight as it is.

        Parameters
        ----------
        x : (n, a) array

        Returns
        -------
        (n,) array
        """
        out = np.empty(len(x))
        for start in range(0, len(x), ROWS):
            rows = slice(start, start + ROWS)
            ratios = log_ratios(x[rows], self.shares, self.means, self.sds)
            top = ratios.max(axis=1)
            out[rows] = -top - np.log(np.exp(ratios - top[:, None]).sum(axis=1))
        return out


def log_ratios(
    x: Array, shares: Array, means: Array, sds: Array, squares: Array | None = None
) -> Array:
    """ln of share times normal density over N(0, I)'s, for every component.

    Parameters
    ----------
    x : (..., d) array
    shares : (K,) array
    means, sds : (K, d) array
    squares : (..., d) array, optional
        Of x, where they are known.

    Returns
    -------
    (..., K) array
    """
    squares = x**2 if squares is None else squares
    precision = sds**-2
    square = squares @ (1 - precision).T / 2 + x @ (means * precision).T
    constant = np.log(shares) - np.log(sds).sum(axis=1) - (means**2 * precision).sum(axis=1) / 2
    return np.asarray(square + constant)
