"""The neutral's earthing and the earth-return admittance."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import ConfigDict

from montecarlo.quantities import (
    Array,
    Complex,
    Distribution,
    Plain,
    Quantity,
    Section,
    number,
    word,
)
from montecarlo.quantities.frozen import thawed

TRANSFORMER = ("transformer_ratio", "secondary_resistance_ohm")
OF_TRANSFORMER = ("transformer_resistance_ohm", "transformer_reactance_ohm")
WAYS_TO_EARTH = (("resistance_ohm",), ("current_limit_a",), TRANSFORMER)

Changed = (
    Annotated[float | dict[str, Any], word("instead of the key of this name in [earthing]")] | None
)


class Earthing(Section):
    """What stands between the machine's neutral and earth, in exactly one of three ways, and the
    other earthed neutrals on the same bus as one resistance: a resistor in ohms; a resistor by the
    current that it lets through at rated phase voltage; a transformer with a resistor across its
    secondary."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": list(way)} for way in WAYS_TO_EARTH]}
    )

    resistance_ohm: (
        Annotated[
            Distribution,
            Quantity("ohm", "neutral earthing resistor, cold", 0.0, above=True, usual=(1e-9, 1e9)),
        ]
        | None
    ) = None
    current_limit_a: (
        Annotated[
            Distribution,
            Quantity(
                "A",
                "instead: current through the cold resistor at rated phase voltage",
                0.0,
                above=True,
                usual=(0.05, 1e5),
            ),
        ]
        | None
    ) = None
    transformer_ratio: (
        Annotated[
            float,
            Plain("-", "instead: earthing transformer, primary over secondary turns", 1.0, 1000.0),
        ]
        | None
    ) = None
    secondary_resistance_ohm: (
        Annotated[
            Distribution,
            Quantity(
                "ohm",
                "cold resistor across the earthing transformer's secondary",
                0.0,
                above=True,
                usual=(1e-6, 1e4),
            ),
        ]
        | None
    ) = None
    transformer_resistance_ohm: (
        Annotated[
            Distribution,
            Quantity("ohm", "earthing transformer's windings, referred to its primary", 0.0),
        ]
        | None
    ) = None
    transformer_reactance_ohm: (
        Annotated[
            Distribution,
            Quantity(
                "ohm", "earthing transformer's leakage reactance, referred to its primary", 0.0
            ),
        ]
        | None
    ) = None
    temperature_rise_k: Annotated[
        Distribution,
        Quantity(
            "K",
            "mean temperature rise of the resistor during a fault, above the temperature of its"
            " cold value",
            0.0,
            high=1500.0,
            varies="event",
        ),
    ] = number(0.0)
    temperature_coefficient_per_k: Annotated[
        Distribution,
        Quantity(
            "1/K",
            "relative change of the resistance per kelvin, by alloy",
            -0.001,
            high=0.01,
        ),
    ] = number(0.0)
    high_resistance_ohm: (
        Annotated[
            Distribution,
            Quantity(
                "ohm",
                "beside the resistor, a high resistance that stays when the resistor's branch is"
                " opened after a trip (hybrid earthing)",
                0.0,
                above=True,
            ),
        ]
        | None
    ) = None
    switch_time_s: (
        Annotated[
            Distribution,
            Quantity("s", "from the trip until the resistor's branch is open", 0.0, high=60.0),
        ]
        | None
    ) = None
    other_neutrals_ohm: (
        Annotated[
            Distribution,
            Quantity("ohm", "other earthed neutrals on the same bus, in parallel", 0.0, above=True),
        ]
        | None
    ) = None

    @property
    def key(self) -> str:
        """Of the field that gives the resistor."""
        for name in ("current_limit_a", "secondary_resistance_ohm"):
            if getattr(self, name) is not None:
                return name
        return "resistance_ohm"


class EarthingOption(Section):
    """One way to earth the neutral among several, as what it changes in the table [earthing].

    A resistor told in another way takes the place of the table's own; the keys are kept as the file
    has them, since they are read once more in their place."""

    name: Annotated[str, word("name of the option")]
    rated_current_a: (
        Annotated[
            float,
            Plain(
                "A",
                "rated current of the resistor, on the machine's side of an earthing transformer",
                0.0,
                1e5,
                above=True,
            ),
        ]
        | None
    ) = None
    rated_time_s: (
        Annotated[
            float,
            Plain(
                "s", "rated time of the resistor at that current, from cold", 0.0, 1e6, above=True
            ),
        ]
        | None
    ) = None
    resistance_ohm: Changed = None
    current_limit_a: Changed = None
    transformer_ratio: Changed = None
    secondary_resistance_ohm: Changed = None
    transformer_resistance_ohm: Changed = None
    transformer_reactance_ohm: Changed = None
    temperature_rise_k: Changed = None
    temperature_coefficient_per_k: Changed = None
    high_resistance_ohm: Changed = None
    switch_time_s: Changed = None
    other_neutrals_ohm: Changed = None

    def applied(self, table: Mapping[str, Any]) -> dict[str, Any]:
        """The table [earthing] as the file has it, with this option in it.

        Parameters
        ----------
        table : mapping

        Returns
        -------
        dict
        """
        values = {key: getattr(self, key) for key in Earthing.model_fields}
        given = {key: thawed(value) for key, value in values.items() if value is not None}
        resistor, current, transformer = WAYS_TO_EARTH
        ways = (resistor, current, (*transformer, *OF_TRANSFORMER))
        chosen = [way for way in ways if not given.keys().isdisjoint(way)]
        gone = {key for way in ways if chosen and way not in chosen for key in way}
        return {key: value for key, value in table.items() if key not in gone} | given


def neutral_ohm(
    earthing: Earthing, samples: Mapping[str, Any], rated_phase_v: float, *, switched: bool = False
) -> NDArray[Any]:
    """Impedance between the machine's neutral and earth. [ohm]

    The branch with the resistor, and of hybrid earthing the high resistance beside it.

    Parameters
    ----------
    earthing : Earthing
    samples : mapping of str to (n,) array
        Has "earthing.<field>" of every field that is given.
    rated_phase_v : float (V)
    switched : bool
        With the resistor's branch open, of hybrid earthing.

    Returns
    -------
    (n,) array (ohm)
        Real without a transformer's reactance.
    """
    branch = branch_ohm(earthing, samples, rated_phase_v)
    if earthing.high_resistance_ohm is None:
        return branch
    high: NDArray[Any] = np.asarray(samples["earthing.high_resistance_ohm"], float)
    return high if switched else 1 / (1 / branch + 1 / high)


def branch_ohm(
    earthing: Earthing, samples: Mapping[str, Any], rated_phase_v: float
) -> NDArray[Any]:
    """Impedance of the branch with the resistor. [ohm]

    The resistor, and in series a transformer's own impedance, which stays cold; its magnetising
    branch is left out.

    Parameters
    ----------
    earthing : Earthing
    samples : mapping of str to (n,) array
        Has "earthing.<field>" of every field that is given.
    rated_phase_v : float (V)

    Returns
    -------
    (n,) array (ohm)
        Real without a transformer's reactance.
    """
    ohm: NDArray[Any] = resistor_ohm(earthing, samples, rated_phase_v)
    if earthing.transformer_resistance_ohm is not None:
        ohm = ohm + samples["earthing.transformer_resistance_ohm"]
    if earthing.transformer_reactance_ohm is not None:
        ohm = ohm + 1j * samples["earthing.transformer_reactance_ohm"]
    return ohm


def resistor_ohm(earthing: Earthing, samples: Mapping[str, Any], rated_phase_v: float) -> Array:
    """The resistor alone, hot, as the machine's neutral sees it. [ohm]

    R (1 + alpha dT), R the resistor itself, V/I, or n^2 times the one across a transformer's
    secondary (textbook).

    Parameters
    ----------
    earthing, samples, rated_phase_v
        As of `neutral_ohm`.

    Returns
    -------
    (n,) array (ohm)
    """

    def of(name: str) -> NDArray[Any]:
        return np.asarray(samples[f"earthing.{name}"], float)

    if earthing.current_limit_a is not None:
        cold = rated_phase_v / of("current_limit_a")
    elif earthing.transformer_ratio is not None:
        cold = earthing.transformer_ratio**2 * of("secondary_resistance_ohm")
    else:
        cold = of("resistance_ohm")
    return np.asarray(cold * (1 + of("temperature_coefficient_per_k") * of("temperature_rise_k")))


def return_admittance(
    neutral_ohm: ArrayLike, other_neutrals_ohm: ArrayLike, capacitance_f: ArrayLike, omega: float
) -> Complex:
    """Admittance between the neutral and earth through which an earth-fault current returns. [S]

    Neutrals stand parallel to the capacitances of three phases. Broadcasts.

    Parameters
    ----------
    neutral_ohm : array_like, real or complex (ohm)
        The machine's own.
    other_neutrals_ohm : array_like (ohm)
        Other earthed neutrals in parallel, np.inf for none.
    capacitance_f : array_like (F)
        Of one phase to earth.
    omega : float (rad/s)

    Returns
    -------
    complex array (S)
    """
    neutrals = 1 / np.asarray(neutral_ohm) + 1 / np.asarray(other_neutrals_ohm)
    return neutrals + 3j * omega * np.asarray(capacitance_f)
