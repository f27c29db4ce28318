"""statorodds, the engine: probability of missed stator faults and of false trips for every
candidate setting.

study description -> uncertain inputs -> samples -> primary currents -> secondary circuit ->
elements -> tallies -> estimates -> tables

A study, all its tables, and its samples:

>>> from montecarlo import read_study, run_study, sample_frames
>>> study = read_study("configs/unit_13_8kv.toml", samples=256)
>>> study.machine.line_voltage_v
13800.0
>>> result = run_study(study)                                       # doctest: +SKIP
>>> result.candidates[["p_missed", "p_false"]]                      # doctest: +SKIP
>>> frames = sample_frames(study, ["internal.earth"])               # doctest: +SKIP

The models are functions of arrays and know nothing of a study: `earth_fault` along a winding of
impedance `winding_impedance`, with the way back `EarthReturn`; `secondary_phasors` and
`secondary_waves`, the CTs and the legs that they drive; `operating_quantity`, what a biased element
compares with its pick-up; `critical_position`, up to where along the winding a current stays below
a setting.

>>> import numpy as np
>>> from montecarlo import EarthReturn, critical_position, earth_fault, winding_impedance
>>> x = np.linspace(0, 1, 101)
>>> back = EarthReturn(neutral_ohm=635.0, omega=314.0, infeed_share=0.0)
>>> fault = earth_fault(x, 0, 6350.0, winding_impedance(x, 0.0, 0.0, 2), 0.0, back)
>>> unprotected, _ = critical_position(x, np.abs(fault.fault_current_a)[None], [1.0])
>>> round(float(unprotected[0, 0]), 6)                     # I R / E: 1 A, 635 ohm, 6350 V
0.1
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from montecarlo.engine.run import Outcome
    from montecarlo.estimates.conditional import critical_position
    from montecarlo.frames.result import Result, run_study
    from montecarlo.frames.samples import sample_frames
    from montecarlo.plant.internal import EarthReturn, earth_fault
    from montecarlo.plant.machine import winding_impedance
    from montecarlo.secondary.restraint import operating_quantity
    from montecarlo.secondary.steady import solve as secondary_phasors
    from montecarlo.secondary.transient import solve as secondary_waves
    from montecarlo.study.read import read_study

__all__ = [
    "EarthReturn",
    "Outcome",
    "Result",
    "critical_position",
    "earth_fault",
    "operating_quantity",
    "read_study",
    "run_study",
    "sample_frames",
    "secondary_phasors",
    "secondary_waves",
    "winding_impedance",
]

PLACES = {
    "EarthReturn": "plant.internal",
    "Outcome": "engine.run",
    "Result": "frames.result",
    "critical_position": "estimates.conditional",
    "earth_fault": "plant.internal",
    "operating_quantity": "secondary.restraint",
    "read_study": "study.read",
    "run_study": "frames.result",
    "sample_frames": "frames.samples",
    "secondary_phasors": "secondary.steady:solve",
    "secondary_waves": "secondary.transient:solve",
    "winding_impedance": "plant.machine",
}


def __getattr__(name: str) -> Any:
    """Import on first use: `--help` and input checking do without the numerical stack."""
    if name not in PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, _, own = PLACES[name].partition(":")
    return getattr(import_module(f"montecarlo.{module}"), own or name)
