"""Prints what the steps in time make p_missed of earth faults wrong by, in every study of `configs`
and each of its options, alternatives and assumption sets: `python -m tests.benchmarks.steps [study
...]`. Ten minutes; `--quick` shows in seconds that every part works.

The same samples are solved with the default steps and with 448 a cycle, so that no chance stands
between the two but how far the error itself differs from sample to sample: its standard error, from
installation to installation, stands beside it."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import numpy as np

from montecarlo.engine import winding
from montecarlo.engine.count import run_chunk
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.quantities import Array
from montecarlo.sampling.design import Chunk, Design
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from tests.benchmarks.timing import header, row

CONFIGS = Path(__file__).parents[2] / "configs"
FINE = 448  # steps a cycle of what is taken for the truth
INSTALLATIONS, EVENTS = 16, 32


def studies(file: Path) -> Iterator[tuple[str, Study]]:
    """A file's study, and each that it makes of itself."""
    study = read_study(file)
    yield file.stem, study
    for name, other in (*study.options, *study.alternative_studies, *study.assumption_sets):
        yield f"{file.stem}, {name}", other


def missed(study: Study, per_cycle: int, installations: int, events: int) -> Array:
    """p_missed of earth faults of every candidate on each installation, (C, installations), by
    `per_cycle` steps."""
    design = Design(16, 16 * events, net=True)
    job = Job(study.alone, candidate_lattices(study), designs(study)[0], design)
    with patch.object(winding, "PER_CYCLE", per_cycle):
        tallies = [
            run_chunk(job, Chunk(EARTH, 0, installation, installation, 0))
            for installation in range(installations)
        ]
    return np.concatenate(
        [
            np.concatenate([part.total.reshape(1, -1) for part in tally.lattices], axis=1) / events
            for tally in tallies
        ]
    ).T


def errors(
    study: Study,
    *,
    per_cycle: int = winding.PER_CYCLE,
    fine: int = FINE,
    installations: int = INSTALLATIONS,
    events: int = EVENTS,
) -> tuple[Array, Array]:
    """p_missed by `per_cycle` steps over p_missed by `fine` ones, less 1, and its standard error,
    (C,) each. With one installation the standard error is not known."""
    ours, truth = (missed(study, steps, installations, events) for steps in (per_cycle, fine))
    whole = truth.mean(axis=1)
    each = (ours - truth) / np.where(whole > 0, whole, 1.0)[:, None]
    spread = each.std(axis=1, ddof=1) if installations > 1 else np.full(len(each), np.nan)
    return np.asarray(each.mean(axis=1)), np.asarray(spread / np.sqrt(installations))


def main(*only: str, installations: int = INSTALLATIONS, events: int = EVENTS) -> None:
    header(
        f"{installations * events} earth faults on {installations} installations, against {FINE}"
        " steps a cycle",
        "candidates",
        "largest error of p_missed, its standard error",
    )
    for file in sorted(CONFIGS.glob("*.toml")):
        for name, study in studies(file) if not only or file.stem in only else ():
            error, spread = errors(study, installations=installations, events=events)
            worst = int(np.argmax(np.abs(error)))
            row(name, error.size, f"{100 * error[worst]:+.3f} % ± {100 * spread[worst]:.3f}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.steps", description=__doc__)
    parser.add_argument("studies", nargs="*", help="names of files in configs; all unless given")
    parser.add_argument("--quick", action="store_true")
    chosen = parser.parse_args()
    if chosen.quick:
        main("transformer_earthed_13_8kv", installations=2, events=1)
    else:
        main(*chosen.studies)
