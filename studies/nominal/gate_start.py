"""What a time-difference gate asks of the CTs until it has started."""

from __future__ import annotations

import math

from montecarlo.formulas.ct_dimensioning import start_factor
from montecarlo.relays.gates import Gate
from montecarlo.study.description import Study

TOLD = (
    " A time-difference gate needs cores that do not saturate before it has started. What it needs"
    " of K_s (1 - remanence) is said for the worst point on wave, its highest start and its longest"
    " wait."
)


def time_difference(study: Study) -> list[Gate]:
    """Gates of the candidates that a time difference starts.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Gate
    """
    used = study.candidates.gates_in_use
    every = [gate for gate in study.scheme.gates if gate.name in used]
    return [gate for gate in every if gate.start == "time_difference"]


def needed_factor(study: Study, primary_a: float) -> float:
    """K_s that lasts until the gate that asks most has started, at its highest start and its
    longest wait. [-]

    Parameters
    ----------
    study : Study
    primary_a : float (A)
        RMS, without offset.

    Returns
    -------
    float
        NaN without such a gate, and of a current that starts none.
    """
    machine = study.machine
    current_pu = primary_a / machine.rated_current_a
    found: list[float] = []
    for gate in time_difference(study):
        if gate.start_pu is not None and gate.wait_s is not None:
            start_pu, wait_s = gate.start_pu.support()[1], gate.wait_s.support()[1]
            found.append(float(start_factor(current_pu, start_pu, wait_s, machine.omega)))
    return max((each for each in found if not math.isnan(each)), default=math.nan)


def has_started(factor: float, needed: float) -> str:
    """Whether it has, as the end of a sentence on saturation; empty where no gate starts.

    Parameters
    ----------
    factor : float
        K_s that remanence leaves (-).
    needed : float
        As of `needed_factor` (-).

    Returns
    -------
    str
    """
    if math.isnan(needed):
        return ""
    if factor < needed:
        return f", before a time-difference gate has started, which needs K_s {needed:.3g}"
    times = factor / needed
    return f"; a time-difference gate needs K_s {needed:.3g} and has {times:.2g} times that"
