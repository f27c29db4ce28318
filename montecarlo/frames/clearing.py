"""Who clears internal faults, what may fail, how often to test, and the damage, as tidy frames."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.clearing import Cleared, Clearing
from montecarlo.engine.clearing_paths import RATES, SOUND, stated_case
from montecarlo.engine.sizes import designs
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import Estimate, clopper_pearson, ratio, student, student_mean
from montecarlo.formulas.dependability import annual_cost
from montecarlo.frames.damage import ALL, above, damage_frame, zones_frame
from montecarlo.frames.limits import limit_columns
from montecarlo.quantities import Array
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import EARTH
from montecarlo.sampling.transform import all_installations
from montecarlo.study.dependability import Part
from montecarlo.study.strata import internal_shares

if TYPE_CHECKING:
    import pandas as pd

NOBODY = "nobody"
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
                for at, (path, row) in enumerate(zip(self.names, means, strict=True)):
                    limits = self._widened(student_mean(row, trials=self._trials[name]), name, at)
                    yield {
                        "type": name if name == ALL else name.kind,
                        "failure_rates": RATE_WORDS[case],
                        "path": path,
                        **limit_columns("p", limits),
                        "per_year": weight.internal_per_year * shares[name] * float(limits.p),
                    }

    def _widened(self, limits: Estimate, name: Any, at: int) -> Estimate:
        """Of a counted type: by what exact binomial limits of sound parts reach beyond those of
        blocks, which few hits make too narrow."""
        if name in (ALL, EARTH):
            return limits
        trials, rows = self._trials[name], self._by_block(SOUND)[name]
        own = student_mean(rows[at], trials=trials)
        exact = clopper_pearson(trials * own.p, trials)
        low = limits.low - np.maximum(own.low - exact.low, 0.0)
        high = limits.high + np.maximum(exact.high - own.high, 0.0)
        return Estimate(limits.p, np.maximum(low, 0.0), np.minimum(high, 1.0))

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
        for part in self.parts:
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
        for at, path in enumerate(self.clearing.paths[: alone.shape[1]]):
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
        return sum(part.spurious_per_year.mean() for part in self.parts)

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parts that a path of the setting needs; another scheme of the study may have more."""
        found, there = self.clearing.study.dependability, {*self.clearing.paths}
        every = () if found is None else found.parts
        return tuple(part for part in every if there & {*part.paths})

    def tests(self) -> pd.DataFrame:
        """The table test_intervals.csv: a row a factor of all intervals between tests; empty
        without [dependability].

        Returns
        -------
        DataFrame
            `damage_mean_s` of earth faults, with [damage]; `cost_per_year`: of faults that nobody
            clears, of damage if its cost is given, and of tests, where the policy weighs costs.
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
            harm, worth = (student(one) for one in self._harm(case))
            if study.damage is not None:
                row |= limit_columns("damage_mean_s", harm)
            if cost is not None:
                costs = annual_cost(
                    years,
                    np.array(limits),
                    faults_per_year=a_year,
                    missed_fault=cost.missed_fault,
                    test=found.test_cost,
                )
                earth = weight.internal_per_year * study.internal_faults.shares.earth
                row |= limit_columns("cost_per_year", costs + earth * np.array(worth))
            rows.append(row)
        return pd.DataFrame(rows)

    def _harm(self, case: tuple[float, float]) -> tuple[Array, Array]:
        """Mean damage of an earth fault, and its cost, by block; 0 without earth faults."""
        blocks, at = self.clearing.cleared.get(EARTH, ()), self.clearing.cases.index(case)
        means = [
            np.array([ratio(one.harm[at, k], one.faults[0]) for one in blocks]) for k in (0, 1)
        ]
        return (means[0], means[1]) if blocks else (np.zeros(2), np.zeros(2))

    # --- damage ---------------------------------------------------------------

    def damage(self) -> pd.DataFrame:
        """The table damage.csv: a row for all earth faults, then a row a path; empty without
        [damage].

        Returns
        -------
        DataFrame
            `p` of the path with limits [-], `mean_s` its part of the mean of all, with limits;
            `median_s` and `p95_s` of the faults that it clears [s of damage.reference_a];
            `after_opening_share` of this damage [-]; iron that may melt [cm3]. With
            [dependability] faults that nobody clears once more in two rows: those that no path
            sees, and those that a path sees whose parts have failed.
        """
        import pandas as pd

        if self.clearing.burnt is None:
            return pd.DataFrame()
        split = self.clearing.study.dependability is not None
        return damage_frame(self.names, self.clearing.burnt, self._trials[EARTH], split=split)

    def above(self, points: int) -> tuple[Array, Array, Array]:
        """As `damage.above`.

        Parameters
        ----------
        points : int

        Returns
        -------
        (points,) array (s), (points,) array (-), (points,) array (-)
        """
        assert self.clearing.burnt is not None
        return above(self.clearing.burnt, points)

    def zones(self) -> pd.DataFrame:
        """The table damage_zones.csv: a row a zone; empty without zones.

        Returns
        -------
        DataFrame
            `p` that the damage of an earth fault ends in the zone, with limits [-].
        """
        import pandas as pd

        given, blocks = self.clearing.study.damage, self.clearing.burnt
        if given is None or blocks is None:
            return pd.DataFrame()
        return zones_frame(given, blocks, self._trials[EARTH])

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
        if self.clearing.burnt is not None:
            found["damage_mean_s"], worth = self._harm(self.stated)
            cost = self.clearing.study.policy.least_annual_cost
            if cost is not None and cost.damage is not None:
                found["cost_of_damage"] = worth
        return found
