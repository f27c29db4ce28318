"""Accepted mutants are run: the command ends well or refuses, and its tables hold probabilities."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from montecarlo import read_study
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from tests.fuzz.judge import Verdict, call, refusal_faults

MOST_SAMPLES, MOST_CANDIDATES, MOST_EVENTS = 64, 2000, 12
NEVER_EMPTY = ("p_missed", "p_false")


def quick(study: Study) -> bool:
    """Whether a run of it takes seconds: mutation may ask for a million samples, which is legal;
    what decides is looked for in rows of their own."""
    general = study.study
    counts = (
        general.samples,
        general.installations,
        general.earth_fault_samples or 0,
        general.rare_samples or 0,
    )
    studies = 1 + len(study.assumption_sets) + len(study.alternative_studies) + len(study.options)
    candidates = sum(np.prod(lattice.shape) for lattice in candidate_lattices(study))
    return (
        max(counts) <= MOST_SAMPLES
        and general.precision is None
        and general.kind != "uncertainty_drivers"
        and max(studies, len(study.external_events)) <= MOST_EVENTS
        and candidates <= MOST_CANDIDATES
    )


def run(file: Path, out: Path, limit_s: float = 900.0) -> Verdict | None:
    """The verdict on `run FILE`; None for a study that is left out because it is long."""
    if not quick(read_study(file)):
        return None
    found = call(["run", str(file), "--out", str(out), "--workers", "1"], limit_s)
    wrong = found.wrong
    if not wrong and found.code == 2:
        wrong = refusal_faults(found, file) or ("refused and written" if out.exists() else "")
    elif not wrong:
        wrong = "; ".join(table_faults(out)) if found.code == 0 else f"exit code {found.code}"
        told = [
            line
            for line in found.stderr.splitlines()
            if not line.startswith("statorodds: caution: ")
        ]
        wrong = wrong or (f"stderr says {told[0][:300]!r}" if told else "")
    return Verdict(found.code, wrong, found.seconds, found.stdout, found.stderr)


def table_faults(folder: Path) -> Iterator[str]:
    """Probabilities outside [0, 1], limits on the wrong side of their estimate, infinities, an
    empty p of a candidate."""
    for path in sorted(folder.glob("*.csv")):
        frame = pd.read_csv(path)
        numbers = frame.select_dtypes("number")
        if np.isinf(numbers.to_numpy(float)).any():
            yield (
                f"{path.name}: an infinity in"
                f" {[name for name in numbers if np.isinf(numbers[name]).any()]}"
            )
        for name in numbers.columns:
            if name.startswith("p_") and not name.endswith(("_change", "difference")):
                values = numbers[name].dropna()
                if path.stem not in DIFFERENCES and not values.between(0, 1).all():
                    yield f"{path.name}: {name} from {values.min()} to {values.max()}"
            low, high = (numbers.get(f"{name}_{end}") for end in ("low", "high"))
            if low is not None and high is not None:
                slack = 1e-12 * numbers[name].abs().clip(lower=1e-300)
                wrong = (low > numbers[name] + slack) | (numbers[name] > high + slack)
                if wrong.any():
                    row = wrong.idxmax()
                    yield (
                        f"{path.name} row {row}: {name} {low[row]} {numbers[name][row]} {high[row]}"
                    )
        if path.stem == "candidates":
            yield from (
                f"{path.name}: {name} is empty"
                for name in NEVER_EMPTY
                if name in frame and frame[name].isna().any()
            )


DIFFERENCES = (
    "comparison",
    "neighbours",
    "prices",
    "scheme_differences",
    "earthing_differences",
    "alternative_differences",
    "worth_of_measuring",
    "elasticities",
)
