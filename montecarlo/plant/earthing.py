"""The neutral's earthing and the earth-return admittance."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.machine import ComplexArray
from montecarlo.quantities import Distribution, Quantity, Section


class Earthing(Section):
    """A resistor in the machine's neutral; other earthed neutrals on the same bus as one resistance."""

    resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "neutral earthing resistor", 0.0, above=True, usual=(1e-9, 1e9))]
    other_neutrals_ohm: Annotated[Distribution, Quantity(
        "ohm", "other earthed neutrals on the same bus, in parallel", 0.0, above=True)] | None = None


def return_admittance(neutral_ohm: ArrayLike, other_neutrals_ohm: ArrayLike, capacitance_f: ArrayLike,
                      omega: float) -> ComplexArray:
    """Admittance between the neutral and earth through which an earth-fault current returns. [S]

    `neutral_ohm` the machine's own neutral; `other_neutrals_ohm` other earthed neutrals in parallel, np.inf for
    none; `capacitance_f` of one phase to earth; `omega` [rad/s]. Broadcasts. Neutrals stand parallel to the
    capacitances of three phases."""
    neutrals = 1 / np.asarray(neutral_ohm) + 1 / np.asarray(other_neutrals_ohm)
    return np.asarray(neutrals + 3j * omega * np.asarray(capacitance_f))
