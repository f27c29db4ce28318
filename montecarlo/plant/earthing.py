"""The neutral's earthing and the earth-return admittance."""

from __future__ import annotations

from typing import Annotated

from montecarlo.quantities import Distribution, Quantity, Section


class Earthing(Section):
    """A resistor in the machine's neutral; other earthed neutrals on the same bus as one resistance."""

    resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "neutral earthing resistor", 0.0, above=True, usual=(1e-9, 1e9))]
    other_neutrals_ohm: Annotated[Distribution, Quantity(
        "ohm", "other earthed neutrals on the same bus, in parallel", 0.0, above=True)] | None = None
