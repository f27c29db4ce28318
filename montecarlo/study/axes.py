"""The axes of a setting, declared once: what a candidate is made of, beside its scheme.

An axis is a grid in `Candidates`, a field of `Setting`, a column of every table of settings. Its
words stand in `studies/report/words.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from montecarlo.relays.schemes import Axis, Scheme

Part = Literal["pick-up", "circuit", "bias", "time"]


@dataclass(frozen=True)
class SettingAxis:
    """One axis of a setting.

    Parameters
    ----------
    key : str
        Its grid in `Candidates`, field of `Setting`, and column.
    unit : str
        Of its values, empty for a plain number.
    part : str
        What it belongs to: an element's pick-up, the secondary circuit, the bias, or time.
    element : "phase" or "earth", optional
        Whose pick-up it is.
    """

    key: str
    unit: str
    part: Part
    element: Axis | None = None

    def in_scheme(self, scheme: Scheme) -> bool:
        """Whether a scheme has it.

        Parameters
        ----------
        scheme : Scheme

        Returns
        -------
        bool
        """
        if self.element is not None:
            return bool(scheme.of(self.element))
        if self.part == "bias":
            return scheme.biased
        return self.part == "time" or scheme.stabilised


AXES = (  # in the order of the tables' columns
    SettingAxis("phase_pickup_a", "A", "pick-up", "phase"),
    SettingAxis("earth_pickup_a", "A", "pick-up", "earth"),
    SettingAxis("stabilising_resistance_ohm", "ohm", "circuit"),
    SettingAxis("delay_s", "s", "time"),
    SettingAxis("slope1", "", "bias"),
    SettingAxis("slope2", "", "bias"),
    SettingAxis("slope_break_a", "A", "bias"),
)
KEYS = tuple(axis.key for axis in AXES)
PICKUPS = tuple(axis.key for axis in AXES if axis.part == "pick-up")
CIRCUIT = tuple(axis.key for axis in AXES if axis.part == "circuit")
BIAS = tuple(axis.key for axis in AXES if axis.part == "bias")
CURRENTS = tuple(axis.key for axis in AXES if axis.unit == "A")
# In which order steps are looked at: those of the finest element first
STEPS = tuple(axis.key for axis in sorted(AXES, key=lambda axis: axis.element != "earth"))
