"""The damage of earth faults until the first path that works clears them, or until somebody does.

It goes with the place: several places stand for the winding."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import primary
from montecarlo.engine.clearing_paths import Case, Paths, stated_case
from montecarlo.engine.course import Course
from montecarlo.formulas.damage import iron_volume_cm3
from montecarlo.plant.internal import EarthFault
from montecarlo.quantities import Array, Flags
from montecarlo.quantities.keepable import keepable
from montecarlo.study.dependability import BREAKER_FAILURE

PLACES = 8  # along the winding, of each fault; one where the law of places is discrete


@keepable
@dataclass(frozen=True, eq=False)
class Burnt:
    """Damage of earth faults at their places, failures as stated: (faults x places, columns of
    `Paths.first`)."""

    weight: Array  # probability of the path
    equivalent_s: Array  # seconds of the reference current
    after_share: NDArray[np.float32]  # part of it after the breaker has opened
    iron_cm3: NDArray[np.float32]  # at most
    beyond: NDArray[np.int8]  # number of the zone
    seen: Flags  # (faults x places,) by a path at least


def burnt_of(paths: Paths, x: Array) -> tuple[Burnt, Array]:
    """Earth faults at places that stand for the winding alike.

    Parameters
    ----------
    paths : Paths
    x : (n, J) array (-)
        Up to where each path sees nothing; NaN where that is not known.

    Returns
    -------
    Burnt
    (n x places, J) array (s)
        When each path operates there; inf where it sees nothing.
    """
    block, given = paths.block, paths.block.study.damage
    assert given is not None
    s, place = block.samples, primary.stretched_places(block, PLACES)
    n, count = place.shape
    sees = place[:, :, None] > np.where(np.isnan(x), 1.0, x)[:, None]
    times = np.where(sees, paths.times_s, np.inf).reshape(n * count, -1)
    weight = paths.first(times, *stated_case(block.study))
    weight[np.repeat(np.isnan(x).any(axis=1), count)] = np.nan
    seen = np.asarray(sees.any(axis=2))
    trip = _trips_s(paths, sees, seen)
    power = s["damage.exponent"][:, None, None]
    course = Course.of(block, place)
    heat, _ = course.integral(_in_fault, trip, 1.0)
    whole, after = course.integral(_in_fault, trip, power)
    limits = [zone.current_a**power * zone.time_s for zone in given.zones]
    share = np.divide(after, whole, out=np.zeros_like(whole), where=whole > 0)
    iron = iron_volume_cm3(heat, s["damage.arc_voltage_v"][:, None, None], given.core_share)
    beyond = np.sum([whole > limit for limit in limits], axis=0) + np.zeros_like(whole)
    flat = weight.shape
    return Burnt(
        weight,
        (whole / given.reference_a**power).reshape(flat),
        share.reshape(flat).astype(np.float32),
        iron.reshape(flat).astype(np.float32),
        beyond.reshape(flat).astype(np.int8),
        seen.ravel(),
    ), times


def _trips_s(paths: Paths, sees: Flags, seen: Flags) -> Array:
    """When the breaker is tripped by each of those that clear, or by somebody where nobody does.
    (n, places, columns of `Paths.first`) [s]"""
    s, unseen = paths.block.samples, paths.block.samples["fault_energy.undetected_time_s"][:, None]
    trip = np.empty((*seen.shape, len(paths.who) + 1))
    trip[..., : len(paths.names)] = paths.times_s
    trip[..., -1] = unseen
    if BREAKER_FAILURE in paths.who:
        fastest = np.where(sees, paths.times_s, np.inf).min(axis=2)
        later = s["dependability.breaker_failure_time_s"][:, None]
        trip[..., -2] = np.where(seen, fastest + later, unseen)
    return trip


def harm_of(burnt: Burnt, paths: Paths, times: Array, case: Case) -> tuple[float, float]:
    """Damage of the faults with a result, and its cost, summed over the faults.

    Parameters
    ----------
    burnt : Burnt
    paths : Paths
    times : (n x places, J) array (s)
        As of `burnt_of`.
    case : (float, float)
        Factors of failures.

    Returns
    -------
    float, float
        In seconds of the reference current, and in the unit of the policy's costs; 0 without costs.
    """
    study = paths.block.study
    stated = case == stated_case(study)
    weight = burnt.weight if stated else paths.first(times, *case)
    weight = np.where(np.isfinite(burnt.weight), weight, 0.0)
    cost, harm = study.policy.least_annual_cost, burnt.equivalent_s
    priced = 0.0 if cost is None or cost.damage is None else cost.damage.of(harm)
    count = len(weight) // len(paths.block)
    return float((weight * harm).sum()) / count, float((weight * priced).sum()) / count


def _in_fault(fault: EarthFault) -> Array:
    return np.abs(fault.fault_current_a)
