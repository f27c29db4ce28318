"""The path of one case through the plane of bias and differential current, as a table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from montecarlo.study.axes import Setting
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.waveforms.bias_plane import Characteristic, biased_phase, characteristic
from studies.waveforms.cases import Case
from studies.waveforms.in_time import worst_of

if TYPE_CHECKING:
    import pandas as pd

TRAJECTORY = "trajectory"  # figure and table
SHOWN_S = 0.4  # of the event at least
AFTER_S = 0.05  # beyond the instant that comes nearest to a trip


@dataclass(frozen=True, eq=False)
class Path:
    """A case as the biased phase element sees it that comes nearest to a trip. trips_s: when that
    element trips, NaN if it does not."""

    name: str
    case: Case
    element: str
    trips_s: float
    characteristic: Characteristic
    frame: pd.DataFrame


def path_of(study: Study, setting: Setting, cases: Iterable[tuple[str, Case]]) -> Path | None:
    """Of the worst false trip by name, or of the external event closest below the setting; None
    without one, or without a biased phase element."""
    import pandas as pd

    scheme = scheme_of(study, setting.scheme)
    worst, elements = worst_of(cases), biased_phase(scheme)
    if not worst or not elements:
        return None
    # others may have another element trip alone
    name, case = max(worst, key=lambda one: min(nearest_of(one[1], elements)[0], 1.0))
    _, element = nearest_of(case, elements)
    nearest = int(np.argmax(case.difference_a[element] / case.threshold_a[element]))
    last_s = max(SHOWN_S, case.times_s[nearest] + AFTER_S)
    during = (case.times_s > -0.5 / case.rate_hz) & (case.times_s <= last_s)
    frame = pd.DataFrame(
        {
            "case": name,
            "element": scheme.element_name(element),
            "time_s": case.times_s,
            "bias_a": case.bias_a[element],
            "difference_a": case.difference_a[element],
            "operates_above_a": case.threshold_a[element],
        }
    )
    return Path(
        name,
        case,
        scheme.element_name(element),
        float(case.starts_s[element]) + setting.delay_of("phase"),
        characteristic(study, setting, scheme),
        frame[during].reset_index(drop=True),
    )


def nearest_of(case: Case, elements: Sequence[int]) -> tuple[float, int]:
    """The largest of some elements' quantities over their settings, and whose it is."""
    return max((float(case.quantity_a[k] / case.setting_a[k]), k) for k in elements)


def at_every_ms(path: Path) -> pd.DataFrame:
    """The rows nearest to each millisecond."""
    times = path.frame["time_s"].to_numpy()
    whole = np.arange(0, math.floor(1000 * times[-1] + 1e-6) + 1) / 1000
    return path.frame.iloc[[int(np.argmin(np.abs(times - time))) for time in whole]]
