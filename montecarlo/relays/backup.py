"""Back-up elements in the machine's neutral, delayed, beside any differential scheme: neutral
current and neutral voltage displacement (common practice; IEEE C37.101, Generator Ground
Protection, describes both, from memory).

Further ones at the bus: the current of the other neutrals that are earthed there, and the residual
voltage. All see one voltage, |V_N| = |Z_N| I_N (Ohm's law), so each element stands here as the
primary current of the machine's neutral at which it operates. They reset at once. Reach:
no third harmonic and no standing displacement of a healthy machine."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array, Distribution, Plain, Quantity, Section, number, word

MOST_DELAY_S = 60.0
# keys of the table [backup], in the order of the texts
BUS_CURRENT, BUS_VOLTAGE = AT_BUS = ("bus_current", "bus_voltage")
ELEMENTS = ("neutral_current", "neutral_voltage", *AT_BUS)

Delay = Annotated[float, Plain("s", "delay of the element", 0.0, MOST_DELAY_S)]
Error = Annotated[
    Distribution,
    Quantity(
        "%",
        "deviation of the operating value from the pick-up, instrument transformer included",
        -50.0,
        50.0,
    ),
]


class NeutralCurrent(Section):
    """An overcurrent element on a CT in the machine's neutral, true RMS."""

    pickup_a: Annotated[float, Plain("A", "pick-up, primary neutral current", 0.0, 1e4, above=True)]
    delay_s: Delay
    error_percent: Error = number(0.0)


class NeutralVoltage(Section):
    """A voltage element across the neutral's impedance, true RMS."""

    pickup_percent: Annotated[
        float,
        Plain(
            "%",
            "pick-up, neutral displacement voltage in per cent of rated phase voltage",
            0.0,
            100.0,
            above=True,
        ),
    ]
    delay_s: Delay
    error_percent: Error = number(0.0)


class BusCurrent(NeutralCurrent):
    """An overcurrent element on the current of the other earthed neutrals of the bus; it trips the
    bus."""


class BusVoltage(NeutralVoltage):
    """A residual voltage element at the bus; it trips the bus."""


class Backup(Section):
    """Back-up elements: told beside the differential, never part of its probabilities or of the
    choice."""

    neutral_current: Annotated[NeutralCurrent | None, word("neutral overcurrent element (51N)")] = (
        None
    )
    neutral_voltage: Annotated[
        NeutralVoltage | None, word("neutral displacement voltage element (59N)")
    ] = None
    bus_current: Annotated[
        BusCurrent | None,
        word("overcurrent element on earthing.other_neutrals_ohm; silent with the breaker open"),
    ] = None
    bus_voltage: Annotated[
        BusVoltage | None,
        word("residual voltage element at the bus; silent with the machine's breaker open"),
    ] = None
    allowed_time_s: Annotated[
        float,
        Plain(
            "s",
            "time from inception within which a back-up element must operate",
            0.02,
            MOST_DELAY_S,
        ),
    ] = 5.0

    @property
    def elements(self) -> dict[str, NeutralCurrent | NeutralVoltage]:
        """Those that are there, by their keys."""
        both = {name: getattr(self, name) for name in ELEMENTS}
        return {name: element for name, element in both.items() if element is not None}

    def operating_a(
        self, samples: Mapping[str, Array], neutral_ohm: ArrayLike, rated_phase_v: float
    ) -> dict[str, Array]:
        """Current in the machine's neutral at which each element operates. [A RMS, primary]

        Parameters
        ----------
        samples : mapping of str to (n,) array
            Has "backup.<element>.error_percent" (%), and "earthing.other_neutrals_ohm" for the
            current of the bus.
        neutral_ohm : (n,) array_like, real or complex (ohm)
            Of the machine's own neutral.
        rated_phase_v : float (V)

        Returns
        -------
        dict of str to (n,) array (A)
            By the keys of the elements.
        """
        operating = {}
        for name, element in self.elements.items():
            if isinstance(element, NeutralCurrent):
                pickup = np.asarray(element.pickup_a)
                if name == BUS_CURRENT:
                    pickup = pickup * samples["earthing.other_neutrals_ohm"] / np.abs(neutral_ohm)
            else:
                voltage = element.pickup_percent / 100 * rated_phase_v
                pickup = voltage / np.abs(neutral_ohm)
            error = samples[f"backup.{name}.error_percent"] / 100
            operating[name] = pickup * (1 + error)
        return operating
