"""A case at the sampling rate of its record."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from montecarlo.quantities import Array
from montecarlo.sampling.stratum import EVOLVING
from montecarlo.study.description import Study
from studies.waveforms.cases import Case
from studies.waveforms.resampling import band_limited


@dataclass(frozen=True, eq=False)
class Sampled:
    """times_s (samples,), the event begins at 0, which is one of them; cts_a (ct, samples) what
    each CT delivers into its lead, legs_a (legs, samples) [A secondary]."""

    rate_hz: float
    times_s: Array
    cts_a: Array
    legs_a: Array

    @property
    def peak_a(self) -> float:
        """Largest current of a CT. [A secondary]"""
        return float(np.abs(self.cts_a).max())

    @property
    def before_s(self) -> float:
        """From the first sample to the event. [s]"""
        return -float(self.times_s[0])

    @property
    def lasts_s(self) -> float:
        """[s]"""
        return self.times_s.size / self.rate_hz


def external_s(study: Study, case: Case) -> float:
    """How long an external fault may have lasted when the internal one begins. [s]"""
    evolving = study.internal_faults.evolving
    return evolving.longest_s if case.stratum == EVOLVING and evolving is not None else 0.0


def sampled(study: Study, case: Case) -> Sampled:
    """The currents as the record has them, from the solution of the case, which has finer steps and
    begins earlier."""
    rate_hz = study.waveforms.sampling_rate_hz
    before_s = study.waveforms.before_s + external_s(study, case)
    last = math.floor(case.times_s[-1] * rate_hz + 1e-6)
    times_s = np.arange(-round(before_s * rate_hz), last + 1) / rate_hz
    solved = np.concatenate([case.cts_a, case.legs_a])
    # the last cycle goes on, so that the record can end with it
    cycle = round(case.rate_hz / study.machine.frequency_hz)
    solved = np.concatenate([solved, solved[:, -cycle:]], axis=1)
    values = band_limited(solved, case.times_s[0], 1 / case.rate_hz, times_s)
    cts = len(case.cts_a)
    return Sampled(rate_hz, times_s, values[:cts], values[cts:])
