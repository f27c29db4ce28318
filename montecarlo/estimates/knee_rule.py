"""The rule of thumb on knee voltages, with every input at its centre."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from montecarlo.quantities import Flags
from montecarlo.relays.schemes import AXES
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal


def meet_knee_rule(study: Study, lattices: Sequence[Lattice]) -> Flags:
    """Whether V_k >= 2·V_s for every element (common practice).

    V_k: the smallest nominal knee voltage of the scheme's CTs. V_s: what the setting drives through
    its own leg.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice

    Returns
    -------
    (C,) array of bool
    """
    nominal = Nominal(study)
    flags = []
    for lattice in lattices:
        ohms = nominal.element_ohms(lattice.circuit)
        knee = nominal.knee_of(scheme_of(study, lattice.scheme).groups)
        for setting in lattice.settings():
            pickups = zip(AXES, (setting.phase_pickup_a, setting.earth_pickup_a), strict=True)
            volts = [amps * ohms[axis] for axis, amps in pickups if amps is not None]
            flags.append(knee >= 2 * max(volts))
    return np.array(flags)
