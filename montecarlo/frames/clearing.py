"""Who clears internal faults, what may fail, how often to test, and the damage, as tidy frames."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.clearing import Burnt, Cleared, Clearing
from montecarlo.engine.clearing_paths import RATES, stated_case
from montecarlo.engine.sizes import designs
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import Estimate, ratio, student, student_mean
from montecarlo.formulas.dependability import annual_cost
from montecarlo.frames.limits import limit_columns
from montecarlo.quantities import Array
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import EARTH
from montecarlo.sampling.transform import all_installations
from montecarlo.study.strata import internal_shares

if TYPE_CHECKING:
    import pandas as pd

ALL, NOBODY = "all", "nobody"
RATE_WORDS = dict(zip(RATES, ("none", "a third", "as stated", "three times"), strict=True))
PART, PATH = "part", "path"


@dataclass(frozen=True, eq=False)
class ClearingFrames:
    """Tables of one setting that was followed to who clears faults."""

    clearing: Clearing

    @property
    def names(self) -> tuple[str, ...]:
        """Paths, then nobody."""
        return (*self.clearing.paths, NOBODY)

    @cached_property
    def _shares(self) -> dict[Any, float]:
        """Of the fault types within the scheme's scope; they sum to 1."""
        weight = weights_of(self.clearing.study)
        return dict(zip(weight.internal, weight.shares, strict=True))

    def _by_block(self, case: tuple[float, float]) -> dict[Any, Array]:
        """Means of each block (J + 1, blocks), by type and over all within the scope."""
        at = self.clearing.cases.index(case)
        return self._by_type(lambda one: one.sums[at])

    def _by_type(self, sums: Callable[[Cleared], Array]) -> dict[Any, Array]:
        """Of sums over faults, their means (..., blocks), by type and over all in the scope."""
        found = {
            name: np.stack([ratio(sums(one), one.faults) for one in blocks], axis=-1)
            for name, blocks in self.clearing.cleared.items()
        }
        shares = {name: share for name, share in self._shares.items() if name in found}
        scale = 1.0 if len(shares) == len(self._shares) else 1 / sum(shares.values())
        whole = sum(scale * share * found[name] for name, share in shares.items())
        return {ALL: np.asarray(whole), **found}

    @cached_property
    def _trials(self) -> dict[Any, float]:
        """Faults with a result by type; for limits of all types together those of the fewest."""
        found = {
            name: float(sum(one.faults[0] for one in blocks))
            for name, blocks in self.clearing.cleared.items()
        }
        return {ALL: min(found.values()), **found}

    def nobody(self, case: tuple[float, float] | None = None) -> Estimate:
        """P(nobody clears) over the types within the scope, with limits. [-]

        Parameters
        ----------
        case : (float, float), optional
            Factors of rates and intervals; as stated unless given.

        Returns
        -------
        Estimate
        """
        return student_mean(self._by_block(case or self.stated)[ALL][-1], trials=self._trials[ALL])

    @property
    def stated(self) -> tuple[float, float]:
        """The case of failures as the study states them."""
        return stated_case(self.clearing.study)

    # --- tables ---------------------------------------------------------------

    def who_clears(self) -> pd.DataFrame:
        """The table who_clears.csv: a row a type, failure rates and path.

        Returns
        -------
        DataFrame
            `p` with limits [-], `per_year` [1/year]: "all" and what is outside the scope add up to
            all internal faults.
        """
        import pandas as pd

        return pd.DataFrame([*self._who_rows()])

    def _who_rows(self) -> Iterator[dict[str, Any]]:
        study = self.clearing.study
        weight = weights_of(study)
        shares: dict[Any, float] = {ALL: weight.in_scope, **internal_shares(study)}
        for case in (one for one in self.clearing.cases if one in RATES):
            for name, means in self._by_block(case).items():
                for path, row in zip(self.names, means, strict=True):
                    limits = student_mean(row, trials=self._trials[name])
                    yield {
                        "type": name if name == ALL else name.kind,
                        "failure_rates": RATE_WORDS[case],
                        "path": path,
                        **limit_columns("p", limits),
                        "per_year": weight.internal_per_year * shares[name] * float(limits.p),
                    }

    def dependability(self) -> pd.DataFrame:
        """The table dependability.csv: a row a part, then a row a path; empty without
        [dependability].

        Returns
        -------
        DataFrame
            `p_failure`: of a part, or of any part of a path, on demand. `p_missed_element`: the
            path sees too little of a fault; `p_missed_both`: that, or a part of it fails [-].
        """
        import pandas as pd

        if self.clearing.study.dependability is None:
            return pd.DataFrame()
        return pd.DataFrame([*self._part_rows(), *self._path_rows()])

    def _part_rows(self) -> Iterator[dict[str, Any]]:
        study = self.clearing.study
        found = study.dependability
        assert found is not None
        drawn = all_installations(
            list_inputs(study),
            study.ties,
            seed=study.study.seed,
            design=designs(study)[0],
            round_=self.clearing.round_,
        )
        for part in found.parts:
            fails = found.failure(part, drawn)
            yield {
                "what": PART,
                "name": part.name,
                "paths": " ".join(part.paths),
                "proof_test_years": found.interval_years(part),
                "dangerous_per_year": part.dangerous_per_year.mean(),
                "spurious_per_year": part.spurious_per_year.mean(),
                "p_failure": float(fails.mean()),
                "p_failure_p05": float(np.quantile(fails, 0.05)),
                "p_failure_p95": float(np.quantile(fails, 0.95)),
            }

    def _path_rows(self) -> Iterator[dict[str, Any]]:
        alone = self._by_type(lambda one: one.alone)[ALL]
        for at, path in enumerate(self.clearing.paths):
            sees, works, both = alone[:, at]
            missed, whichever = (
                student_mean(1 - p, trials=self._trials[ALL]) for p in (sees, both)
            )
            yield {
                "what": PATH,
                "name": path,
                "p_failure": 1 - float(works.mean()),
                **limit_columns("p_missed_element", missed),
                **limit_columns("p_missed_both", whichever),
            }

    def unwanted_per_year(self) -> float:
        """Trips of the parts themselves, without any event. [1/year]

        Returns
        -------
        float
            0 without [dependability].
        """
        found = self.clearing.study.dependability
        return sum(part.spurious_per_year.mean() for part in found.parts) if found else 0.0

    def tests(self) -> pd.DataFrame:
        """The table test_intervals.csv: a row a factor of all intervals between tests; empty
        without [dependability].

        Returns
        -------
        DataFrame
            `cost_per_year`: of faults that nobody clears and of tests, where the policy weighs
            costs.
        """
        import pandas as pd

        study = self.clearing.study
        if (found := study.dependability) is None:
            return pd.DataFrame()
        weight, cost = weights_of(study), study.policy.least_annual_cost
        a_year = weight.internal_per_year * weight.in_scope
        rows = []
        for case in sorted(case for case in self.clearing.cases if case[0] == 1):
            limits, years = self.nobody(case), case[1] * found.proof_test_years
            row = {"interval_factor": case[1], "proof_test_years": years}
            row |= limit_columns("p_nobody", limits)
            if cost is not None:
                costs = annual_cost(
                    years,
                    np.array(limits),
                    faults_per_year=a_year,
                    missed_fault=cost.missed_fault,
                    test=found.test_cost,
                )
                row |= limit_columns("cost_per_year", costs)
            rows.append(row)
        return pd.DataFrame(rows)

    # --- damage ---------------------------------------------------------------

    def damage(self) -> pd.DataFrame:
        """The table damage.csv: a row for all earth faults, then a row a path; empty without
        [damage].

        Returns
        -------
        DataFrame
            `p` of the path with limits [-], `mean_s` its part of the mean of all, with limits;
            `median_s` and `p95_s` of the faults that it clears [s of damage.reference_a];
            `after_opening_share` of this damage [-]; iron that may melt [cm3].
        """
        import pandas as pd

        if self.clearing.burnt is None:
            return pd.DataFrame()
        columns: list[tuple[str, int | slice]] = [(ALL, slice(None))]
        columns += [(name, at) for at, name in enumerate(self.names)]
        return pd.DataFrame([self._damage_row(name, at) for name, at in columns])

    def _damage_row(self, name: str, at: int | slice) -> dict[str, Any]:
        blocks = self.clearing.burnt
        assert blocks is not None
        weight, harm, after, iron = (
            np.concatenate([getattr(one, part)[:, at].ravel() for one in blocks])
            for part in ("weight", "equivalent_s", "after_share", "iron_cm3")
        )
        known = np.isfinite(weight) & (weight > 0)
        weight, harm, after, iron = (one[known] for one in (weight, harm, after, iron))
        total = float((weight * harm).sum())
        p = student_mean(_means(blocks, at, None), trials=self._trials[EARTH])
        return {
            "path": name,
            **limit_columns("p", (1.0, 1.0, 1.0) if name == ALL else p),
            **limit_columns("mean_s", student(_means(blocks, at, "equivalent_s"))),
            **{f"{word}_s": _quantile(harm, weight, q) for word, q in QUANTILES.items()},
            "after_opening_share": float((weight * harm * after).sum()) / total if total else 0.0,
            **{f"iron_{word}_cm3": _quantile(iron, weight, q) for word, q in QUANTILES.items()},
        }

    def above(self, points: int) -> tuple[Array, Array, Array]:
        """How many earth faults do more than a damage, and how many of these nobody clears.

        Parameters
        ----------
        points : int
            Damages in even steps of their logarithm, from the least to the most.

        Returns
        -------
        (points,) array (s), (points,) array (-), (points,) array (-)
        """
        blocks = self.clearing.burnt
        assert blocks is not None
        weight, harm = (
            np.concatenate([getattr(one, part) for one in blocks])
            for part in ("weight", "equivalent_s")
        )
        weight = np.where(np.isfinite(weight), weight, 0.0)
        some = harm[(weight > 0) & (harm > 0)]
        ends = (some.min(), some.max()) if some.size else (1.0, 10.0)
        seconds = np.geomspace(ends[0], max(ends[1], 1.01 * ends[0]), points)
        total = weight.sum()
        shares = []
        for columns in (slice(None), slice(-1, None)):
            one, own = harm[:, columns].ravel(), weight[:, columns].ravel()
            order = np.argsort(one)
            up_to = np.concatenate([[0.0], np.cumsum(own[order])])
            found = up_to[np.searchsorted(one[order], seconds, side="right")]
            shares.append((up_to[-1] - found) / total)
        return seconds, shares[0], shares[1]

    def zones(self) -> pd.DataFrame:
        """The table damage_zones.csv: a row a zone; empty without zones.

        Returns
        -------
        DataFrame
            `p` that the damage of an earth fault ends in the zone, with limits [-].
        """
        import pandas as pd

        given, blocks = self.clearing.study.damage, self.clearing.burnt
        if given is None or blocks is None or not given.zones:
            return pd.DataFrame()
        ends = [(zone.name, zone.current_a, zone.time_s) for zone in given.zones]
        ends.append((given.beyond, np.nan, np.nan))
        return pd.DataFrame(
            [
                {
                    "zone": name,
                    "up_to_a": current,
                    "for_s": time,
                    **limit_columns(
                        "p", student_mean(_in_zone(blocks, at), trials=self._trials[EARTH])
                    ),
                }
                for at, (name, current, time) in enumerate(ends)
            ]
        )

    def cost_of_damage(self) -> Estimate | None:
        """Mean cost of the damage of an earth fault, with limits; None where it is not given.

        Returns
        -------
        Estimate or None
            In the unit of the policy's costs.
        """
        means = self.block_means().get("cost_of_damage")
        return None if means is None else student(means)

    # --- over blocks ----------------------------------------------------------

    def block_means(self) -> dict[str, Array]:
        """Means of each block of installations, for differences between runs on the same faults.

        Returns
        -------
        dict of (blocks,) array
            "p_nobody" (-); with [damage] "damage_mean_s" (s of the reference current); where its
            cost is given "cost_of_damage" (unit of the costs).
        """
        found = {"p_nobody": self._by_block(self.stated)[ALL][-1]}
        cost, blocks = self.clearing.study.policy.least_annual_cost, self.clearing.burnt
        if blocks is not None:
            found["damage_mean_s"] = _means(blocks, slice(None), "equivalent_s")
            if cost is not None and cost.damage is not None:
                worth = [cost.damage.of(one.equivalent_s) for one in blocks]
                found["cost_of_damage"] = np.array(
                    [
                        np.nansum(one.weight * each) / _faults(one)
                        for one, each in zip(blocks, worth, strict=True)
                    ]
                )
        return found


QUANTILES = {"median": 0.5, "p95": 0.95}  # over faults and the paths that clear them


def _faults(one: Burnt) -> float:
    return float(np.isfinite(one.weight[:, 0]).sum())


def _means(blocks: Sequence[Burnt], at: int | slice, part: str | None) -> Array:
    """Of each block, over its faults: the probability of a path, or its part of a mean."""
    found = []
    for one in blocks:
        value = 1.0 if part is None else getattr(one, part)[:, at]
        found.append(np.nansum(one.weight[:, at] * value) / _faults(one))
    return np.array(found)


def _in_zone(blocks: Sequence[Burnt], at: int) -> Array:
    return np.array([np.nansum(one.weight * (one.beyond == at)) / _faults(one) for one in blocks])


def _quantile(values: Array, weights: Array, share: float) -> float:
    """The smallest value with at least that share of the weights up to it."""
    if not values.size:
        return float("nan")
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    at = np.searchsorted(reached, share * reached[-1] * (1 - 1e-12))
    return float(values[order][min(int(at), values.size - 1)])
