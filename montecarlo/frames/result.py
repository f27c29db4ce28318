"""From the outcome of a run to tidy tables: one row a candidate, a type, a place on the winding, an
input."""

from __future__ import annotations

import datetime
import platform
from collections.abc import Callable, Iterator
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.guard import Unresolved, named
from montecarlo.engine.keep import KeepRows
from montecarlo.engine.progress import Progress
from montecarlo.engine.run import Outcome, run
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.errors import StudyError
from montecarlo.estimates.refusals import Refusal, stated_refusals
from montecarlo.frames import choosing
from montecarlo.frames.closest import closest_rows
from montecarlo.frames.doubts import Doubt, as_data, doubts_of
from montecarlo.frames.machine import processor, version_of
from montecarlo.frames.rare import exceedance_rows, weighted_rows
from montecarlo.frames.remanence import Run, compare_models
from montecarlo.frames.robustness import scenario_choices
from montecarlo.frames.rows import Numbers, candidate_rows, coverage_rows, type_rows
from montecarlo.frames.unresolved import unresolved_frame, unresolved_numbers, unresolved_of
from montecarlo.quantities import Array
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import EARTH
from montecarlo.sampling.transform import all_plants
from montecarlo.study.candidates import Setting
from montecarlo.study.description import Study
from montecarlo.study.read import digest

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Result", "run_study"]

LAST_COLUMNS = (
    "usable",
    "allowed",
    "load_operates_share",
    "unresolved",
    "batch",
    "chosen",
    "p_false_bound",
    "p_false_from",
    "limit_used",
    "present",
    "open_pilot_operates_share",
    "refusals",
)


def run_study(
    study: Study,
    *,
    workers: int | Workers | None = None,
    progress: Progress | None = None,
    by_scheme: bool = False,
    keep_samples: KeepRows | None = None,
) -> Result:
    """Run a study on `workers`, or so many processes (default: one a core). progress(done, total,
    what) is told of samples; by_scheme: the best setting of every scheme too; keep_samples:
    takes the samples of the study's own batch, chunk by chunk."""
    return Result(
        run(
            study,
            workers=workers,
            progress=progress,
            by_scheme=by_scheme,
            keep_samples=keep_samples,
        )
    )


class Result:
    """The tables of a finished run, as pandas frames made when first asked for."""

    def __init__(self, outcome: Outcome) -> None:
        self.outcome = outcome
        self.study = outcome.study
        self.other = (
            None if outcome.other is None else Result(outcome.other)
        )  # with the other remanence model

    @property
    def chosen(self) -> int | None:
        """Number of the chosen candidate in `candidates`."""
        return None if self.outcome.chosen is None else self._number(self.outcome.chosen)

    @property
    def runner_up(self) -> int | None:
        return None if self.outcome.runner_up is None else self._number(self.outcome.runner_up)

    def _number(self, setting: Setting) -> int:
        return self.outcome.first.settings.index(setting) + 1

    def _drawn_again(self) -> Iterator[tuple[Batch, list[Setting]]]:
        """Fresh batches, and the candidates that are told of each."""
        if self.outcome.fresh is not None:
            yield self.outcome.fresh, self.outcome.fresh.settings
        for setting, batch in self.outcome.refused.items():
            if self.outcome.batch_of(setting) is not self.outcome.fresh:
                yield batch, [setting]

    def _with_fresh(
        self, frame: pd.DataFrame, rows: Callable[[Batch, Numbers], pd.DataFrame]
    ) -> pd.DataFrame:
        """The frame of the study's own batch, with the rows of candidates that a fresh batch has
        instead of its own."""
        import pandas as pd

        for batch, settings in self._drawn_again():
            again = rows(batch, np.array([self._number(setting) for setting in batch.settings]))
            told = [self._number(setting) for setting in settings]
            frame = pd.concat(
                [frame[~frame["candidate"].isin(told)], again[again["candidate"].isin(told)]],
                ignore_index=True,
            )
        return frame

    @cached_property
    def candidates(self) -> pd.DataFrame:
        """One row a candidate; those that a fresh batch has from there (batch 2): the chosen one,
        its neighbours, the runner-up and the present one, and whatever fresh batches refused."""
        import pandas as pd

        rows = candidate_rows(self.study, self.outcome.first)
        rows.insert(0, "candidate", np.arange(1, len(rows) + 1))
        rows["batch"] = 1
        for batch, settings in self._drawn_again():
            again = candidate_rows(self.study, batch)
            for setting in settings:
                at, k = self._number(setting) - 1, batch.settings.index(setting)
                for column in again.columns:
                    rows.loc[at, column] = again.loc[k, column]
                rows.loc[at, "batch"] = 2
        rows["chosen"] = rows["candidate"] == (self.chosen or 0)
        rows["present"] = [
            setting == self.outcome.present for setting in self.outcome.first.settings
        ]
        rows["refusals"] = [self._refusals(setting) for setting in self.outcome.first.settings]
        columns = [*(c for c in rows.columns if c not in LAST_COLUMNS), *LAST_COLUMNS]
        return pd.DataFrame(rows[columns])

    def _refusals(self, setting: Setting) -> tuple[Refusal, ...]:
        """Why a candidate may not be chosen, by the batch that its figures are of."""
        batch = self.outcome.batch_of(setting)
        at = batch.settings.index(setting)
        return stated_refusals(self.study, batch.judgement, batch.verdict, at)

    @cached_property
    def by_type(self) -> pd.DataFrame:
        """One row a candidate and a fault type, event or state. Internal p: missed; the others:
        operated."""
        frame = type_rows(
            self.study, self.outcome.first, np.arange(1, len(self.outcome.first.settings) + 1), 1
        )
        frame = self._with_fresh(
            frame, lambda batch, numbers: type_rows(self.study, batch, numbers, 2)
        )
        return frame.sort_values("candidate", kind="stable", ignore_index=True)

    @cached_property
    def coverage(self) -> pd.DataFrame:
        """P(detected) of an earth fault at 41 places from the neutral; empty without earth
        faults."""
        import pandas as pd

        columns = ["candidate", "x", "p_detected", "low", "high"]
        if EARTH not in self.outcome.first.strata:
            return pd.DataFrame(columns=columns)
        frame = coverage_rows(
            self.outcome.first, np.arange(1, len(self.outcome.first.settings) + 1)
        )
        frame = self._with_fresh(frame, coverage_rows)
        return frame.sort_values(["candidate", "x"], kind="stable", ignore_index=True)

    @cached_property
    def rare(self) -> pd.DataFrame:
        """One row an external event and candidate: weighted samples beside counts; empty where
        counted only."""
        frame = weighted_rows(self.outcome.first, range(1, len(self.outcome.first.settings) + 1), 1)
        if len(frame):
            frame = self._with_fresh(
                frame, lambda batch, numbers: weighted_rows(batch, numbers.tolist(), 2)
            )
            frame = frame.sort_values("candidate", kind="stable", ignore_index=True)
        return frame

    @cached_property
    def exceedance(self) -> pd.DataFrame:
        """Probability that an event drives an element beyond a pick-up, for every circuit; empty
        where counted only."""
        return exceedance_rows(self.outcome.first)

    @cached_property
    def backup(self) -> pd.DataFrame:
        """One row a type that touches earth: how often the back-up operates, whatever the
        candidate; empty without."""
        import pandas as pd

        columns = ["side", "type", "samples", "p_operates", "p_operates_low", "p_operates_high"]
        rows = []
        for name, stratum in self.outcome.first.backup.items():
            found = stratum.estimate()
            rows.append(
                (
                    name.side.value,
                    name.kind,
                    int(stratum.trials.sum()),
                    found.p[0],
                    found.low[0],
                    found.high[0],
                )
            )
        return pd.DataFrame(rows, columns=columns)

    @property
    def unresolved_rows(self) -> tuple[Unresolved, ...]:
        """Samples without a result by type and batch, those of the other remanence model too."""
        other = self.other
        return (
            *unresolved_of(self.outcome),
            *(
                ()
                if other is None
                else named(other.unresolved_rows, other.study.ct.remanence_model)
            ),
        )

    @cached_property
    def unresolved(self) -> pd.DataFrame:
        """One row a type and batch: samples drawn, how many gave no result, why, and how they were
        counted."""
        return unresolved_frame(self.unresolved_rows)

    @cached_property
    def inputs(self) -> pd.DataFrame:
        """Every number and distribution of the study."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "key": item.key,
                    "unit": item.quantity.unit,
                    "distribution": str(item.distribution),
                    "varies": item.varies if item.uncertain else "",
                    "per_ct": item.width == 6 and item.columns == 6,
                    "source": item.distribution.source,
                }
                for item in list_inputs(self.study)
            ]
        )

    @cached_property
    def closest(self) -> pd.DataFrame:
        """Where nothing can be chosen: the candidate of each scheme that comes closest to the
        policy's limits."""
        best = self.outcome.best
        without = [scheme for scheme in self.study.scheme.kinds if best.get(scheme) is None]
        if self.chosen is not None and not best:
            without = []
        return closest_rows(self.study, self.candidates, without)

    @cached_property
    def doubts(self) -> tuple[Doubt, ...]:
        """What speaks against the chosen setting although the policy allows it; () without one."""
        return () if self.outcome.chosen is None else doubts_of(self.outcome, self.outcome.chosen)

    @cached_property
    def comparison(self) -> pd.DataFrame:
        """The chosen candidate minus runner-up and present one, then `study.compare`; paired on the
        same events."""
        return choosing.comparison(self.outcome)

    def compare(self, one: int, other: int) -> pd.DataFrame:
        """Candidate `one` minus candidate `other`, by their numbers: p_missed and p_false with
        paired limits."""
        settings = self.outcome.first.settings
        if not all(1 <= number <= len(settings) for number in (one, other)):
            raise StudyError(
                f"compare: {one} and {other}, must be candidates' numbers, 1 ... {len(settings)};"
                " take them from candidates"
            )
        return choosing.difference_rows(
            self.outcome, [(choosing.ASKED, settings[one - 1], settings[other - 1])]
        )

    @cached_property
    def neighbours(self) -> pd.DataFrame:
        """Each candidate one step of the grids away from the chosen one, minus the chosen one;
        empty without one."""
        return choosing.neighbour_rows(self.outcome)

    @cached_property
    def scenarios(self) -> pd.DataFrame:
        """How each scenario of the policy judges the candidates of the fresh batch; empty
        without."""
        return choosing.scenario_rows(self.outcome)

    @cached_property
    def scenario_choices(self) -> pd.DataFrame:
        """What each scenario would choose by itself, and the regret of the study's choice there;
        empty without any."""
        return scenario_choices(self.outcome)

    @cached_property
    def hinge(self) -> choosing.Hinge | None:
        """What kept the next better candidate from being chosen; None if none is better."""
        return choosing.hinge(self.outcome)

    @cached_property
    def remanence_models(self) -> pd.DataFrame | None:
        """What each remanence model chooses, and what that is in the other; None unless the study
        asks for both."""
        if self.other is None:
            return None
        return compare_models(
            [
                Run(one.study.ct.remanence_model, one.candidates, one.chosen)
                for one in (self, self.other)
            ]
        )

    @cached_property
    def plants(self) -> dict[str, Array]:
        """Per plant: its inputs ("input/<key>"), and per type the sums and counts of every
        candidate."""
        design = designs(self.study)[0]
        values = all_plants(
            list_inputs(self.study), self.study.ties, seed=self.study.study.seed, design=design
        )
        out = {f"input/{key}": array for key, array in values.items()}
        for name, stratum in self.outcome.first.strata.items():
            out |= {
                f"{name}/total": stratum.total,
                f"{name}/trials": stratum.trials,
                f"{name}/unresolved": stratum.unresolved,
            }
            if stratum.noise_sums is not None:
                out[f"{name}/noise"] = stratum.noise_sums
        for name, stratum in self.outcome.first.nobody.items():
            out[f"nobody/{name}/total"] = stratum.total
        return out

    @cached_property
    def provenance(self) -> dict[str, Any]:
        """Where the numbers come from: version, digest of the study, seed, counts, unresolved,
        machine."""
        first, counted = self.outcome.first, designs(self.study)[0]
        return {
            "product": "statorodds",
            "version": version_of("statorodds"),
            "study_title": self.study.study.title,
            "study_kind": self.study.study.kind,
            "study_digest": digest(self.study),
            "seed": self.study.study.seed,
            "plants": counted.plants_rounded,
            "candidates": len(first.settings),
            "samples_asked": self.study.study.samples,
            "samples": {name: int(stratum.trials.sum()) for name, stratum in first.strata.items()},
            "unresolved": unresolved_numbers(unresolved_of(self.outcome)),
            "unresolved_share_max": self.study.study.unresolved_share_max,
            "notes": first.counts,
            "chosen": self.chosen,
            "runner_up": self.runner_up,
            "fresh_batches": self.outcome.tries,
            "doubts": [as_data(doubt) for doubt in self.doubts],
            "remanence_model": self.study.ct.remanence_model,
            "other_model": self._other_provenance(),
            "python": platform.python_version(),
            "processor": processor(),
            "packages": {
                name: version_of(name) for name in ("numpy", "scipy", "numba", "pandas", "joblib")
            },
            "finished_utc": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        }

    def _other_provenance(self) -> dict[str, Any] | None:
        keys = (
            "remanence_model",
            "chosen",
            "runner_up",
            "fresh_batches",
            "samples",
            "unresolved",
            "notes",
        )
        return None if self.other is None else {key: self.other.provenance[key] for key in keys}
