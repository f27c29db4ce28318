"""What is on and what is off while a case passes: status channels of its record."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from montecarlo.quantities import Array, Flags
from montecarlo.study.axes import Setting
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.waveforms.cases import Case

FAULT, OPEN = "fault or event", "contacts open"
WORDS = {
    FAULT: "1 from the beginning of the event on.",
    OPEN: "1 from then on.",
    "operated": "1 from the expected operation of the element on, without pick-up error.",
    "gate": "1 while the gate holds the element back.",
}
NEAR = 1e-6  # of a step: an instant that is its own


def statuses(study: Study, setting: Setting, case: Case, times_s: Array) -> dict[str, Flags]:
    """Flags of a case, by the channel's name.

    Parameters
    ----------
    study : Study
    setting : Setting
    case : Case
    times_s : ndarray (samples,)
        Of its record.

    Returns
    -------
    dict of ndarray (samples,)
    """
    scheme = scheme_of(study, setting.scheme)
    found = {FAULT: _since(times_s, 0.0)}
    if math.isfinite(case.cleared_s):
        found[OPEN] = _since(times_s, case.cleared_s)
    for number, element in enumerate(scheme.elements):
        if math.isfinite(case.setting_a[number]):
            trips_s = float(case.starts_s[number]) + setting.delay_of(element.axis)
            name = f"operated {scheme.element_name(number)}"
            found[name] = _since(times_s, trips_s)
    for number in case.gated:
        name = f"gate {scheme.element_name(number)}"
        found[name] = _held(
            case,
            times_s,
            case.gate_on[number],
        )
    return found


def told(channels: Mapping[str, Flags]) -> list[str]:
    """What the channels mean, a sentence each kind.

    Parameters
    ----------
    channels : mapping
        Of `statuses`.

    Returns
    -------
    list of str
    """
    kinds = [word for word in WORDS if any(name.startswith(word) for name in channels)]
    return [f"Status channel {word}: {WORDS[word]}" for word in kinds]


def _since(times_s: Array, at_s: float) -> Flags:
    """On from an instant on; never for NaN."""
    step_s = float(times_s[1] - times_s[0])
    return np.asarray(times_s >= at_s - NEAR * step_s)


def _held(case: Case, times_s: Array, on: Flags) -> Flags:
    """As the solution had it at the last step before each time."""
    steps = np.floor((times_s - case.times_s[0]) * case.rate_hz + NEAR)
    return np.asarray(on[np.clip(steps.astype(int), 0, on.size - 1)])
