"""Where CTs may stand: places by name, and which primary current each of them carries.

The branches of each phase may come out in two groups, each with a star point; the machine's
earthing stands at that of the second. What the first group carries more than the second is a
current of its own, beside those of the two ends. With what a fault takes out of the first group's
star point these are the ten currents of a machine."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Complex

PHASES = ("L1", "L2", "L3")
ENDS = ("neutral_end", "line_end")  # of the winding; a primary current for each phase of each
NEUTRAL_CONDUCTOR = "neutral_conductor"
# own cores of a further element at the same places
SECOND_CORES = tuple(f"second_{end}" for end in ENDS)
# of the two groups of branches of each phase, both at the line end; one CT around both, which
# sees their difference; in the link between the star points of the two groups
BRANCH_GROUPS = ("group_1", "group_2")
CORE_BALANCE = "core_balance"
STAR_LINK = "star_link"
OF_BRANCHES = (*BRANCH_GROUPS, CORE_BALANCE, STAR_LINK)
# tables of [ct] that may describe CTs of their own
GROUPS = (*ENDS, NEUTRAL_CONDUCTOR, *SECOND_CORES, *OF_BRANCHES)
# with one CT
SINGLE = (NEUTRAL_CONDUCTOR, STAR_LINK)


def _members(group: str) -> tuple[str, ...]:
    return (group,) if group in SINGLE else tuple(f"{group}.{phase}" for phase in PHASES)


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


CHANNELS = np.array([*range(6), 6, *range(6), *range(7, 17)])
"""Which current each place carries: 0-5 the ends' phases, 6 the neutral conductor's, 7-9 and 10-12
the two groups', 13-15 their difference, 16 the star link's."""
_HALF, _NONE = np.eye(3) / 2, np.zeros((3, 3))
SPLIT = np.vstack(  # the last ten of them from the machine's ten
    [
        np.hstack([_NONE, _HALF, _HALF, np.zeros((3, 1))]),
        np.hstack([_NONE, _HALF, -_HALF, np.zeros((3, 1))]),
        np.hstack([_NONE, _NONE, np.eye(3), np.zeros((3, 1))]),
        [[0.5, 0.5, 0.5, 0.0, 0.0, 0.0, 0.5, 0.5, 0.5, 1.0]],
    ]
)


def carried(currents: Complex, places: tuple[int, ...]) -> Complex:
    """Currents at CT places, in the unit given.

    The neutral conductor carries the sum of the neutral end's three, the star link that of the
    first group's three at its star point.

    Parameters
    ----------
    currents : (..., 6, 9 or 10) complex array
        Neutral end L1, L2, L3, line end; positive from the neutral to the terminals. Then what the
        first group carries more than the second at the line end, 0 unless given; and half of what
        faults take out of the first group less half of what they take out of the second.
    places : tuple of int

    Returns
    -------
    (..., places) complex array
    """
    lacking = np.zeros((*currents.shape[:-1], 10 - currents.shape[-1]))
    ten = np.concatenate([currents, lacking], axis=-1)
    every = [ten[..., :6], ten[..., :3].sum(axis=-1, keepdims=True), ten @ SPLIT.T]
    return np.asarray(np.concatenate(every, axis=-1)[..., CHANNELS[list(places)]])
