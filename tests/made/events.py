"""A scene for the tests of external events: one sample or many of an invented machine."""

from __future__ import annotations

from typing import Any

import numpy as np

from montecarlo.plant.events.base import Event, Scene
from montecarlo.plant.events.kinds import KINDS
from montecarlo.plant.machine import Machine

OMEGA = 100 * np.pi
POWER_VA, LINE_V = 25e6, 11e3
RATED_A, PHASE_V, BASE_OHM = (
    POWER_VA / (np.sqrt(3) * LINE_V),
    LINE_V / np.sqrt(3),
    LINE_V**2 / POWER_VA,
)
T = np.arange(-160, 1600) / 8000  # a cycle of load, ten of the event

SAMPLES = {
    "machine.voltage_factor": 1.0,
    "machine.subtransient_reactance_pu": 0.2,
    "machine.transient_reactance_pu": 0.3,
    "machine.synchronous_reactance_pu": 1.1,
    "machine.negative_sequence_reactance_pu": 0.21,
    "machine.zero_sequence_reactance_pu": 0.1,
    "machine.subtransient_time_constant_s": 0.04,
    "machine.transient_time_constant_s": 1.1,
    "machine.armature_time_constant_s": 0.15,
    "machine.stator_capacitance_f": 0.0,
    "machine.terminal_capacitance_f": 0.0,
    "network.external_capacitance_f": 0.0,
    "load.current_pu": 0.0,
    "load.power_factor": 0.9,
    "earthing.resistance_ohm": 31.8,
}
MACHINE = Machine.model_validate(
    {"rated_power_va": POWER_VA, "line_voltage_v": LINE_V}
    | {
        key.removeprefix("machine."): value
        for key, value in SAMPLES.items()
        if key.startswith("machine.")
    }
)
COMMON = {"name": "e", "per_year": 1.0}


def event_of(kind: str, **keys: Any) -> Event:
    """The event as a study file would give it; `clearing_time_s` beyond every window where it is
    not given."""
    fields = KINDS[kind].model_fields
    given = (
        COMMON
        | {"kind": kind}
        | ({"clearing_time_s": 5.0} if "clearing_time_s" in fields else {})
        | keys
    )
    return KINDS[kind].model_validate(given)


def scene_of(
    event: Event, samples: dict[str, Any] | None = None, *, angle: Any = 0.7, phase: Any = 0
) -> Scene:
    """One sample, or as many as the longest array given; the event's inputs stand at their
    centres."""
    own = {name: value.centre() for name, value in event if hasattr(value, "centre")}
    changes = {key: value for key, value in (samples or {}).items() if not key.startswith("own.")}
    own |= {key[4:]: value for key, value in (samples or {}).items() if key.startswith("own.")}
    every = SAMPLES | changes
    n = max(np.size(value) for value in (*every.values(), *own.values(), angle, phase))
    wide = {key: np.broadcast_to(np.asarray(value, float), n) for key, value in every.items()}
    return Scene(
        machine=MACHINE,
        neutral_ohm=wide["earthing.resistance_ohm"],
        samples=wide,
        own={key: np.broadcast_to(np.asarray(value, float), n) for key, value in own.items()},
        point_on_wave_rad=np.broadcast_to(np.asarray(angle, float), n),
        phase=np.broadcast_to(np.asarray(phase), n),
    )


def currents_of(
    kind: str,
    samples: dict[str, Any] | None = None,
    *,
    t: Any = T,
    angle: Any = 0.7,
    phase: Any = 0,
    **keys: Any,
) -> Any:
    event = event_of(kind, **keys)
    return event.currents(scene_of(event, samples, angle=angle, phase=phase), t)


def phasor(wave: Any, t: Any) -> Any:
    """RMS phasor at t = 0 of a sinusoid over whole cycles."""
    return np.sqrt(2) * np.mean(wave * np.exp(-1j * OMEGA * t), axis=-1)
