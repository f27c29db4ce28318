"""Where CTs may stand: places by name, and which of the six primary currents each of them
carries."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Complex

PHASES = ("L1", "L2", "L3")
ENDS = ("neutral_end", "line_end")  # of the winding; a primary current for each phase of each
NEUTRAL_CONDUCTOR = "neutral_conductor"
# own cores of a further element at the same places
SECOND_CORES = tuple(f"second_{end}" for end in ENDS)
# tables of [ct] that may describe CTs of their own
GROUPS = (*ENDS, NEUTRAL_CONDUCTOR, *SECOND_CORES)


def _members(group: str) -> tuple[str, ...]:
    return (group,) if group == NEUTRAL_CONDUCTOR else tuple(f"{group}.{phase}" for phase in PHASES)


PLACES = tuple(place for group in GROUPS for place in _members(group))
GROUP_OF = tuple(group for group in GROUPS for _ in _members(group))
NEUTRAL = PLACES.index(NEUTRAL_CONDUCTOR)


def places_of(group: str) -> list[int]:
    """Numbers of the CT places of one group.

    Parameters
    ----------
    group : str
        One of `GROUPS`.

    Returns
    -------
    list of int
    """
    return [k for k, of in enumerate(GROUP_OF) if of == group]


CHANNELS = np.array([*range(6), 6, *range(6)])
"""Which current each place carries: 0-5 the ends' phases, 6 the neutral conductor's."""


def carried(currents: Complex, places: tuple[int, ...]) -> Complex:
    """Currents at CT places, in the unit given.

    The neutral conductor carries the sum of the neutral end's three.

    Parameters
    ----------
    currents : (..., 6) complex array
        Neutral end L1, L2, L3, line end; positive from the neutral to the terminals.
    places : tuple of int

    Returns
    -------
    (..., places) complex array
    """
    seven = np.concatenate([currents, currents[..., :3].sum(axis=-1, keepdims=True)], axis=-1)
    return seven[..., CHANNELS[list(places)]]
