"""Missed earth faults under other laws of the fault's place along the winding.

A sampled earth fault is missed below its critical position x*. So under any law of the place the
probability of a miss is the mean of that law's distribution function at x*: no fault is solved
again. All formulas: derived."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from montecarlo.estimates.assemble import LEVEL, Gathered, critical_places
from montecarlo.estimates.intervals import ratio, student
from montecarlo.quantities import Array, Flags
from montecarlo.quantities.digits import alike


class Kind(Enum):
    """What a law of the place is, as tables have it."""

    STATED = "as stated"
    MOST = "most missed"  # of all within a factor of the density stated
    LEAST = "least missed"
    AGEING = "ageing"  # a share flat, the rest by a power of the voltage


@dataclass(frozen=True)
class PlaceLaw:
    """A law of the place of an earth fault.

    Attributes
    ----------
    kind : Kind
    factor : float (-)
        Of `MOST` and `LEAST`, above 1: by so much their density differs from the one stated, up or
        down, at every place.
    exponent : float (-)
        Of `AGEING`: damage grows with this power of the voltage against earth.
    flat : float (-)
        Of `AGEING`: share of faults that are as likely everywhere, as from mechanical wear.
    """

    kind: Kind
    factor: float = np.nan
    exponent: float = np.nan
    flat: float = np.nan

    def below(self, x: Array, stated: Array) -> Array:
        """Probability that a fault lies below x. [-]

        Of all densities between 1/m and m times the one stated, the one that puts most faults below
        every x at once is m times it up to where the rest has to be 1/m: min(m F, 1 - (1 - F)/m).
        That serves every setting, as each misses a fault the less, the farther it lies from the
        neutral. Least: the mirror image. Ageing: w x + (1 - w) x^(n + 1), as the density of damage
        goes with x^n (inverse power law of insulation; from memory).

        Parameters
        ----------
        x : array (-)
            From the neutral.
        stated : array (-)
            The distribution function of the study's own law there, F.

        Returns
        -------
        array
        """
        m = self.factor
        if self.kind is Kind.MOST:
            return np.minimum(m * stated, 1 - (1 - stated) / m)
        if self.kind is Kind.LEAST:
            return np.maximum(stated / m, 1 - m * (1 - stated))
        if self.kind is Kind.AGEING:
            return np.asarray(self.flat * x + (1 - self.flat) * x ** (self.exponent + 1))
        return stated


STATED = PlaceLaw(Kind.STATED)
FACTORS = (2.0, 5.0)
AGEING = ((0.0, 1.0), (1.0, 0.5), (1.0, 0.0), (9.0, 0.5), (9.0, 0.0))  # exponent, share flat
LAWS = (
    STATED,
    *(PlaceLaw(kind, factor=factor) for factor in FACTORS for kind in (Kind.LEAST, Kind.MOST)),
    *(PlaceLaw(Kind.AGEING, exponent=exponent, flat=flat) for exponent, flat in AGEING),
)


@dataclass(frozen=True, eq=False)
class MissedUnder:
    """Missed earth faults of W candidates under L laws of the place, by block of installations.

    Attributes
    ----------
    by_block : (L, W, blocks) array (-)
        Probability of a miss; NaN in a block without a fault that has a result.
    faults : (W, blocks) array
        With a result.
    """

    by_block: Array
    faults: Array

    @property
    def p(self) -> Array:
        """Over all faults, (L, W); NaN without any. [-]"""
        return ratio(np.nansum(self.by_block * self.faults, axis=-1), self.faults.sum(axis=-1))


def missed_under(
    stratum: Gathered, laws: Sequence[PlaceLaw], cdf: Callable[[Array], Array], wanted: Flags
) -> MissedUnder:
    """Missed earth faults under each law.

    Parameters
    ----------
    stratum : Gathered
        Earth faults.
    laws : sequence of PlaceLaw
    cdf : callable
        Of the place, as the study has it.
    wanted : (C,) array of bool
        Of which candidates.

    Returns
    -------
    MissedUnder
        Of these, in their order.
    """
    pieces, sizes, start = [], [], 0
    for blocks in critical_places(stratum):
        own = wanted[start : (start := start + blocks[0].shape[1])]
        if not own.any():
            continue
        found = np.full((len(laws), int(own.sum()), len(blocks)), np.nan)
        for block, places in enumerate(blocks):
            x = places[:, own].astype(float)
            if x.size:
                stated = np.asarray(cdf(x), float)
                found[:, :, block] = [law.below(x, stated).mean(axis=0) for law in laws]
        pieces.append(found)
        sizes.append(np.tile([float(len(places)) for places in blocks], (found.shape[1], 1)))
    return MissedUnder(np.concatenate(pieces, axis=1), np.concatenate(sizes))


def best_under(whole: Array, by_block: Array, stated: int, chosen: int) -> dict[int, int]:
    """Laws under which another candidate misses least than under the law stated.

    It must surely miss less than the chosen one and than the best under the law stated: at 95 %, by
    paired differences over the blocks.

    Parameters
    ----------
    whole : (L, W) array (-)
        Probability of a miss of each candidate under each law.
    by_block : (L, W, blocks) array (-)
        The same in each block.
    stated : int
        Place of the law stated.
    chosen : int
        Place of the chosen candidate.

    Returns
    -------
    dict of int to int
        The best candidate, by the law.
    """
    best = np.argmin(alike(whole), axis=1)
    others = [int(best[stated]), chosen]
    found = {}
    for law, one in enumerate(best):
        gaps = by_block[law, [one]] - by_block[law, others]
        if one not in others and (student(gaps, LEVEL).high < 0).all():
            found[law] = int(one)
    return found
