"""What every external event has and does, and what it is given to work with."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from montecarlo.plant.decrement import Decrement
from montecarlo.plant.machine import Machine
from montecarlo.plant.states import load_currents
from montecarlo.quantities import (
    Array,
    Complex,
    Distribution,
    Index,
    Plain,
    Quantity,
    Section,
    word,
)

ClearingTime = Annotated[
    Distribution,
    Quantity(
        "s",
        "from inception to the opening of the contacts",
        0.0,
        high=5.0,
        above=True,
        varies="event",
    ),
]
RunOn = Annotated[
    float, Plain("s", "simulated after clearing, for the elements to reset", 0.0, 5.0)
]
Duration = Annotated[float, Plain("s", "simulated from inception", 0.02, 10.0)]
KindWord = word("kind of event; the other keys depend on it")


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """A block of samples as an event meets it; arrays (n,)."""

    machine: Machine  # its ratings; what is sampled stands in `samples`
    samples: Mapping[str, Array]  # every input of the study by its key
    own: Mapping[str, Array]  # the event's own inputs by the names of its fields
    neutral_ohm: NDArray[Any]  # between the machine's neutral and earth, real or complex
    point_on_wave_rad: Array  # L1's terminal voltage is sqrt(2)U cos(omega t + alpha)
    phase: Index  # 0, 1, 2: the phase at fault, or the one that a fault leaves out

    @property
    def voltage_pu(self) -> Array:
        """Terminal voltage before the event, (n,). [pu]"""
        return self.samples["machine.voltage_factor"]

    @property
    def turn(self) -> Complex:
        """What turns the phasors of a voltage of L1 at angle 0 to the point on wave, (n,). [-]"""
        return np.asarray(np.exp(1j * self.point_on_wave_rad))

    def ohm(self, name: str) -> Array:
        """A reactance of the machine or of the event, given in pu. [ohm]

        Parameters
        ----------
        name : str
            Of the event's field, or of the machine's.

        Returns
        -------
        (n,) array (ohm)
        """
        given = self.own[name] if name in self.own else self.samples[f"machine.{name}"]
        return given * self.machine.base_impedance_ohm

    @property
    def decrement(self) -> Decrement:
        """What decides how the machine's current decays, (n,) each."""
        names = Decrement.__dataclass_fields__
        return Decrement(**{name: self.samples[f"machine.{name}"] for name in names})

    @property
    def direct_s(self) -> Array:
        """Time constant of the DC component behind the event's own impedance, (n,). [s]"""
        return self.decrement.direct_current_time_s(
            self.own["external_reactance_pu"],
            self.own["external_resistance_pu"],
            self.machine.omega,
        )

    @property
    def network_pu(self) -> Array:
        """Reactance of the system behind the terminals, (n,), np.inf without one. [pu]"""
        return self.samples.get("network.reactance_pu", np.full(self.phase.size, np.inf))

    @property
    def machine_share(self) -> Array:
        """The machine's part of a current that the network feeds too, X_net/(X''d + X_net). [-]"""
        own = self.samples["machine.subtransient_reactance_pu"]
        return 1 / (1 + own * (1 / self.network_pu))

    def load(self) -> Complex:
        """Load before the event, RMS phasors turned to the point on wave. [A]

        Returns
        -------
        (n, 6) complex array (A)
            At the six CT places.
        """
        carried = load_currents(
            self.samples["load.current_pu"],
            self.samples["load.power_factor"],
            self.machine.rated_current_a,
        )
        return carried * self.turn[:, None]


class Event(Section):
    """Something outside the zone on which no element may operate.

    Its `name` keys its random numbers: another event leaves them as they are.
    """

    name: Annotated[
        str,
        word("name of the event: a word of letters, digits and _; part of keys and file columns"),
    ]
    kind: Annotated[str, KindWord]
    per_year: Annotated[
        Distribution, Quantity("1/year", "events of this kind per year", 0.0, high=1e4)
    ]

    @property
    def balanced(self) -> bool:
        """Whether the three phases fare alike, so that no phase is singled out."""
        return False

    @abstractmethod
    def lasts_s(self, scene: Scene) -> float:
        """How long it is simulated from inception, the longest of its samples. [s]

        Parameters
        ----------
        scene : Scene

        Returns
        -------
        float (s)
        """

    @abstractmethod
    def currents(self, scene: Scene, t: Array) -> Array:
        """Primary current, positive from the neutral to the terminals. [A]

        Parameters
        ----------
        scene : Scene
        t : (nt,) array (s)
            Inception at 0.

        Returns
        -------
        (n, 3, nt) or (n, 6, nt) array (A)
            The same at both ends; or where they differ, neutral end L1, L2, L3, then line end.
        """

    def before(self, scene: Scene) -> Complex:
        """What the six CTs have long carried at t = 0: RMS phasors at the point on wave. [A]

        Parameters
        ----------
        scene : Scene

        Returns
        -------
        (n, 6) complex array (A)
        """
        return scene.load()

    def neutral_current(self, scene: Scene, t: Array) -> Array | None:
        """Current of the machine's neutral. [A]

        Parameters
        ----------
        scene : Scene
        t : (nt,) array (s)

        Returns
        -------
        (n, nt) array (A) or None
            None for an event clear of earth.
        """
        return None

    def direct_s(self, scene: Scene) -> Array | None:
        """Time constant of the DC component. [s]

        Parameters
        ----------
        scene : Scene

        Returns
        -------
        (n,) array (s) or None
            None for an event without one.
        """
        return None

    @property
    def to_earth(self) -> bool:
        """Whether the current returns through earth, and so through the CTs' return core."""
        return False

    def first_cycle_a(self, scene: Scene) -> float | None:
        """AC component of the first cycle of the phase that carries most, without load, RMS. [A]

        Parameters
        ----------
        scene : Scene
            One sample.

        Returns
        -------
        float or None (A)
            None where it is no sinusoid, or `by_hand` alone has it.
        """
        return None

    def by_hand(self, centre: Mapping[str, float]) -> tuple[float, str] | None:
        """AC component of the first cycle, RMS [pu], and the sum that gives it.

        Parameters
        ----------
        centre : mapping of str to float
            The study's inputs by key at their centres; the event's own are taken at their worst.

        Returns
        -------
        (float, str) or None
            None where no hand formula holds.
        """
        return None


def cleared(scene: Scene, run_on_s: float) -> float:
    """Longest clearing time, a cycle to the last zero, and the run-on. [s]

    Parameters
    ----------
    scene : Scene
    run_on_s : float (s)

    Returns
    -------
    float (s)
    """
    return float(scene.own["clearing_time_s"].max()) + 1 / scene.machine.frequency_hz + run_on_s
