"""A small valid study for everybody's tests, and the same with some keys changed."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from montecarlo.errors import StudyError
from montecarlo.study.description import Study
from montecarlo.study.read import parse_study

REMOVE = object()  # as a value in `study_with`: takes the key out

MINIMAL = """\
[study]
title = "An invented machine on its own bus"
kind = "setting_sweep"
seed = 20260101
samples = 512
installations = 32
radius = false
racing = false

[machine]
rated_power_va = 25e6
line_voltage_v = 11000
subtransient_reactance_pu = { nominal = 0.2, tolerance_percent = 10, shape = "uniform" }
transient_reactance_pu = 0.3
synchronous_reactance_pu = 1.1
negative_sequence_reactance_pu = 0.2
zero_sequence_reactance_pu = 0.08
subtransient_time_constant_s = 0.04
transient_time_constant_s = 1.2
armature_time_constant_s = 0.15
stator_capacitance_f = 0.2e-6

[load]
current_pu = { dist = "uniform", low = 0.2, high = 1.0 }
power_factor = 0.9

[earthing]
resistance_ohm = { nominal = 21.2, tolerance_percent = 10, shape = "uniform" }

[ct]
primary_a = 1500
secondary_a = 1
turns_ratio_error_percent = { dist = "uniform", low = -0.25, high = 0.25 }
knee_voltage_v = { nominal = 300, tolerance_percent = 10, shape = "normal", source = "assumed" }
knee_current_a = 0.03
winding_resistance_ohm = 5
lead_resistance_ohm = { nominal = 1, tolerance_percent = 20, shape = "uniform", shared = true }
remanence_percent = { dist = "uniform", low = -60, high = 60 }

[scheme]
kind = "two_phase_one_earth"
watched_phases = ["L1", "L3"]

[relay]
phase_burden_ohm = 0.1
earth_burden_ohm = 0.1
pickup_error_percent = { dist = "normal", mean = 0, sd = 1, truncate = [-3, 3] }

[internal_faults]
per_year = 0.01
shares = { earth = 0.8, phase_phase = 0.1, phase_phase_earth = 0.05, three_phase = 0.04, inter_turn = 0.01 }
earth_fault_resistance_ohm = { dist = "lognormal", median = 1.0, sigma = 1.0 }

[[external_events]]
name = "near_fault"
kind = "three_phase"
per_year = 0.2
external_reactance_pu = { dist = "uniform", low = 0.05, high = 0.3 }
clearing_time_s = 0.12

[[external_events]]
name = "far_fault"
kind = "phase_phase"
per_year = 1
external_reactance_pu = 0.4
clearing_time_s = { dist = "triangular", low = 0.08, mode = 0.1, high = 0.4 }

[candidates]
phase_pickup_a = [0.1, 0.2]
earth_pickup_a = { from = 0.02, to = 0.1, step = 0.02 }
stabilising_resistance_ohm = [0, 300]
delay_s = [0]

[policy]
p_false_max = 0.01
"""

# For whole runs of which the types are not the subject: what a small run costs goes with them.
FEW_TYPES: dict[str, Any] = {
    "internal_faults.shares": {"earth": 0.8, "phase_phase": 0.19, "inter_turn": 0.01},
    "external_events": tomllib.loads(MINIMAL)["external_events"][:1],
}


def minimal_study_text() -> str:
    """A small valid study as a TOML text."""
    return MINIMAL


def study_table(changes: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """The minimal study's table with dotted keys changed: {"earthing.resistance_ohm": 6.0}.

    Events go by name ("external_events.near_fault.per_year"), other lists by index. `REMOVE` takes
    a key out."""
    table = tomllib.loads(MINIMAL)
    for dotted, value in (changes or {}).items():
        *path, last = dotted.split(".")
        node: Any = table
        for part in path:
            node = _inside(node, part)
        if value is REMOVE:
            del node[last]
        elif isinstance(node, list):
            node[int(last)] = deepcopy(value)
        else:
            node[last] = deepcopy(value)
    return table


def _inside(node: Any, part: str) -> Any:
    if isinstance(node, list):
        return (
            node[int(part)]
            if part.isdigit()
            else next(item for item in node if item.get("name") == part)
        )
    return node.setdefault(part, {})


def study_with(
    changes: Mapping[str, Any] | None = None, *, folder: Path = Path("."), **sections: Any
) -> Study:
    """The minimal study with dotted keys changed, read through the door.

    study_with({"earthing.resistance_ohm": 6.0}); whole tables also by keyword,
    study_with(policy={"p_false_max": 0.1})."""
    return parse_study(study_table({**(changes or {}), **sections}), folder)


def faults_of(changes: Mapping[str, Any]) -> tuple[str, ...]:
    """What the door says of the minimal study with dotted keys changed."""
    with pytest.raises(StudyError) as caught:
        study_with(changes)
    return caught.value.faults
