"""Options of earthing the neutral side by side, each at its own best setting, on the same sampled
events."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from montecarlo.engine.guard import Unresolved, named
from montecarlo.engine.progress import Progress, named_progress
from montecarlo.engine.run import Outcome
from montecarlo.engine.side_by_side import run_variants
from montecarlo.engine.workers import Workers, workers_of
from montecarlo.estimates.compare import level_of
from montecarlo.estimates.intervals import Estimate, student
from montecarlo.formulas.handcalc import capacitive_limit_ohm
from montecarlo.frames.limits import difference_columns, with_limits
from montecarlo.frames.result import Result
from montecarlo.frames.several import COST, Several
from montecarlo.plant.earthing import EarthingOption
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.axes import KEYS
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal
from studies.earthing.lasting import EarthFaults, sample_earth_faults

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ENERGIES", "Options", "run_options"]

QUANTILES = {"p05": 0.05, "median": 0.5, "p95": 0.95}  # over sampled faults
ENERGIES = ("fault_energy_j", "resistor_energy_j")
DIFFERENCE = ("option", "minus", "quantity", "unit", "difference", "low", "high", "verdict")
UNITS = {"p_missed": "-", "p_false": "-", "cost_per_year": "", **dict.fromkeys(ENERGIES, "J")}
OF_CANDIDATE = (
    "candidate",
    "scheme",
    *KEYS,
    *with_limits("p_missed", "p_false"),
    "p_false_bound",
    "missed_per_year",
    "false_per_year",
    "covered_median",
    "covered_p05",
    "covered_p95",
)


def run_options(
    study: Study, *, workers: int | Workers | None = None, progress: Progress | None = None
) -> Options:
    """Run every option of the study, then the earth faults of their common fresh batch at each
    one's choice."""
    tell, crew = progress or (lambda done, total, what: None), workers_of(workers)
    variants = run_variants(dict(study.options), workers=crew, progress=progress)
    fresh = [
        outcome.fresh.round_
        for outcome in variants.outcomes.values()
        if outcome.chosen and outcome.fresh
    ]

    return Options(
        study,
        variants,
        {
            name: sample_earth_faults(
                outcome.study,
                outcome.chosen,
                round_=max(fresh, default=1),
                workers=crew,
                progress=named_progress(tell, name),
            )
            for name, outcome in variants.outcomes.items()
        },
    )


@dataclass(frozen=True, eq=False)
class Options(Several):
    """Of options of earthing, with the earth faults of each one's choice."""

    faults: dict[str, EarthFaults]
    column: ClassVar[str] = "option"

    @property
    def unresolved_rows(self) -> tuple[Unresolved, ...]:
        """Samples without a result of all of them, earth faults whose energy is told among them."""
        return (
            *super().unresolved_rows,
            *(
                row
                for name, outcome in self.variants.outcomes.items()
                for row in named(self.faults[name].unresolved(outcome.study, outcome.chosen), name)
            ),
        )

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row an option: its resistor, its best setting and what that is worth, its earth
        faults."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "option": option.name,
                    **_resistor(self.results[option.name].study),
                    **_choice(self.results[option.name]),
                    **_faults(self.faults[option.name], self.study.machine.phase_voltage_v, option),
                }
                for option in self.study.earthing_options
            ]
        )

    @cached_property
    def differences(self) -> pd.DataFrame:
        """One row a pair of options and a quantity: the first minus the second on the same faults
        and events, with limits of each quantity that hold for all pairs together with 95 %."""
        import pandas as pd

        rows = []
        pairs = [*combinations(self.faults, 2)]
        found, level = self.variants.differences(pairs), level_of(len(pairs))
        for one, other in pairs:
            gaps = {**found.get((one, other), {}), **self._energy(one, other, level)}
            for quantity, gap in gaps.items():
                rows.append(
                    {
                        "option": one,
                        "minus": other,
                        "quantity": quantity,
                        "unit": self._unit(quantity),
                        **difference_columns(gap),
                    }
                )
        return pd.DataFrame(rows, columns=list(DIFFERENCE))

    @cached_property
    def inputs(self) -> pd.DataFrame:
        """Every number and distribution, and of which option; "all" where all have it alike."""
        every = self.joined("inputs")
        same = [*every.columns.drop("option")]
        alike = every.groupby(same, sort=False)["option"].transform("size") == len(self.results)
        every["option"] = every["option"].where(~alike, "all")
        return every.drop_duplicates(ignore_index=True)[["option", *same]]

    @cached_property
    def rare(self) -> pd.DataFrame:
        """`Result.rare` of every option; empty where counted only."""
        return self.joined("rare")

    def _energy(self, one: str, other: str, level: float) -> dict[str, Estimate]:
        sides = [_energies(self.faults[name]) for name in (one, other)]
        return {
            name: student(sides[0][name] - sides[1][name], level)
            for name in ENERGIES
            if all(np.isfinite(side[name]).all() for side in sides)
        }

    def _unit(self, quantity: str) -> str:
        cost = self.study.policy.least_annual_cost
        return (
            f"{cost.unit} a year"
            if cost is not None and quantity == "cost_per_year"
            else UNITS[quantity]
        )


# --- the columns of a row -----------------------------------------------------


def _resistor(option: Study) -> dict[str, Any]:
    """At the centre of its inputs: the machine's own neutral, and the rule of the capacitive
    current."""
    nominal = Nominal(option)
    limit = float(capacitive_limit_ohm(option.machine.omega, nominal.capacitance_f))
    neutrals = nominal.neutral_ohm
    return {
        "neutrals_ohm": neutrals,
        "capacitive_limit_ohm": limit,
        "keeps_capacitive_rule": neutrals <= limit,
    }


def _choice(result: Result) -> dict[str, Any]:
    """Its best setting that the policy allows, from the fresh batch; blank without one."""
    row = (
        {}
        if result.chosen is None
        else result.candidates.set_index("candidate", drop=False).loc[result.chosen].to_dict()
    )
    blank = {"scheme": ""}
    costs = () if result.study.policy.least_annual_cost is None else COST
    found = {key: row.get(key, blank.get(key, np.nan)) for key in (*OF_CANDIDATE, *costs)}
    return found | dict(
        zip(
            ("p_missed_earth", "p_missed_earth_low", "p_missed_earth_high"),
            _missed_earth(result.outcome),
            strict=True,
        )
    )


def _missed_earth(outcome: Outcome) -> tuple[float, float, float]:
    if outcome.chosen is None or outcome.fresh is None:
        return np.nan, np.nan, np.nan
    at, found = outcome.fresh.settings.index(outcome.chosen), outcome.fresh.strata[EARTH].estimate()
    return float(found.p[at]), float(found.low[at]), float(found.high[at])


def _faults(faults: EarthFaults, phase_v: float, option: EarthingOption) -> dict[str, Any]:
    """Quantiles over the sampled earth faults, mean energies with limits over the blocks, and the
    rating."""
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
            mean = student(_energies(faults)[name])
            columns |= {
                f"{name}_mean": mean.p,
                f"{name}_mean_low": mean.low,
                f"{name}_mean_high": mean.high,
            }
    unseen = np.where(faults.seen == 1, 0.0, faults.fault_j)
    total = np.nansum(faults.fault_j)
    columns["unseen_share_of_fault_energy"] = (
        min(float(np.nansum(unseen) / total), 1.0) if total > 0 else np.nan
    )
    columns["unresolved"] = (
        int(np.isnan(faults.seen).sum()) if np.isfinite(faults.seen).any() else 0
    )
    return columns | _rating(faults, option)


def _rating(faults: EarthFaults, option: EarthingOption) -> dict[str, float]:
    """The neutral's current and heat over what the resistor is rated for; NaN without a rating."""
    if option.rated_current_a is None or option.rated_time_s is None:
        current, heat = np.full((2, 1), np.nan)
        rated = np.nan, np.nan
    else:
        rated = option.rated_current_a, option.rated_time_s
        current, heat = (
            faults.solid_neutral_a / rated[0],
            faults.neutral_a2s / (rated[0] ** 2 * rated[1]),
        )
    known = np.isfinite(heat)
    return {
        "rated_current_a": rated[0],
        "rated_time_s": rated[1],
        "terminal_current_over_rated_p95": _quantile(current, 0.95),
        "heat_over_rated_p95": _quantile(heat, 0.95),
        "beyond_rating_share": float((heat[known] > 1).mean()) if known.any() else np.nan,
    }


def _quantile(values: Array, share: float) -> float:
    known = values[np.isfinite(values)]
    return float(np.quantile(known, share)) if known.size else float("nan")


def _energies(faults: EarthFaults) -> dict[str, Array]:
    """Means over each block's faults with a result, (blocks,)."""
    found = {}
    for name, values in zip(ENERGIES, (faults.fault_j, faults.resistor_j), strict=True):
        known = np.isfinite(values)
        count = known.sum(axis=1)
        found[name] = np.divide(
            np.where(known, values, 0.0).sum(axis=1),
            count,
            out=np.full(len(values), np.nan),
            where=count > 0,
        )
    return found
