"""Options of earthing the neutral side by side, each at its own best setting, on the same sampled
events."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from montecarlo.engine.guard import Unresolved, named
from montecarlo.engine.keep import KeepRows
from montecarlo.engine.progress import Progress, named_progress, silent
from montecarlo.engine.side_by_side import run_alternatives
from montecarlo.engine.workers import Workers, workers_of
from montecarlo.estimates.compare import level_of
from montecarlo.estimates.intervals import Estimate, student
from montecarlo.formulas.handcalc import capacitive_limit_ohm
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.limits import difference_columns, limit_columns, with_limits
from montecarlo.frames.result import Result
from montecarlo.frames.several import COST, Several, choice_columns
from montecarlo.plant.earthing import EarthingOption
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.axes import KEYS
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal
from studies.clearing.several import columns, follow, gaps
from studies.earthing.lasting import EarthFaults, sample_earth_faults

if TYPE_CHECKING:
    import pandas as pd

QUANTILES = {"p05": 0.05, "median": 0.5, "p95": 0.95}  # over sampled faults
ENERGIES = {"fault_energy_j": "fault_j", "resistor_energy_j": "resistor_j"}
DIFFERENCE = ("option", "minus", "quantity", "unit", "difference", "low", "high", "verdict")
OF_CHOICE = (
    "candidate",
    "scheme",
    *KEYS,
    *with_limits("p_missed", "p_false"),
    "p_false_bound",
    "missed_per_year",
    "false_per_year",
    "protected_median",
    "protected_p05",
    "protected_p95",
)


def run_options(
    study: Study,
    *,
    workers: int | Workers | None = None,
    progress: Progress = silent,
    keep_samples: KeepRows | None = None,
) -> Options:
    """Run every option of the study, then the earth faults of their common fresh batch at each
    one's choice, and who clears its internal faults.

    Parameters
    ----------
    study : Study
    workers : int or Workers, optional
    progress : callable, optional
    keep_samples : KeepRows, optional
        Takes the samples of each option's own batch.

    Returns
    -------
    Options
    """
    crew = workers_of(workers)
    alternatives = run_alternatives(
        dict(study.options), workers=crew, progress=progress, keep_samples=keep_samples
    )
    outcomes = alternatives.outcomes
    fresh = [each.fresh.round_ for each in outcomes.values() if each.chosen and each.fresh]
    common = max(fresh, default=1)
    faults = {
        name: sample_earth_faults(
            outcome.study, outcome.chosen, common, crew, named_progress(progress, name)
        )
        for name, outcome in outcomes.items()
    }
    return Options(study, alternatives, faults, follow(outcomes, common, crew, progress))


@dataclass(frozen=True, eq=False)
class Options(Several):
    """Of options of earthing, with the earth faults of each one's choice, and who clears faults
    where that is asked."""

    faults: dict[str, EarthFaults]
    clearing: dict[str, ClearingFrames]  # of options with a setting
    column: ClassVar[str] = "option"

    @property
    def unresolved_rows(self) -> tuple[Unresolved, ...]:
        """Samples without a result of all of them, earth faults whose energy is told among them."""
        return (
            *super().unresolved_rows,
            *(
                row
                for name, outcome in self.alternatives.outcomes.items()
                for row in named(self.faults[name].unresolved(outcome.study, outcome.chosen), name)
            ),
            *(
                row
                for name, frames in self.clearing.items()
                for row in named(frames.clearing.unresolved(), name)
            ),
        )

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row an option: its resistor, its best setting and what that is worth, its earth
        faults."""
        import pandas as pd

        phase_v = self.study.machine.phase_voltage_v
        rows = []
        for option in self.study.earthing_options:
            name = option.name
            row = {
                "option": name,
                **_resistor(self.results[name].study),
                **_choice(self.results[name]),
                **_faults(self.faults[name], phase_v),
                **_rating(self.faults[name], option),
            }
            if name in self.clearing:
                row |= columns(self.clearing[name], row)
            rows.append(row)
        return pd.DataFrame(rows)

    @cached_property
    def differences(self) -> pd.DataFrame:
        """One row a pair of options and a quantity: the first minus the second on the same faults
        and events, with limits of each quantity that hold for all pairs together with 95 %."""
        import pandas as pd

        cost = self.study.policy.least_annual_cost
        units = dict.fromkeys(ENERGIES, "J") | {"damage_mean_s": "s"}
        if cost is not None:
            a_year = f"{cost.unit} a year"
            units |= {"cost_per_year": a_year, "decision_cost_per_year": a_year}
        pairs = [*combinations(self.faults, 2)]
        found, level = self.alternatives.differences(pairs), level_of(len(pairs))
        trips = self.alternatives.trip_cost_differences(pairs)
        rows = []
        for one, other in pairs:
            paired = found.get((one, other), {})
            if one in self.clearing and other in self.clearing:
                clearing = self.clearing[one], self.clearing[other]
                paired = paired | gaps(*clearing, trips.get((one, other)), level_of(len(found)))
            for quantity, gap in (paired | self._energy(one, other, level)).items():
                row = {"option": one, "minus": other, "quantity": quantity}
                rows.append(row | {"unit": units.get(quantity, "-"), **difference_columns(gap)})
        return pd.DataFrame(rows, columns=list(DIFFERENCE))

    @cached_property
    def inputs(self) -> pd.DataFrame:
        """Every number and distribution, and of which option; "all" where all have it alike."""
        every = self.joined("inputs")
        same = [*every.columns.drop("option")]
        alike = every.groupby(same, sort=False)["option"].transform("size") == len(self.results)
        every["option"] = every["option"].where(~alike, "all")
        return every.drop_duplicates(ignore_index=True)[["option", *same]]

    def _energy(self, one: str, other: str, level: float) -> dict[str, Estimate]:
        gaps = {
            name: _means(self.faults[one], name) - _means(self.faults[other], name)
            for name in ENERGIES
        }
        return {name: student(gap, level) for name, gap in gaps.items() if np.isfinite(gap).all()}


# --- the columns of a row -----------------------------------------------------


def _resistor(option: Study) -> dict[str, Any]:
    """At the centre of its inputs: the machine's own neutral, and the rule of the capacitive
    current."""
    nominal = Nominal(option)
    limit = float(capacitive_limit_ohm(option.machine.omega, nominal.capacitance_f))
    return {
        "neutrals_ohm": nominal.neutral_ohm,
        "largest_neutrals_ohm": nominal.largest_neutral_ohm,
        "capacitive_limit_ohm": limit,
        "keeps_capacitive_rule": nominal.largest_neutral_ohm <= limit,
    }


def _choice(result: Result) -> dict[str, Any]:
    """Its best setting that the policy allows, from the fresh batch; blank without one."""
    chosen, fresh = result.outcome.chosen, result.outcome.fresh
    costs = () if result.study.policy.least_annual_cost is None else COST
    earth: Iterable[Any] = (np.nan, np.nan, np.nan)
    if chosen and fresh:
        at = fresh.settings.index(chosen)
        earth = (part[at] for part in fresh.strata[EARTH].estimate())
    return choice_columns(result, (*OF_CHOICE, *costs)) | limit_columns("p_missed_earth", earth)


def _faults(faults: EarthFaults, phase_v: float) -> dict[str, Any]:
    """Quantiles over the sampled earth faults, and mean energies with limits over the blocks."""
    columns: dict[str, Any] = {}
    for name, values in (
        ("terminal_fault_a", faults.solid_fault_a),
        ("terminal_displacement", faults.solid_neutral_v / phase_v),
        ("displacement", faults.neutral_v / phase_v),
        ("lasts_s", faults.lasts_s),
        ("fault_heat_a2s", faults.fault_a2s),
        ("fault_energy_j", faults.fault_j),
        ("resistor_energy_j", faults.resistor_j),
    ):
        columns |= {f"{name}_{word}": _quantile(values, share) for word, share in QUANTILES.items()}
        if name in ENERGIES:
            columns |= limit_columns(f"{name}_mean", student(_means(faults, name)))
    unseen, total = (
        np.nansum(np.where(faults.seen == 1, 0.0, faults.fault_j)),
        np.nansum(faults.fault_j),
    )
    lost = np.isnan(faults.seen)
    columns["unseen_share_of_fault_energy"] = (
        min(float(unseen / total), 1.0) if total > 0 else np.nan
    )
    columns["unresolved"] = 0 if lost.all() else int(lost.sum())
    return columns


def _rating(faults: EarthFaults, option: EarthingOption) -> dict[str, float]:
    """The neutral's current and heat over what the resistor is rated for; NaN without a rating."""
    rated_a, rated_s = option.rated_current_a or np.nan, option.rated_time_s or np.nan
    heat = faults.neutral_a2s / (rated_a**2 * rated_s)
    known = heat[np.isfinite(heat)]
    return {
        "rated_current_a": rated_a,
        "rated_time_s": rated_s,
        "terminal_current_over_rated_p95": _quantile(faults.solid_neutral_a / rated_a, 0.95),
        "heat_over_rated_p95": _quantile(heat, 0.95),
        "beyond_rating_share": float((known > 1).mean()) if known.size else np.nan,
    }


def _quantile(values: Array, share: float) -> float:
    known = values[np.isfinite(values)]
    return float(np.quantile(known, share)) if known.size else np.nan


def _means(faults: EarthFaults, energy: str) -> Array:
    """Over each block's faults with a result, (blocks,)."""
    values: Array = getattr(faults, ENERGIES[energy])
    count = np.isfinite(values).sum(axis=1)
    return np.asarray(np.nansum(values, axis=1) / np.where(count > 0, count, np.nan))
