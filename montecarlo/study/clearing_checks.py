"""The tables [damage] and [dependability]: what makes them meaningless, and what their reader
should know."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from montecarlo.plant.damage import zone_faults
from montecarlo.plant.fault_energy import FaultEnergy
from montecarlo.relays.schemes import AXES
from montecarlo.study.check import Caution, Check
from montecarlo.study.circuits import scheme_of
from montecarlo.study.delay_checks import delays_of
from montecarlo.study.dependability import (
    BREAKER_FAILURE,
    OF_SCHEME,
    Dependability,
    dependability_faults,
)
from montecarlo.study.description import Study

OPTIONS = "earthing_options"  # has a fault of its own for no earth faults
LIKELY = 0.1  # failure on demand above which the formulas of a rare failure no longer hold
RECORDED_DECAY_S = 3.45  # open record of a trip, test_data3 of repository miguelmoreto/pycomtrade
PER_HOUR = 1e-5  # a year, below which a rate may be one per hour


def paths_of(study: Study, kind: str | None = None) -> tuple[str, ...]:
    """What may clear a fault, in the order in which ties are broken.

    Parameters
    ----------
    study : Study
    kind : str, optional
        A scheme of the study; all of them unless given.

    Returns
    -------
    tuple of str
    """
    schemes = [scheme_of(study, one) for one in ([kind] if kind else study.scheme.kinds)]
    here = [
        path
        for axis, path in zip(AXES, OF_SCHEME, strict=True)
        if any(one.of(axis) for one in schemes)
    ]
    return (*here, *(study.backup.elements if study.backup else ()))


def who_clears_of(study: Study, kind: str) -> tuple[str, ...]:
    """What may clear a fault with a scheme of the study: its paths, then breaker failure protection
    where there is one.

    Parameters
    ----------
    study : Study
    kind : str

    Returns
    -------
    tuple of str
    """
    found = study.dependability
    beside = () if found is None or found.breaker_failure_time_s is None else (BREAKER_FAILURE,)
    return (*paths_of(study, kind), *beside)


def _damage(study: Study) -> Iterator[str]:
    if study.damage is None:
        return
    yield from zone_faults(study.damage)
    if study.study.kind != OPTIONS and study.fault_energy is None:
        yield (
            "fault_energy: missing; [damage] needs how long a fault lasts: breaker_time_s,"
            " field_decay_time_constant_s and undetected_time_s"
        )
    if study.study.kind != OPTIONS and study.internal_faults.shares.earth == 0:
        yield (
            "internal_faults.shares.earth: 0, must be above 0; [damage] counts earth faults, so"
            " give them a share, or take [damage] out"
        )


def _cost(study: Study) -> Iterator[str]:
    cost = study.policy.least_annual_cost
    if cost is not None and cost.damage is not None and study.damage is None:
        yield (
            "damage: missing; policy.least_annual_cost.damage is the cost of what [damage] counts,"
            " so give the table or take the cost out"
        )


def _dependability(study: Study) -> Iterator[str]:
    if study.dependability is not None:
        yield from dependability_faults(study.dependability, paths_of(study))


CLEARING_CHECKS = (
    Check(_damage, ("study", "damage", "fault_energy", "internal_faults")),
    Check(_cost, ("damage", "policy")),
    Check(_dependability, ("dependability", "scheme", "ct", "backup")),
)


def clearing_cautions(study: Study) -> Iterator[Caution]:
    """What decides who clears a fault and may be wrong.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Caution
    """
    if study.damage is not None and study.fault_energy is not None:
        yield from _decay(study.fault_energy)
    if study.fault_energy is not None:
        yield from _undetected(study, study.fault_energy)
    if study.dependability is not None:
        yield from _rates(study.dependability)
        yield from _tests(study, study.dependability)


def _undetected(study: Study, found: FaultEnergy) -> Iterator[Caution]:
    backup = study.backup.elements if study.backup else {}
    own = [(f"backup.{name}.delay_s", element.delay_s) for name, element in backup.items()]
    key, slowest = max((*delays_of(study), *own), key=lambda delay: delay[1])
    centre = found.undetected_time_s.centre()
    if centre < slowest:
        yield Caution(
            "fault_energy.undetected_time_s",
            f"{centre:g} s is less than the {slowest:g} s of the slowest element, {key}. A fault"
            " that nobody clears would do less damage than one that is cleared.",
        )


def _decay(found: FaultEnergy) -> Iterator[Caution]:
    low, high = found.field_decay_time_constant_s.support()
    if high < RECORDED_DECAY_S:
        span = f"{high:g} s" if low == high else f"{low:g} to {high:g} s"
        yield Caution(
            "fault_energy.field_decay_time_constant_s",
            f"{span}, and in the one open record that was found the voltage of a tripped 6 kV"
            f" machine decays with {RECORDED_DECAY_S:g} s. Most of the damage of a cleared fault"
            " comes in this time. Is the field suppressed so fast?",
        )


def _rates(found: Dependability) -> Iterator[Caution]:
    for part in found.parts:
        if part.channels == 1 and "common_share" in part.model_fields_set:
            yield Caution(
                f"dependability.parts.{part.name}.common_share",
                "The part has one channel, so this is not used. Give channels = 2 if there are two"
                " alike.",
            )
        key = f"dependability.parts.{part.name}.dangerous_per_year"
        mean = part.dangerous_per_year.mean()
        if 0 < mean < PER_HOUR:
            yield Caution(
                key,
                f"{mean:.2g} a year is one failure in {1 / mean:.2g} years. Was it given per hour?"
                " Then multiply it by 8760.",
            )
        fails = float(found.failure(part, {key: np.array([mean])})[0])
        if fails > LIKELY:
            yield Caution(
                key,
                f"The part fails on demand with a probability of {fails:.2g}. The formulas are for"
                f" rare failures, and give too much above {LIKELY:g}. Test it more often, or look"
                " at the rate.",
            )


def _tests(study: Study, found: Dependability) -> Iterator[Caution]:
    if not found.test_cost:
        return
    if study.policy.least_annual_cost is None:
        yield Caution(
            "dependability.test_cost",
            "The policy weighs no costs, so this one is not used. It needs"
            " policy.least_annual_cost.",
        )
        return
    for part in found.parts:
        if part.proof_test_years not in (None, found.proof_test_years):
            yield Caution(
                f"dependability.parts.{part.name}.proof_test_years",
                "dependability.test_cost is paid every dependability.proof_test_years. Tests of"
                " this part at its own times cost nothing here.",
            )
