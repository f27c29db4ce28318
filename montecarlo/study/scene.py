"""An external event as it meets a machine with every input at its centre."""

from __future__ import annotations

import numpy as np

from montecarlo.plant.earthing import neutral_ohm
from montecarlo.plant.events.base import Event, Scene
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.description import Study

__all__ = ["direct_s", "scene_at_centre"]


def scene_at_centre(study: Study, event: Event) -> Scene:
    """One sample, (1,), the voltage of L1 at its peak."""
    samples = {item.key: np.array([item.distribution.centre()]) for item in list_inputs(study)}
    prefix = f"external_events.{event.name}."
    return Scene(
        machine=study.machine,
        samples=samples,
        own={
            key.removeprefix(prefix): value
            for key, value in samples.items()
            if key.startswith(prefix)
        },
        neutral_ohm=neutral_ohm(study.earthing, samples, study.machine.phase_voltage_v),
        point_on_wave_rad=np.zeros(1),
        phase=np.zeros(1, np.int64),
    )


def direct_s(study: Study, event: Event) -> float | None:
    """Time constant of the event's DC component; None where it has none. [s]"""
    found = event.direct_s(scene_at_centre(study, event))
    return None if found is None else float(found[0])
