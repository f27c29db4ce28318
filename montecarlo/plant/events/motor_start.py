"""A large motor is started at the busbar: its locked-rotor current passes the machine until it has
run up.

    I = k S U (cos phi_s - j sin phi_s)        k starting over rated current, S the motor's rating
    on the machine's

held through the run-up (the current of an induction motor falls little before its breakdown slip:
common practice), then falling evenly to nothing more than load within a tenth of the run-up time
(assumed), with a DC component of the motor's own time constant that makes it start from 0. The
network takes its share by the reactances. Reach: balanced; no voltage drop, so somewhat too large
behind a weak source; what the motor takes once it runs is not added to load."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

import numpy as np

from montecarlo.plant.events.base import Duration, Event, KindWord, Scene
from montecarlo.plant.events.waves import sinusoids
from montecarlo.plant.machine import phase_phasors
from montecarlo.plant.states import load_phasor
from montecarlo.quantities import Array, Complex, Distribution, Quantity, number

FALL = 0.1  # part of the run-up time within which the current falls at its end


def starting_current(
    t: Array, phasor: Complex, direct_s: Array, run_up_s: Array, omega: float
) -> Array:
    """Three phases of the starting current, in the unit of the phasor.

    Parameters
    ----------
    t : (nt,) array (s)
    phasor : (n,) complex array
        Of L1, peak.
    direct_s, run_up_s : (n,) array (s)
    omega : float (rad/s)

    Returns
    -------
    (n, 3, nt) array
        0 before t = 0.
    """
    phases = phase_phasors(phasor)
    start = int(np.searchsorted(t, 0.0))
    when = t[start:]
    run_up = run_up_s[:, None]
    held = np.clip((run_up * (1 + FALL) - when) / (FALL * run_up), 0.0, 1.0)[:, None]
    direct = np.exp(-when / direct_s[:, None])[:, None]
    out = np.zeros((*phases.shape, t.size))
    out[..., start:] = held * sinusoids(phases, omega * when) - phases.real[..., None] * direct
    return out


class MotorStart(Event):
    """Balanced and long; several times the motor's rated current."""

    kind: Annotated[Literal["motor_start"], KindWord]
    motor_rating_pu: Annotated[
        Distribution,
        Quantity(
            "pu", "the motor's rated apparent power over the machine's", 0.0, above=True, high=2.0
        ),
    ]
    start_ratio: Annotated[
        Distribution,
        Quantity(
            "-",
            "locked-rotor current over rated current at rated voltage",
            0.0,
            above=True,
            usual=(1.0, 15.0),
        ),
    ] = number(6.0)
    start_power_factor: Annotated[
        Distribution, Quantity("-", "power factor with the rotor locked, lagging", 0.0, high=1.0)
    ] = number(0.2)
    direct_time_constant_s: Annotated[
        Distribution,
        Quantity(
            "s", "of the DC component of the starting current", 0.0, above=True, usual=(1e-3, 1.0)
        ),
    ] = number(0.03)
    run_up_time_s: Annotated[
        Distribution,
        Quantity(
            "s",
            "from switching on to the breakdown slip",
            0.0,
            above=True,
            usual=(0.05, 120.0),
            varies="event",
        ),
    ]
    duration_s: Duration = 0.5

    @property
    def balanced(self) -> bool:
        return True

    def lasts_s(self, scene: Scene) -> float:
        return self.duration_s

    def currents(self, scene: Scene, t: Array) -> Array:
        """(n, 3, nt): load, and from t = 0 the machine's share of the starting current."""
        own = scene.own
        omega = scene.machine.omega
        current = (
            own["start_ratio"] * own["motor_rating_pu"] * scene.voltage_pu * scene.machine_share
        )
        phasor = load_phasor(current, own["start_power_factor"]) * scene.turn * np.sqrt(2)
        out = starting_current(
            t,
            phasor * scene.machine.rated_current_a,
            own["direct_time_constant_s"],
            own["run_up_time_s"],
            omega,
        )
        out += sinusoids(np.sqrt(2) * scene.load()[:, :3], omega * t)
        return out

    def direct_s(self, scene: Scene) -> Array:
        return scene.own["direct_time_constant_s"]

    def by_hand(self, centre: Mapping[str, float]) -> tuple[float, str]:
        ratio = self.start_ratio.support()[1]
        rating = self.motor_rating_pu.support()[1]
        emf = centre["machine.voltage_factor"]
        return ratio * rating * emf, f"{ratio:g} x {rating:g} x {emf:g}"
