"""How often the limits of rare events hold the truth, and what they cost: python -m tests.coverage.rare

Prints the tables of DEVELOPERS.md. `--mixtures` independent runs up to the last mixture, `--batches` independent final
batches from each; `--families` runs of the two families of 300 settings, whose truth comes from a run of its own.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from montecarlo.estimates.rare import Sums, diagnose, rare_estimate
from tests.coverage.problems import ANCHORS, FAMILIES, SPANS, Problem, four_branch, linear, quadratic
from tests.coverage.serial import Sizes, adapt, draw

KNOWN = Sizes(pilots=4, middle=(5120, 5120), final=5120)
FAMILY = Sizes(pilots=10, middle=(7680, 7680), final=20_480)
LARGE = Sizes(pilots=20, middle=(10_240, 10_240, 10_240), final=10_240)
BANDS = (1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7)


def repeats(problem, mixtures, batches, sizes, seed):
    """Estimates, low and high limits (repeats, C), who was trusted (repeats, C), mean calls."""
    p, low, high, good, calls = [], [], [], [], []
    for k in range(mixtures):
        rng = np.random.default_rng([seed, k])
        mixture, before = adapt(problem, rng, sizes)[:2]
        for _ in range(batches):
            sums = draw(problem, rng, mixture, sizes.final)
            for out, part in zip((p, low, high), rare_estimate(sums), strict=True):
                out.append(part)
            good.append([verdict == "good" for verdict in diagnose(sums).trust])
            calls.append(before + sizes.final)
    return *(np.array(a) for a in (p, low, high, good)), float(np.mean(calls))


def known(problem, mixtures, batches):
    p, low, high, _, calls = repeats(problem, mixtures, batches, KNOWN, 1)
    held = ((low <= problem.truth) & (problem.truth <= high)).mean(axis=0)
    unit = calls * ((p / problem.truth - 1) ** 2).mean(axis=0)
    cells = " | ".join(f"{100 * h:.1f} ({u:.0f})" for h, u in zip(held, unit, strict=True))
    print(f"| {problem.name} | {calls:,.0f} | {cells} |", flush=True)


def truth_of(excess):
    """Probabilities from runs of their own, with their coefficient of variation, (C,) each."""
    found = []
    for k in range(4):
        rng = np.random.default_rng([99, k])
        problem = Problem("", 50, excess, np.ones(len(excess.settings)), ANCHORS, tuple(range(0, 300, 9)))
        mixture = adapt(problem, rng, LARGE)[0]
        sums = Sums.join([draw(problem, rng, mixture, LARGE.final) for _ in range(40)])
        found.append(sums.total / sums.trials)
    return np.mean(found, axis=0), np.std(found, axis=0, ddof=1) / 2 / np.mean(found, axis=0)


def family(name, excess, runs):
    truth, error = truth_of(excess)
    problem = Problem(name, 50, excess, truth, ANCHORS, SPANS)
    p, low, high, good, calls = repeats(problem, runs, 1, FAMILY, 2)
    held = (low <= truth) & (truth <= high)
    rmse = np.sqrt(((p / truth - 1) ** 2).mean(axis=0))

    def line(label, chosen):
        if chosen.any():
            unit = calls * rmse[chosen] ** 2
            print(f"| {name}, {label} | {chosen.sum()} | {np.median(rmse[chosen]):.3f}, {rmse[chosen].max():.3f} | "
                  f"{np.median(unit):.0f}, {unit.max():.0f} | {100 * held[:, chosen].mean():.1f} | "
                  f"{100 * good[:, chosen].mean():.0f} | {np.median(error[chosen]):.4f} |", flush=True)

    for top, bottom in zip((1.0, *BANDS), (*BANDS, 1e-8), strict=True):
        line(f"{bottom:.0e} to {top:.0e}", (truth < top) & (truth >= bottom))
    line("all above 1e-6", truth >= 1e-6)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mixtures", type=int, default=100)
    parser.add_argument("--batches", type=int, default=10)
    parser.add_argument("--families", type=int, default=40)
    chosen = parser.parse_args()
    start = time.perf_counter()
    if chosen.mixtures:
        print(f"{chosen.mixtures} mixtures, {chosen.batches} final batches each\n")
        print("| problem | calls | " + " | ".join(f"{p:.0e}" for p in BANDS) + " |\n|" + "---|" * (len(BANDS) + 2))
        for make in (four_branch, quadratic, linear):
            for problem in (make(50), make()):
                known(problem, chosen.mixtures, chosen.batches)
    if chosen.families:
        print(f"\n{chosen.families} runs\n\n| family, p | settings | relative rmse: median, worst | "
              "unit: median, worst | held, % | trusted, % | error of the truth |\n|" + "---|" * 7)
        for name, excess in FAMILIES.items():
            family(name, excess, chosen.families)
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
