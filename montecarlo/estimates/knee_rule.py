"""The rule of thumb on knee voltages, with every input at its centre."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, leg_ohm, scheme_of
from montecarlo.study.description import Study

__all__ = ["centres", "element_ohms", "meet_knee_rule"]

Flags = NDArray[np.bool_]


def centres(study: Study) -> dict[str, Array]:
    """One sample of every input, at its centre.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict of str to array
        By key: (1,), or (1, 6) a CT and (1, 4) an element.
    """
    samples = {}
    for item in list_inputs(study):
        shape = (1,) if item.width == 1 else (1, item.width)
        samples[item.key] = np.full(shape, item.distribution.centre())
    return samples


def element_ohms(
    study: Study, circuit: Circuit, centre: Mapping[str, Array] | None = None
) -> dict[Axis, float]:
    """Resistance of the leg of the phase elements and of the earth element, the largest. [ohm]

    Parameters
    ----------
    study : Study
    circuit : Circuit
    centre : mapping of str to array, optional
        Every input at its centre (`centres`).

    Returns
    -------
    dict of str to float (ohm)
        By "phase" and "earth", for those that the scheme has.
    """
    scheme = scheme_of(study, circuit.scheme)
    ohm = leg_ohm(study, circuit, centre or centres(study))[0]
    return {
        axis: max(ohm[scheme.elements[k].leg] for k in scheme.of(axis))
        for axis in AXES
        if scheme.of(axis)
    }


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
    centre = centres(study)
    flags = []
    for lattice in lattices:
        ohms = element_ohms(study, lattice.circuit, centre)
        knee = study.ct.weakest(scheme_of(study, lattice.scheme).groups).knee_voltage_v.centre()
        for setting in lattice.settings():
            pickups = zip(AXES, (setting.phase_pickup_a, setting.earth_pickup_a), strict=True)
            volts = [amps * ohms[axis] for axis, amps in pickups if amps is not None]
            flags.append(knee >= 2 * max(volts))
    return np.array(flags)
