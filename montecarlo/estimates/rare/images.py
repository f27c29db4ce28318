"""Symmetries of the space: exchanges of coordinates and changes of sign under which N(0, I) stays
what it is.

A system that looks nearly the same with two of its like parts exchanged fails in as many ways as
there are images. Samples are brought to one way before a density is fitted, and the density is
drawn in all of them: a fit then has several times the samples for its parameters, and no image of a
way that was found is missed. Whether the system is really symmetric does not matter to the
estimate, only to its precision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from montecarlo.estimates.rare.mixture import Mixture
from montecarlo.quantities import Array, Index
from montecarlo.quantities.keepable import keepable


@keepable
@dataclass(frozen=True, eq=False)
class Image:
    """u -> sign * u[source], its own inverse."""

    source: Index  # (d,)
    sign: Array  # (d,) 1 or -1

    def of(self, u: Array) -> Array:
        """The image of points.

        Parameters
        ----------
        u : (..., d) array

        Returns
        -------
        (..., d) array
        """
        return u[..., self.source] * self.sign


def group_of(generators: Sequence[Image], dims: int) -> tuple[Image, ...]:
    """Every product of images that commute with each other, the identity first.

    Parameters
    ----------
    generators : sequence of Image
    dims : int

    Returns
    -------
    tuple of Image
    """
    group = [Image(np.arange(dims), np.ones(dims))]
    for one in generators:
        group += [
            Image(each.source[one.source], each.sign[one.source] * one.sign) for each in group
        ]
    return tuple(group)


@keepable
@dataclass(frozen=True, eq=False)
class Symmetric:
    """A mixture drawn in all its images alike, q(u) = mean of mixture(g u); the face of a
    `Mixture`."""

    mixture: Mixture
    generators: tuple[Image, ...]  # commuting

    @cached_property
    def _group(self) -> tuple[Image, ...]:
        return group_of(self.generators, self.mixture.dims)

    @property
    def largest_weight(self) -> float:
        """What no weight exceeds."""
        return self.mixture.largest_weight

    def sample(self, rng: np.random.Generator, n: int) -> Array:
        """Points from the density; batches are independent.

        Parameters
        ----------
        rng : numpy.random.Generator
        n : int
            A multiple of `BATCH`.

        Returns
        -------
        (n, d) array
        """
        u = self.mixture.sample(rng, n)
        which = rng.integers(len(self._group), size=n)
        for number, image in enumerate(self._group):
            u[which == number] = image.of(u[which == number])
        return u

    def log_weight(self, u: Array) -> Array:
        """ln of phi/q.

        Parameters
        ----------
        u : (n, d) array

        Returns
        -------
        (n,) array
        """
        active = self.mixture.active
        seen = (u[:, image.source[active]] * image.sign[active] for image in self._group)
        ratios = np.stack([-self.mixture.log_weight_at(x) for x in seen])
        top = ratios.max(axis=0)
        return np.asarray(-top - np.log(np.exp(ratios - top).mean(axis=0)))


def pooled_log_weight(densities: Sequence[Symmetric], counts: Sequence[int], u: Array) -> Array:
    """ln of phi over the mean density of samples that came from several, whichever a sample came
    from (balance heuristic: Veach and Guibas, SIGGRAPH 1995).

    Parameters
    ----------
    densities : sequence of Symmetric
    counts : sequence of int
        Samples of each.
    u : (n, d) array

    Returns
    -------
    (n,) array
    """
    whole = sum(counts)
    ratios = np.stack(
        [
            np.log(count / whole) - density.log_weight(u)
            for density, count in zip(densities, counts, strict=True)
        ]
    )
    top = ratios.max(axis=0)
    return np.asarray(-top - np.log(np.exp(ratios - top).sum(axis=0)))
