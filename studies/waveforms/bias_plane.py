"""Where the first samples of every type lie in the plane of bias and differential current, on the
circuit of one setting with biased phase elements."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.estimates.choose import weights_of
from montecarlo.quantities import Array
from montecarlo.relays.schemes import Scheme
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.secondary.restraint import Form, threshold
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.circuits import bias_form, scheme_of
from montecarlo.study.description import Study
from montecarlo.study.strata import strata
from studies.waveforms.in_time import as_csv
from studies.waveforms.instants import instants

if TYPE_CHECKING:
    import pandas as pd

SAMPLES = 1024  # first samples of each type, at least one an installation
MOST_EVENTS = 6  # external events that are looked at, the most frequent ones
BAND = 0.05, 0.95  # quantiles of the pick-up error


@dataclass(frozen=True)
class Characteristic:
    """What a biased phase element is set to. rated_a: the machine's rated current through the
    relay; single_fed: I_d over I_b where one end alone feeds, None where I_b is then 0; error: 5th
    and 95th percentile of the pick-up error [-]; others: elements of
    other kinds there are; high_set_a: pick-up of unrestrained phase elements, None without."""

    rated_a: float
    pickup_a: float
    form: Form
    delay_s: float
    single_fed: float | None
    error: tuple[float, float]
    others: bool
    high_set_a: float | None = None

    @property
    def turning_point_a(self) -> float | None:
        """Bias current at which the second slope begins. [A]"""
        _, first, second, at, _ = self.form
        return at if at > 0 and first != second else None

    def above(self, bias_pu: Array, error: float = 0.0) -> Array:
        """Differential current above which it trips. [pu]"""
        bias_a = bias_pu * self.rated_a
        return threshold(self.pickup_a * (1 + error), bias_a, self.form) / self.rated_a


@dataclass(frozen=True, eq=False)
class Plane:
    """Critical instants, a row a sample with a result, and the characteristic. drawn, unresolved:
    samples of each type, and those without a result; shares: of the types of internal faults;
    left_out: less frequent events."""

    frame: pd.DataFrame
    characteristic: Characteristic
    drawn: Mapping[str, int]
    unresolved: Mapping[str, int]
    shares: Mapping[str, float]
    left_out: tuple[str, ...]

    def of(self, event: str) -> Plane:
        """What the figure of one event needs."""
        mine = self.frame["side"].eq(Side.INTERNAL.value) | self.frame["type"].eq(event)
        return replace(self, frame=self.frame[mine].reset_index(drop=True))

    def table(self) -> bytes:
        """As CSV."""
        words = {True: "true", False: "false", None: ""}
        told = {name: self.frame[name].map(words) for name in ("above", "after_clearing")}
        return as_csv(self.frame.assign(**told))


def bias_plane(study: Study, setting: Setting) -> Plane | None:
    """Solve the first samples of every type once more; None without a biased phase element.

    Parameters
    ----------
    study : Study
    setting : Setting

    Returns
    -------
    Plane or None
    """
    import pandas as pd

    scheme = scheme_of(study, setting.scheme)
    if not biased_phase(scheme):
        return None
    looked_at, left_out = _looked_at(study)
    job = _job(study, setting)
    found: list[pd.DataFrame] = []
    drawn, unresolved = dict[str, int](), dict[str, int]()
    for stratum in looked_at:
        parts = [instants(job, chunk) for chunk in job.design_of(stratum).chunks(stratum)]
        frame = pd.concat(parts, ignore_index=True)
        resolved = frame["difference_a"].notna()
        drawn[stratum.kind], unresolved[stratum.kind] = len(frame), int((~resolved).sum())
        found.append(frame[resolved])
    weights = weights_of(study)
    shares = {one.kind: part for one, part in zip(weights.internal, weights.shares, strict=True)}
    return Plane(
        pd.concat(found, ignore_index=True),
        characteristic(study, setting, scheme),
        drawn,
        unresolved,
        shares,
        left_out,
    )


def _job(study: Study, setting: Setting) -> Job:
    counted, earth = designs(study)
    return Job(
        study.alone,
        lattices_of(study, setting),
        replace(counted, samples=min(counted.samples, SAMPLES)),
        replace(earth, samples=min(earth.samples, SAMPLES)),
    )


def biased_phase(scheme: Scheme) -> list[int]:
    """Its phase elements with bias."""
    return [k for k in scheme.of("phase") if scheme.elements[k].bias]


def _looked_at(study: Study) -> tuple[list[Stratum], tuple[str, ...]]:
    """Internal faults and the most frequent external events, in the study's order; names of the
    other events."""
    weights = weights_of(study)
    rates = dict(zip(weights.external, weights.rates, strict=True))
    every = strata(study)
    external = [one for one in every if one.side is Side.EXTERNAL]
    frequent = sorted(external, key=lambda one: -rates[one])[:MOST_EVENTS]
    kept = [one for one in every if one.side is Side.INTERNAL or one in frequent]
    return kept, tuple(one.kind for one in external if one not in frequent)


def characteristic(study: Study, setting: Setting, scheme: Scheme) -> Characteristic:
    """Of a setting with biased phase elements.

    Parameters
    ----------
    study : Study
    setting : Setting
    scheme : Scheme
        The setting's.

    Returns
    -------
    Characteristic
    """
    (lattice,) = lattices_of(study, setting)
    key = "relay.pickup_error_percent"
    (error,) = (item.distribution for item in list_inputs(study) if item.key == key)
    low, high = error.ppf(np.array(BAND)).tolist()
    ends = len(scheme.elements[biased_phase(scheme)[0]].bias)
    single_fed = {"mean": float(ends), "vector_mean": 2.0, "scalar_product": None}
    return Characteristic(
        study.machine.rated_current_a / study.ct.stating.leg_ratio,
        lattice.phase_pickup_a[0],
        bias_form(study, lattice.bias),
        lattice.delay_s[0],
        single_fed.get(study.scheme.bias_current_of("phase"), 1.0),
        (low / 100, high / 100),
        len(scheme.elements) > len(scheme.of("phase")),
        setting.high_set_pickup_a,
    )


def events_of(plane: Plane) -> Iterable[str]:
    """External events that have samples with a result."""
    external = plane.frame["side"].eq(Side.EXTERNAL.value)
    return dict.fromkeys(plane.frame.loc[external, "type"])
