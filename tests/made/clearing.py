"""Small studies whose faults are followed to who clears them."""

from __future__ import annotations

from typing import Any

import numpy as np

from montecarlo.engine.clearing import Clearing, sample_clearing
from montecarlo.engine.progress import silent
from montecarlo.engine.workers import workers_of
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import candidate_lattices, settings_of
from montecarlo.study.description import Study
from tests.made.studies import study_with

ERROR = {"dist": "uniform", "low": -5, "high": 5}
BACKUP: dict[str, Any] = {
    "neutral_current": {"pickup_a": 25.0, "delay_s": 1.0, "error_percent": ERROR},
    "neutral_voltage": {"pickup_percent": 6.0, "delay_s": 0.5, "error_percent": ERROR},
}
SCHEME = ("phase_elements", "earth_element")
NEUTRAL = ("neutral_current", "neutral_voltage")
SMALL: dict[str, Any] = {
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "earthing.resistance_ohm": {"nominal": 100.0, "tolerance_percent": 10, "shape": "uniform"},
    "internal_faults.shares": {
        "earth": 0.6,
        "phase_phase": 0.1,
        "phase_phase_earth": 0.25,
        "three_phase": 0.05,
    },
    "candidates.phase_pickup_a": [0.1],
    "candidates.earth_pickup_a": [0.02],
    "candidates.stabilising_resistance_ohm": [0],
    "backup": BACKUP,
}
TIMES: dict[str, Any] = {
    "breaker_time_s": {"dist": "uniform", "low": 0.05, "high": 0.1},
    "field_decay_time_constant_s": {"dist": "uniform", "low": 0.5, "high": 2},
    "undetected_time_s": {"dist": "uniform", "low": 60, "high": 600},
}


def part(name: str, *paths: str, rate: Any = 0.05, **keys: Any) -> dict[str, Any]:
    return {"name": name, "paths": [*paths], "dangerous_per_year": rate, **keys}


def with_parts(*parts: dict[str, Any], **keys: Any) -> dict[str, Any]:
    """Tested every two years and repaired at once: of a rate l the failure on demand is l."""
    return {"dependability": {"proof_test_years": 2, "repair_h": 0, "parts": [*parts], **keys}}


def setting_of(study: Study) -> Setting:
    """The first candidate."""
    return settings_of(candidate_lattices(study))[0]


def followed(changes: dict[str, Any], workers: int = 1) -> Clearing:
    """The small study with keys changed, its first candidate in service."""
    study = study_with(SMALL | changes)
    return sample_clearing(study, setting_of(study), 1, workers_of(workers), silent)


def probabilities(found: Clearing, case: tuple[float, float]) -> dict[Stratum, Array]:
    """Of each path and of nobody, by type."""
    at = found.cases.index(case)
    return {
        name: np.sum([one.sums[at] for one in blocks], axis=0)
        / np.sum([one.faults for one in blocks])
        for name, blocks in found.cleared.items()
    }
