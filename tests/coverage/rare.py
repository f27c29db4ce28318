"""How often the limits of rare events hold the truth, and what they cost: python -m
tests.coverage.rare

Prints the tables of MEASUREMENTS.md. `--densities` independent runs up to the last density,
`--batches` independent final batches from each; `--families` runs of the two families of 300
settings, whose truth comes from a run of its own. `--quick` shows in seconds that every part works.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from montecarlo.estimates.rare import Why, diagnose, rare_estimate
from tests.coverage.problems import FAMILIES, four_branch, linear, quadratic, slopes
from tests.coverage.serial import adapt, adapt_pooled, draw, held

KNOWN = (4096, 4096, 5120, 6400), 5120  # stages, final batch
FAMILY = (5120, 5120, 10_240, 10_240), 20_480
LARGE = (10_240, 10_240, 20_480, 20_480), 409_600
POOLED = (1280, 1280, 2560, 5120), 5120  # as with study.racing
SMALL = (1024, 1024, 1280, 1536), 1280  # for --quick
BANDS = (1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7)


def repeats(problem, densities, batches, sizes, seed, search=adapt):
    """Estimates, whether limits held, whether it was trusted, (repeats, C) each; calls of one
    run."""
    stages, final = sizes
    p, inside, good = [], [], []
    for k in range(densities):
        rng = np.random.default_rng([seed, k])
        density = search(problem, rng, stages)
        for _ in range(batches):
            sums = draw(problem, rng, density, final)
            found = rare_estimate(sums)
            p.append(found.p)
            inside.append(held(found, problem.truth))
            good.append([one.why is Why.GOOD for one in diagnose(sums).trust])
    return np.array(p), np.array(inside), np.array(good), sum(stages) + final


def known(problem, densities, batches, sizes, search):
    p, inside, _, calls = repeats(problem, densities, batches, sizes, 1, search)
    unit = calls * ((p / problem.truth - 1) ** 2).mean(axis=0)
    cells = " | ".join(
        f"{100 * h:.1f} ({u:.0f})" for h, u in zip(inside.mean(axis=0), unit, strict=True)
    )
    print(f"| {problem.name} | {cells} |", flush=True)


def truth_of(problem, sizes):
    """Probabilities from runs of their own, with their coefficient of variation, (C,) each."""
    found = []
    for k in range(4):
        rng = np.random.default_rng([99, k])
        sums = draw(problem, rng, adapt(problem, rng, sizes[0]), sizes[1])
        found.append(sums.total / sums.trials)
    return np.mean(found, axis=0), np.std(found, axis=0, ddof=1) / 2 / np.mean(found, axis=0)


def family(name, currents, pickups, restraints, runs, sizes, large):
    truth, error = truth_of(slopes(name, currents, pickups, restraints), large)
    p, inside, good, calls = repeats(
        slopes(name, currents, pickups, restraints, truth), runs, 1, sizes, 2
    )
    rmse = np.sqrt(((p / truth - 1) ** 2).mean(axis=0))

    def line(label, chosen):
        if chosen.any():
            unit = calls * rmse[chosen] ** 2
            print(
                f"| {name}, {label} | {chosen.sum()} | {np.median(unit):.0f}, {unit.max():.0f} | "
                f"{100 * inside[:, chosen].mean():.1f} | {100 * good[:, chosen].mean():.0f} | "
                f"{100 * np.median(error[chosen]):.2g} % |",
                flush=True,
            )

    for top, bottom in zip((1.0, *BANDS), (*BANDS, 1e-8), strict=True):
        line(f"{bottom:.0e} to {top:.0e}", (truth < top) & (truth >= bottom))
    line("all above 1e-6", truth >= 1e-6)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--densities", type=int, default=100)
    parser.add_argument("--batches", type=int, default=10)
    parser.add_argument("--families", type=int, default=40)
    parser.add_argument(
        "--pooled", action="store_true", help="each fit from all stages, as with study.racing"
    )
    parser.add_argument("--quick", action="store_true")
    chosen = parser.parse_args()
    sizes, search = (KNOWN, FAMILY, LARGE), adapt
    if chosen.pooled:
        sizes, search = (POOLED, FAMILY, LARGE), adapt_pooled
    if chosen.quick:
        chosen.densities, chosen.batches, chosen.families, sizes = 1, 2, 1, (SMALL, SMALL, SMALL)
    start = time.perf_counter()
    if chosen.densities:
        print(f"{chosen.densities} densities, {chosen.batches} final batches each\n")
        print(
            "| problem | "
            + " | ".join(f"{p:.0e}" for p in BANDS)
            + " |\n|"
            + "---|" * (len(BANDS) + 1)
        )
        for make in (four_branch, quadratic, linear):
            for problem in (make(),) if chosen.quick else (make(50), make()):
                known(problem, chosen.densities, chosen.batches, sizes[0], search)
    if chosen.families:
        print(
            f"\n{chosen.families} runs\n\n| family, p | settings | unit: median, worst | held, % |"
            " trusted, % | error of the truth |\n|" + "---|" * 6
        )
        for case in FAMILIES[:1] if chosen.quick else FAMILIES:
            family(*case, chosen.families, *sizes[1:])
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
