"""Where the numbers of a run come from: its record, its inputs, its installations."""

from __future__ import annotations

import datetime
import platform
from contextlib import suppress
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from montecarlo.engine.run import Outcome
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers.software import version_of
from montecarlo.frames.batches import number_of, numbers_of
from montecarlo.frames.digits import rounded_values
from montecarlo.frames.unresolved import unresolved_numbers, unresolved_of
from montecarlo.quantities import Array
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.transform import all_installations
from montecarlo.study.description import Study
from montecarlo.study.read import digest

if TYPE_CHECKING:
    import pandas as pd


def inputs(study: Study) -> pd.DataFrame:
    """Every number and distribution of a study.

    Parameters
    ----------
    study : Study

    Returns
    -------
    DataFrame
        A row an input: its key, unit, distribution, what it varies by, and source.
    """
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
            for item in list_inputs(study)
        ]
    )


def installations(outcome: Outcome) -> dict[str, Array]:
    """The sampled installations, and what each of them showed.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    dict of array
        "input/<key>": the input of each installation, (M,) or (M, 6). Of each type "<type>/total"
        and "<type>/unresolved", sums and counts of candidates, (C, M), and "<type>/trials", (M,).
        "candidate", (C,): their numbers; those whose relay circuit was left out are not among them.
    """
    study = outcome.study
    values = all_installations(
        list_inputs(study), study.ties, seed=study.study.seed, design=designs(study)[0]
    )
    out = {f"input/{key}": array for key, array in values.items()}
    out["candidate"] = numbers_of(outcome, outcome.first.settings).astype(float)
    for name, stratum in outcome.first.strata.items():
        out |= {
            f"{name}/total": stratum.total,
            f"{name}/trials": stratum.trials,
            f"{name}/unresolved": stratum.unresolved,
        }
        if stratum.noise_sums is not None:
            out[f"{name}/noise"] = stratum.noise_sums
    for name, stratum in outcome.first.nobody.items():
        out[f"nobody/{name}/total"] = stratum.total
    return out


def of_one_model(outcome: Outcome) -> dict[str, Any]:
    """What differs between two runs that differ in the CTs' remanence model.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    dict
        Ready for JSON.
    """
    first = outcome.first
    return {
        "remanence_model": outcome.study.ct.remanence_model,
        "chosen": number_of(outcome, outcome.chosen),
        "runner_up": number_of(outcome, outcome.runner_up),
        "independent_samples": outcome.tries,
        "samples": {name: int(stratum.trials.sum()) for name, stratum in first.strata.items()},
        "unresolved": unresolved_numbers(unresolved_of(outcome)),
        "notes": rounded_values(first.counts),
    }


def origin(study: Study) -> dict[str, Any]:
    """What numbers come from: version, digest of the study and seed.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict
        Ready for JSON.
    """
    return {
        "version": version_of("statorodds"),
        "study_digest": digest(study),
        "seed": study.study.seed,
    }


def provenance(outcome: Outcome) -> dict[str, Any]:
    """Version, digest of the study, seed, counts, and the machine that counted.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    dict
        Ready for JSON.
    """
    study = outcome.study
    packages = ("numpy", "scipy", "numba", "pandas", "joblib")
    return {
        "product": "statorodds",
        "study_title": study.study.title,
        "study_kind": study.study.kind,
        **origin(study),
        "installations": designs(study)[0].installations_rounded,
        "candidates": len(outcome.settings),
        "found": [asdict(one) for one in study.candidates.found],
        "samples_asked": study.study.samples,
        "unresolved_share_max": study.study.unresolved_share_max,
        **of_one_model(outcome),
        "python": platform.python_version(),
        "processor": _processor(),
        "packages": {name: version_of(name) for name in packages},
        "finished_utc": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
    }


def _processor() -> str:
    """The processor's name: last bits differ between kinds, which tables do not show."""
    names = []
    with suppress(OSError), open("/proc/cpuinfo", encoding="utf-8") as lines:
        names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.processor() or platform.machine()
