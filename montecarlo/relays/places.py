"""Where CTs may stand: places by name, and which primary current each of them carries.

The branches of each phase may come out in two groups. What one group carries more than the other is
a current of its own, beside those of the two ends: together the nine currents of a machine."""

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
SPLIT = np.vstack(  # the last ten of them from line end and difference of L1, L2, L3
    [
        np.hstack([np.eye(3), np.eye(3)]) / 2,
        np.hstack([np.eye(3), -np.eye(3)]) / 2,
        np.hstack([np.zeros((3, 3)), np.eye(3)]),
        [[0.0, 0.0, 0.0, 0.5, 0.5, 0.5]],
    ]
)


def carried(currents: Complex, places: tuple[int, ...]) -> Complex:
    """Currents at CT places, in the unit given.

    The neutral conductor carries the sum of the neutral end's three, the star link half the sum of
    the groups' differences.

    Parameters
    ----------
    currents : (..., 6 or 9) complex array
        Neutral end L1, L2, L3, line end; positive from the neutral to the terminals. Then what the
        first group carries more than the second; unless given they are alike.
    places : tuple of int

    Returns
    -------
    (..., places) complex array
    """
    ends, apart = currents[..., :6], currents[..., 6:]
    if not apart.shape[-1]:
        apart = np.zeros((*ends.shape[:-1], 3))
    groups = np.concatenate([ends[..., 3:], apart], axis=-1) @ SPLIT.T
    every = [ends, ends[..., :3].sum(axis=-1, keepdims=True), groups]
    return np.asarray(np.concatenate(every, axis=-1)[..., CHANNELS[list(places)]])
