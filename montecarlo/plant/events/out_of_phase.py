"""The machine is closed onto the network while their voltages stand at an angle.

    I = 2U sin(delta/2)/(X + X_ext)        X = X''d, X'd, Xd in turn

(textbook; both voltages U, no load before), with the decay times and the DC component of a
three-phase fault behind X_ext, which it equals at delta = 60 degrees. 180 degrees and X_ext = 0
give twice the terminal fault. Reach: the angle stands still, so up to the first swing; saliency and
what the swing adds to the torque axis are left out; at the clearing time the breaker opens
again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

import numpy as np

from montecarlo.plant.events.base import ClearingTime, Event, KindWord, RunOn, Scene, cleared
from montecarlo.plant.events.through_fault import fault_in
from montecarlo.quantities import Array, Complex, Distribution, Quantity, number


def driving_pu(voltage_pu: Array, angle_deg: Array) -> Array:
    """Difference of two equal voltages that stand at an angle: 2U sin(delta/2). [pu]

    Parameters
    ----------
    voltage_pu : (n,) array (pu)
    angle_deg : (n,) array (deg)

    Returns
    -------
    (n,) array (pu)
    """
    return 2 * voltage_pu * np.sin(np.radians(angle_deg) / 2)


class OutOfPhaseClosing(Event):
    """Balanced, with a DC component; nothing flows before."""

    kind: Annotated[Literal["out_of_phase_closing"], KindWord]
    angle_deg: Annotated[
        Distribution,
        Quantity(
            "deg",
            "between the machine's voltage and the network's at closing",
            0.0,
            high=180.0,
            varies="event",
        ),
    ]
    external_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "between the machine's terminals and a stiff network, on the machine's rating",
            0.0,
            high=100.0,
            varies="event",
        ),
    ]
    external_resistance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "between the machine's terminals and a stiff network",
            0.0,
            high=100.0,
            varies="event",
        ),
    ] = number(0.0)
    clearing_time_s: ClearingTime
    run_on_s: RunOn = 0.04

    @property
    def balanced(self) -> bool:
        return True

    def lasts_s(self, scene: Scene) -> float:
        return cleared(scene, self.run_on_s)

    def before(self, scene: Scene) -> Complex:
        return np.zeros((len(scene.phase), 6), complex)

    def currents(self, scene: Scene, t: Array) -> Array:
        driving = driving_pu(scene.voltage_pu, scene.own["angle_deg"])
        return fault_in(scene, t, "three_phase", driving, 0.0, 1.0)

    def direct_s(self, scene: Scene) -> Array:
        return scene.direct_s

    def by_hand(self, centre: Mapping[str, float]) -> tuple[float, str]:
        emf, own = centre["machine.voltage_factor"], centre["machine.subtransient_reactance_pu"]
        angle, outside = self.angle_deg.support()[1], self.external_reactance_pu.support()[0]
        return (
            2 * emf * float(np.sin(np.radians(angle) / 2)) / (own + outside),
            f"2 x {emf:g} x sin({angle:g} deg / 2) / ({own:g} + {outside:g})",
        )
