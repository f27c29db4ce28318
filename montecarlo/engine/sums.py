"""What a batch keeps of its tallies beside the candidates' own."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from montecarlo.engine.counted import ByBlock
from montecarlo.estimates.assemble import Gathered, gather
from montecarlo.estimates.tally import LatticeTally, Tally
from montecarlo.sampling.stratum import EARTH, INTER_TURN, Stratum


def along_the_winding(tallies: ByBlock) -> dict[str, float]:
    """Sums over the solutions along the winding.

    Parameters
    ----------
    tallies : dict of list of Tally

    Returns
    -------
    dict of float
    """
    blocks = [tally.counts for tally in tallies.get(EARTH, ())]
    keys = blocks[0] if blocks else ()
    return {key: float(np.sum([block[key] for block in blocks])) for key in keys}


def part_of_all(
    tallies: ByBlock, part: Callable[[Tally], Sequence[LatticeTally]]
) -> dict[Stratum, Gathered]:
    """A part of the tallies of every block, of the types that have it.

    Parameters
    ----------
    tallies : dict of list of Tally
    part : callable
        `caught`, `backup_itself` or `nobody`.

    Returns
    -------
    dict of Gathered
    """
    found = {
        name: [Tally(tuple(own)) for tally in blocks if (own := part(tally))]
        for name, blocks in tallies.items()
    }
    return {name: gather(name, parts) for name, parts in found.items() if parts}


def caught(tally: Tally) -> Sequence[LatticeTally]:
    """What one paired candidate misses and another catches.

    Parameters
    ----------
    tally : Tally

    Returns
    -------
    sequence of LatticeTally
        Empty where it has none.
    """
    return () if tally.caught is None else (tally.caught,)


def of_classes(tallies: ByBlock) -> dict[str, Gathered]:
    """Faults between turns by the class of their place, each of its own samples alone.

    Parameters
    ----------
    tallies : dict of list of Tally

    Returns
    -------
    dict of Gathered
        Empty where none are sampled.
    """
    blocks = tallies.get(INTER_TURN, ())
    names = blocks[0].classes if blocks else ()
    return {
        name: gather(INTER_TURN, [Tally(block.classes[name]) for block in blocks]) for name in names
    }


def backup_itself(tally: Tally) -> Sequence[LatticeTally]:
    """How often the back-up operates.

    Parameters
    ----------
    tally : Tally

    Returns
    -------
    sequence of LatticeTally
        Empty where it has none.
    """
    return () if tally.backup is None else (tally.backup.operates,)


def nobody(tally: Tally) -> Sequence[LatticeTally]:
    """What neither the back-up nor a candidate sees. Nothing of it enters the judgement.

    Parameters
    ----------
    tally : Tally

    Returns
    -------
    sequence of LatticeTally
        Empty where it has none.
    """
    return () if tally.backup is None else tally.backup.nobody
