"""The axes of a setting: all that a candidate is made of, beside its scheme.

An axis is a row of `AXES`, a grid in `Candidates`, a value in `Setting` and in `ExistingSetting`,
and so a column of every table of settings. Its words stand in `studies/report/words.py`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import PrivateAttr

from montecarlo.quantities import Plain, Section, word
from montecarlo.relays.gates import NO_GATE
from montecarlo.relays.schemes import Axis as Element
from montecarlo.relays.schemes import Scheme
from montecarlo.study.grids import Axis

Part = Literal["pick-up", "high set", "circuit", "bias", "time", "gate"]


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
        What it belongs to: an element's pick-up, that of a high-set element, the secondary circuit,
        the bias, time, or a gate.
    element : "phase", "earth" or "high_set", optional
        Whose setting it is; of all elements unless given.
    """

    key: str
    unit: str
    part: Part
    element: Element | None = None

    @property
    def own(self) -> bool:
        """Whether an element has it for itself: a study that names none has no such column."""
        return self.element is not None and self.part != "pick-up"

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
            elements = [scheme.elements[k] for k in scheme.of(self.element)]
            return any(one.bias for one in elements) if self.part == "bias" else bool(elements)
        if self.part == "bias":
            return scheme.biased
        return self.part == "time" or scheme.stabilised


AXES = (  # in the order of the tables' columns
    SettingAxis("phase_pickup_a", "A", "pick-up", "phase"),
    SettingAxis("earth_pickup_a", "A", "pick-up", "earth"),
    SettingAxis("stabilising_resistance_ohm", "ohm", "circuit"),
    SettingAxis("delay_s", "s", "time"),
    SettingAxis("first_slope", "", "bias"),
    SettingAxis("second_slope", "", "bias"),
    SettingAxis("turning_point_a", "A", "bias"),
    SettingAxis("earth_delay_s", "s", "time", "earth"),
    SettingAxis("earth_first_slope", "", "bias", "earth"),
    SettingAxis("earth_second_slope", "", "bias", "earth"),
    SettingAxis("earth_turning_point_a", "A", "bias", "earth"),
    SettingAxis("high_set_pickup_a", "A", "high set", "high_set"),
    SettingAxis("high_set_delay_s", "s", "time", "high_set"),
    SettingAxis("gate", "", "gate", "phase"),  # a name
    SettingAxis("earth_gate", "", "gate", "earth"),  # a name
)
KEYS = tuple(axis.key for axis in AXES)
PICKUPS = tuple(axis.key for axis in AXES if axis.part == "pick-up")
AT_STEPS = tuple(axis.key for axis in AXES if axis.part in ("pick-up", "high set"))  # of the relay
CIRCUIT = tuple(axis.key for axis in AXES if axis.part == "circuit")
BIAS = tuple(axis.key for axis in AXES if axis.part == "bias" and not axis.own)
OWN = tuple(axis.key for axis in AXES if axis.own)
EARTH_BIAS = tuple(f"earth_{key}" for key in BIAS)  # in place of `BIAS`
DELAYS = tuple(axis.key for axis in AXES if axis.part == "time")
CURRENTS = tuple(axis.key for axis in AXES if axis.unit == "A")
# In which order steps are looked at: those of the finest element first, an element's own last
STEPS = tuple(
    axis.key for axis in sorted(AXES, key=lambda axis: (axis.own, axis.element != "earth"))
)

# The most of a grid: beyond is a unit prefix gone wrong, or per cent for a slope
MOST_A, MOST_OHM, MOST_S, MOST_SLOPE = 50.0, 1e6, 60.0, 2.0

# In which a current may be given instead of secondary amperes, by the end of its key
OTHER_UNITS = {
    "relay_percent": ("%", "the relay's rated current"),
    "relay_pu": ("pu", "the relay's rated current"),
    "machine_percent": ("%", "the machine's rated current through the line-end CTs"),
    "machine_pu": ("pu", "the machine's rated current through the line-end CTs"),
}
OTHER_KEYS = frozenset(key.removesuffix("a") + end for key in CURRENTS for end in OTHER_UNITS)
_GRIDS = {
    end: Axis(unit, f"the same grid as a share of {base}", 0.0, at_relay_steps=True)
    for end, (unit, base) in OTHER_UNITS.items()
}
_VALUES = {
    end: Plain(unit, f"the same current as a share of {base}", 0.0)
    for end, (unit, base) in OTHER_UNITS.items()
}
_GridRelayPercent = Annotated[tuple[float, ...], _GRIDS["relay_percent"]]
_GridRelayPu = Annotated[tuple[float, ...], _GRIDS["relay_pu"]]
_GridMachinePercent = Annotated[tuple[float, ...], _GRIDS["machine_percent"]]
_GridMachinePu = Annotated[tuple[float, ...], _GRIDS["machine_pu"]]
_RelayPercent = Annotated[float, _VALUES["relay_percent"]] | None
_RelayPu = Annotated[float, _VALUES["relay_pu"]] | None
_MachinePercent = Annotated[float, _VALUES["machine_percent"]] | None
_MachinePu = Annotated[float, _VALUES["machine_pu"]] | None


@dataclass(frozen=True)
class Setting:
    """One candidate: its scheme and a value on each of `AXES`. Pick-ups in secondary amperes; None
    where the scheme has no such element or no bias, and where an element has nothing of its own."""

    scheme: str
    phase_pickup_a: float | None
    earth_pickup_a: float | None
    stabilising_resistance_ohm: float
    delay_s: float
    first_slope: float | None = None
    second_slope: float | None = None
    turning_point_a: float | None = None
    earth_delay_s: float | None = None
    earth_first_slope: float | None = None
    earth_second_slope: float | None = None
    earth_turning_point_a: float | None = None
    high_set_pickup_a: float | None = None
    high_set_delay_s: float | None = None
    gate: str | None = None
    earth_gate: str | None = None

    def pickup_of(self, stage: Element) -> float | None:
        """The pick-up of some elements; None without such an element. [A]

        Parameters
        ----------
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        float or None
        """
        pickup_a: float | None = getattr(self, f"{stage}_pickup_a")
        return pickup_a

    def delay_of(self, stage: Element) -> float:
        """The delay of some elements. [s]

        Parameters
        ----------
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        float
        """
        own = None if stage == "phase" else getattr(self, f"{stage}_delay_s")
        return self.delay_s if own is None else float(own)


@dataclass(frozen=True)
class Grids:
    """Grids of one scheme: every combination of their values.

    Parameters
    ----------
    scheme : str
    values : mapping of tuple of float
        By the key of the axis; of the axes that the scheme has.
    """

    scheme: str
    values: Mapping[str, tuple[float, ...]]


def grids_in(record: Mapping[str, Any]) -> Grids:
    """Grids as a record of a run holds them.

    Parameters
    ----------
    record : mapping
        As `dataclasses.asdict` of `Grids` has it, after JSON.

    Returns
    -------
    Grids
    """
    values = {key: tuple(points) for key, points in record["values"].items()}
    return Grids(record["scheme"], values)


class ExistingSetting(Section):
    """The existing setting: a candidate that is always in the tables and compared with the chosen
    one."""

    scheme: (
        Annotated[str, word("scheme, one of scheme.kind; needed if there are several")] | None
    ) = None
    phase_pickup_a: (
        Annotated[
            float, Plain("A", "pick-up of the phase elements, secondary", 0.0, MOST_A, above=True)
        ]
        | None
    ) = None
    phase_pickup_relay_percent: _RelayPercent = None
    phase_pickup_relay_pu: _RelayPu = None
    phase_pickup_machine_percent: _MachinePercent = None
    phase_pickup_machine_pu: _MachinePu = None
    earth_pickup_a: (
        Annotated[
            float, Plain("A", "pick-up of the earth element, secondary", 0.0, MOST_A, above=True)
        ]
        | None
    ) = None
    earth_pickup_relay_percent: _RelayPercent = None
    earth_pickup_relay_pu: _RelayPu = None
    earth_pickup_machine_percent: _MachinePercent = None
    earth_pickup_machine_pu: _MachinePu = None
    stabilising_resistance_ohm: Annotated[
        float,
        Plain(
            "ohm", "stabilising resistance, in the same place as for the candidates", 0.0, MOST_OHM
        ),
    ] = 0.0
    delay_s: Annotated[float, Plain("s", "delay of every element", 0.0, MOST_S)] = 0.0
    first_slope: (
        Annotated[float, Plain("-", "biased elements: first slope", 0.0, MOST_SLOPE)] | None
    ) = None
    second_slope: (
        Annotated[float, Plain("-", "biased elements: second slope", 0.0, MOST_SLOPE)] | None
    ) = None
    turning_point_a: (
        Annotated[
            float,
            Plain(
                "A",
                "biased elements: turning point, bias current at which the second slope begins",
                0.0,
                MOST_A,
            ),
        ]
        | None
    ) = None
    turning_point_relay_percent: _RelayPercent = None
    turning_point_relay_pu: _RelayPu = None
    turning_point_machine_percent: _MachinePercent = None
    turning_point_machine_pu: _MachinePu = None
    earth_delay_s: (
        Annotated[float, Plain("s", "delay of the earth element, if its own", 0.0, MOST_S)] | None
    ) = None
    earth_first_slope: (
        Annotated[
            float, Plain("-", "biased earth element: first slope, if its own", 0.0, MOST_SLOPE)
        ]
        | None
    ) = None
    earth_second_slope: (
        Annotated[
            float, Plain("-", "biased earth element: second slope, if its own", 0.0, MOST_SLOPE)
        ]
        | None
    ) = None
    earth_turning_point_a: (
        Annotated[float, Plain("A", "biased earth element: turning point, if its own", 0.0, MOST_A)]
        | None
    ) = None
    earth_turning_point_relay_percent: _RelayPercent = None
    earth_turning_point_relay_pu: _RelayPu = None
    earth_turning_point_machine_percent: _MachinePercent = None
    earth_turning_point_machine_pu: _MachinePu = None
    high_set_pickup_a: (
        Annotated[
            float,
            Plain(
                "A", "pick-up of the high-set elements, if any, secondary", 0.0, MOST_A, above=True
            ),
        ]
        | None
    ) = None
    high_set_pickup_relay_percent: _RelayPercent = None
    high_set_pickup_relay_pu: _RelayPu = None
    high_set_pickup_machine_percent: _MachinePercent = None
    high_set_pickup_machine_pu: _MachinePu = None
    high_set_delay_s: (
        Annotated[float, Plain("s", "delay of the high-set elements, if their own", 0.0, MOST_S)]
        | None
    ) = None
    gate: Annotated[str, word("gate of the phase elements, if candidates have gates")] | None = None
    earth_gate: (
        Annotated[str, word("gate of the earth element, if candidates have such gates")] | None
    ) = None


class Candidates(Section):
    """Grids of settings, after snapping to the relay's step; every combination is a candidate.

    Currents in secondary amperes, or in one of `OTHER_UNITS`, which `other_units.py` makes amperes
    while the file is read. The stabilising resistance stands in the earth leg of a scheme
    that has an earth element, in each phase leg otherwise, nowhere in a biased scheme."""

    phase_pickup_a: Annotated[
        tuple[float, ...],
        Axis(
            "A",
            "phase pick-ups, secondary; for schemes with phase elements",
            0.0,
            MOST_A,
            above=True,
            at_relay_steps=True,
        ),
    ] = ()
    phase_pickup_relay_percent: _GridRelayPercent = ()
    phase_pickup_relay_pu: _GridRelayPu = ()
    phase_pickup_machine_percent: _GridMachinePercent = ()
    phase_pickup_machine_pu: _GridMachinePu = ()
    earth_pickup_a: Annotated[
        tuple[float, ...],
        Axis(
            "A",
            "earth pick-ups, secondary; for schemes with an earth element",
            0.0,
            MOST_A,
            above=True,
            at_relay_steps=True,
        ),
    ] = ()
    earth_pickup_relay_percent: _GridRelayPercent = ()
    earth_pickup_relay_pu: _GridRelayPu = ()
    earth_pickup_machine_percent: _GridMachinePercent = ()
    earth_pickup_machine_pu: _GridMachinePu = ()
    stabilising_resistance_ohm: Annotated[
        tuple[float, ...],
        Axis(
            "ohm",
            "stabilising resistances: in the relay circuit of the earth element if there is one,"
            " else in each phase circuit",
            0.0,
            MOST_OHM,
        ),
    ] = (0.0,)
    delay_s: Annotated[tuple[float, ...], Axis("s", "delays of every element", 0.0, MOST_S)] = (
        0.0,
    )
    first_slope: Annotated[
        tuple[float, ...],
        Axis(
            "-",
            "first slopes of biased elements: bias over bias current",
            0.0,
            MOST_SLOPE,
        ),
    ] = ()
    second_slope: Annotated[
        tuple[float, ...],
        Axis("-", "second slopes, above the turning point; none: a single slope", 0.0, MOST_SLOPE),
    ] = ()
    turning_point_a: Annotated[
        tuple[float, ...],
        Axis(
            "A",
            "turning points of the bias characteristic: bias currents at which the second slope"
            " begins, secondary",
            0.0,
            MOST_A,
        ),
    ] = ()
    turning_point_relay_percent: _GridRelayPercent = ()
    turning_point_relay_pu: _GridRelayPu = ()
    turning_point_machine_percent: _GridMachinePercent = ()
    turning_point_machine_pu: _GridMachinePu = ()
    earth_delay_s: Annotated[
        tuple[float, ...],
        Axis("s", "delays of the earth element, instead of delay_s", 0.0, MOST_S),
    ] = ()
    earth_first_slope: Annotated[
        tuple[float, ...],
        Axis(
            "-", "first slopes of a biased earth element, instead of first_slope", 0.0, MOST_SLOPE
        ),
    ] = ()
    earth_second_slope: Annotated[
        tuple[float, ...],
        Axis("-", "second slopes of a biased earth element; none: a single slope", 0.0, MOST_SLOPE),
    ] = ()
    earth_turning_point_a: Annotated[
        tuple[float, ...],
        Axis("A", "turning points of a biased earth element, secondary", 0.0, MOST_A),
    ] = ()
    earth_turning_point_relay_percent: _GridRelayPercent = ()
    earth_turning_point_relay_pu: _GridRelayPu = ()
    earth_turning_point_machine_percent: _GridMachinePercent = ()
    earth_turning_point_machine_pu: _GridMachinePu = ()
    high_set_pickup_a: Annotated[
        tuple[float, ...],
        Axis(
            "A",
            "pick-ups of high-set elements, secondary: a second element without bias beside every"
            " phase element",
            0.0,
            MOST_A,
            above=True,
            at_relay_steps=True,
        ),
    ] = ()
    high_set_pickup_relay_percent: _GridRelayPercent = ()
    high_set_pickup_relay_pu: _GridRelayPu = ()
    high_set_pickup_machine_percent: _GridMachinePercent = ()
    high_set_pickup_machine_pu: _GridMachinePu = ()
    high_set_delay_s: Annotated[
        tuple[float, ...],
        Axis("s", "delays of high-set elements, instead of delay_s", 0.0, MOST_S),
    ] = ()
    gate: Annotated[
        tuple[str, ...],
        word('gates of the phase elements, by name: of scheme.gates, or "none"'),
    ] = ()
    earth_gate: Annotated[
        tuple[str, ...],
        word(
            "gates of the earth element, by name, that start on no_neutral_current: release by the"
            ' neutral CT; or "none"'
        ),
    ] = ()
    existing: Annotated[ExistingSetting, word("the existing setting, if any")] | None = None

    _given: tuple[tuple[str, str], ...] = PrivateAttr(default=())  # name and key
    _found: tuple[Grids, ...] = PrivateAttr(default=())

    @property
    def found(self) -> tuple[Grids, ...]:
        """What a search left of the ranges; empty before one."""
        return self._found

    @property
    def has_high_set(self) -> bool:
        """Whether a candidate has a high-set element beside each phase element."""
        return bool(self.high_set_pickup_a)

    @property
    def gates_in_use(self) -> tuple[str, ...]:
        """Names of the gates that candidates or the existing setting have."""
        held = [] if self.existing is None else [self.existing.gate, self.existing.earth_gate]
        named = dict.fromkeys((*self.gate, *self.earth_gate, *held))
        return tuple(name for name in named if name not in (None, NO_GATE))

    def key_of_gate(self, name: str) -> str:
        """Whose gate it is.

        Parameters
        ----------
        name : str
            In use.

        Returns
        -------
        "gate" or "earth_gate"
        """
        existing = None if self.existing is None else self.existing.earth_gate
        return "earth_gate" if name in (*self.earth_gate, existing) else "gate"

    def narrowed(self, found: Sequence[Grids]) -> Candidates:
        """The same candidates, of which a search left some.

        Parameters
        ----------
        found : sequence of Grids

        Returns
        -------
        Candidates
        """
        new = self.model_copy()
        new._found = tuple(found)
        return new

    def key_of(self, name: str) -> str:
        """The key under which the file gives a grid: in another unit, if it does.

        Parameters
        ----------
        name : str
            Of the grid in its own unit.

        Returns
        -------
        str
        """
        return dict(self._given).get(name, name)
