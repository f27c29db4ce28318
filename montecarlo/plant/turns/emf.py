"""Whether the coils of a table make a sound three-phase winding: by the EMFs of its branches.

Branches in parallel with unlike EMFs circulate a current without a fault. The field induces only
its fundamental here."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from montecarlo.plant.turns.currents import Branches
from montecarlo.plant.turns.layout import Winding, coils_of
from montecarlo.plant.turns.table import PHASES
from montecarlo.quantities.wording import shown

LEAST_FACTOR = 0.5  # of any three-phase winding in use; common practice, no source
APART = 0.01  # of the EMF, between branches of a phase and between the sizes of phases
APART_DEG = 1.0  # between phases
FORWARD_DEG = -120.0  # of the EMF of each phase from the one before


def emf_faults(winding: Winding) -> Iterator[str]:
    """What is wrong with the EMFs of the branches, each with value, limit and cure.

    Parameters
    ----------
    winding : Winding
        With a table that has no faults in its rows.

    Yields
    ------
    str
        Without the name of the table.
    """
    file, branches = shown(str(winding.table)), Branches(coils_of(winding.placing))
    count = winding.branches
    names = [f"branch {k + 1} of {phase}" for phase in PHASES for k in range(count)]
    weak = np.flatnonzero(branches.factors < LEAST_FACTOR)
    for row in weak:
        yield (
            f"table: {file}: {names[row]} has a winding factor of {branches.factors[row]:.2f} at"
            f" {winding.pole_pairs} pole pairs, must be at least {LEAST_FACTOR:g}; mend pole_pairs,"
            " or the column entered"
        )
    if weak.size:
        return
    waves = branches.waves.reshape(3, count)
    # the branch that is nearest to all others: one that differs is named, not all but that one
    nearest = np.abs(waves[:, :, None] - waves[:, None]).sum(axis=2).argmin(axis=1)
    ratio = (waves / waves[range(3), nearest][:, None]).ravel()
    apart = np.abs(ratio - 1) > APART
    for row in np.flatnonzero(apart):
        size, turned = 100 * abs(ratio[row]), abs(np.degrees(np.angle(ratio[row])))
        yield (
            f"table: {file}: {names[row]} has {size:.4g} % of the EMF of branch"
            f" {nearest[row // count] + 1}, turned by {turned:.3g} degrees, must agree within"
            f" {100 * APART:g} %; else currents circulate in a sound winding; exchange coils"
            " between the two, or mend entered"
        )
    if apart.any():
        return
    for phase in (1, 2):
        beside = waves[phase, 0] / waves[0, 0]
        turned = np.degrees(np.angle(beside * np.exp(-1j * np.radians(phase * FORWARD_DEG))))
        if abs(turned) > APART_DEG:
            lag = -np.degrees(np.angle(beside)) % 360
            yield (
                f"table: {file}: the EMF of {PHASES[phase]} lags that of L1 by {lag:.4g} degrees,"
                f" must be {-phase * FORWARD_DEG:g} within {APART_DEG:g}; exchange two phases, or"
                " upper and lower in entered of all its coils"
            )
        elif abs(abs(beside) - 1) > APART:
            yield (
                f"table: {file}: the EMF of {PHASES[phase]} is {100 * abs(beside):.4g} % of that of"
                f" L1, must agree within {100 * APART:g} %; exchange coils between the phases"
            )
