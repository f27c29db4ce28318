"""How often the limits of paired differences hold the truth: `python -m tests.coverage.pairs`, an
hour on one core; `--seeds`, `--truth`, `--repeats` and `--weighted` make it shorter.

First installations whose truth is known, with events that differ both ways or one way only. Then
the hydro example with 1,024 samples and as many earth faults on 128 installations; the first
quarter and the first half of them are batches of their own. Its truth is one large run.

The truth of a setting with the elements on L1 and L3, less the same with L1 and L2, is exactly 0:
turning the phases makes one of the other, while the events differ both ways."""

from __future__ import annotations

import argparse
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from montecarlo.engine.batch import run_batch
from montecarlo.engine.count import run_chunk
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import Gathered, gather
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.compare import differences
from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.paired import Half, paired
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.description import Study
from montecarlo.study.read import parse_study
from montecarlo.study.strata import strata
from tests.benchmarks.faults import HYDRO
from tests.benchmarks.timing import header, row

INSTALLATIONS, SAMPLES = 128, 1024
SHARES = (0.25, 0.5)  # of the samples: 2 and 4 events per installation, of 8
TRUTH_SEED, TRUTH, TRUTH_INSTALLATIONS = 987654321, 262144, 4096
SIZE, SPREAD = 0.002, 1.2  # of conditional differences: median, sigma of ln


# --- installations that are known ----------------------------------------------------


@dataclass(frozen=True)
class Case:
    """One candidate operates alone with a chance of `more`, the other one with `fewer`.

    A second type, of a fifth of the weight, has three tenths of both. variation: of each chance
    over installations (beta), standard deviation over mean. conditional: one type, chances of a
    difference of any size from 0 to 1."""

    events: int
    variation: float
    more: float
    fewer: float
    conditional: bool = False


CHANCES = ((4e-3, 0.0), (2e-3, 2e-3), (0.02, 0.005), (0.02, 0.02), (0.1, 0.1), (1e-4, 1e-4))
COUNTS = tuple(
    Case(events, variation, *chances)
    for events in (2, 4, 8)
    for variation in (0.0, 1.5)
    for chances in CHANCES
)
MEANS = tuple(
    Case(events, 0.0, *chances, True)
    for events in (2, 8)
    for chances in ((2e-3, 0.0), (0.02, 0.0), (0.08, 0.0), (0.3, 0.0), (0.08, 0.08))
)


def rates(rng: np.random.Generator, mean: float, variation: float, repeats: int) -> Array:
    """Chances of installations, (repeats, M)."""
    if mean == 0 or variation == 0:
        return np.full((repeats, INSTALLATIONS), mean)
    size = (1 - mean) / mean / variation**2 - 1
    return rng.beta(mean * size, (1 - mean) * size, (repeats, INSTALLATIONS))


def stratum_of(name: str, total: Array, case: Case) -> Gathered:
    """total (2, M): of the candidate that operates more, and of the one that operates less."""
    noise = np.zeros(total.shape) if case.conditional else None
    return Gathered(
        name,
        total.astype(float),
        np.full(INSTALLATIONS, float(case.events)),
        np.zeros(total.shape),
        noise,
        None,
        None,
        None,
    )


def sampled(
    case: Case, repeats: int, rng: np.random.Generator
) -> tuple[list[Array], list[float], float]:
    """What both candidates do by type, (repeats, 2, M) each; weights; the true difference."""
    if case.conditional:

        def sums(chance: float) -> Array:
            number = rng.binomial(case.events, chance, (repeats, INSTALLATIONS))
            sizes = np.minimum(rng.lognormal(np.log(SIZE), SPREAD, number.sum()), 1.0)
            whose = np.repeat(np.arange(number.size), number.ravel())
            return np.bincount(whose, sizes, number.size).reshape(number.shape)

        mean = np.minimum(rng.lognormal(np.log(SIZE), SPREAD, 4_000_000), 1.0).mean()
        return (
            [np.stack([sums(case.more), sums(case.fewer)], axis=1)],
            [1.0],
            (case.more - case.fewer) * float(mean),
        )
    found, weights, truth = [], [0.8, 0.2], 0.0
    for weight, part in zip(weights, (1.0, 0.3), strict=True):
        more, fewer = (
            rates(rng, part * chance, case.variation, repeats) for chance in (case.more, case.fewer)
        )
        hits = rng.binomial(case.events, more)
        others = rng.binomial(case.events - hits, np.minimum(fewer / (1 - more), 1.0))
        found.append(np.stack([hits, others], axis=1))
        truth += weight * part * (case.more - case.fewer)
    return found, weights, truth


def known(case: Case, repeats: int, seed: int = 1) -> tuple[list[tuple[Half, Half]], float]:
    """Repeats of a case, and its truth."""
    found, weights, truth = sampled(case, repeats, np.random.default_rng(seed))
    pairs = []
    for each in zip(*found, strict=True):
        types = [stratum_of(f"type {number}", total, case) for number, total in enumerate(each)]
        pairs.append((Half(types, weights, 0), Half(types, weights, 1)))
    return pairs, truth


# --- the hydro example --------------------------------------------------------


def phase_and_earth(phase_a: float, earth_a: float, delay_s: float) -> Setting:
    return Setting("two_phase_one_earth", phase_a, earth_a, 600.0, delay_s)


CHOSEN, RUNNER_UP = (phase_and_earth(phase_a, 0.01, 0.1) for phase_a in (0.05, 0.1))
COARSER, QUICK = phase_and_earth(0.05, 0.02, 0.1), phase_and_earth(0.05, 0.01, 0.0)
QUICK_COARSER, QUICK_COARSEST = (phase_and_earth(0.05, earth_a, 0.0) for earth_a in (0.02, 0.03))
EXISTING = Setting("per_phase", 0.1, None, 0.0, 0.0)
SETTINGS = (
    CHOSEN,
    RUNNER_UP,
    COARSER,
    QUICK,
    QUICK_COARSER,
    QUICK_COARSEST,
    phase_and_earth(0.15, 0.02, 0.1),
    EXISTING,
    replace(EXISTING, phase_pickup_a=0.15),
    replace(EXISTING, delay_s=0.1),
)
TURNED = SETTINGS[:6]  # judged with the other phases watched, too
PAIRS = (
    (CHOSEN, RUNNER_UP),
    (CHOSEN, COARSER),
    (CHOSEN, QUICK),
    (CHOSEN, EXISTING),
    (QUICK_COARSER, QUICK_COARSEST),
    (QUICK, QUICK_COARSER),
    (QUICK_COARSEST, EXISTING),
)
EQUAL = (CHOSEN, QUICK_COARSER, QUICK_COARSEST)

Strata = Mapping[str, Gathered]
Run = Mapping[float, Strata]  # by share of the samples


def study_of(
    seed: int,
    samples: int = SAMPLES,
    earth_faults: int = SAMPLES,
    installations: int = INSTALLATIONS,
    watched: Sequence[str] = ("L1", "L3"),
    weighted: int = 0,
) -> Study:
    table = tomllib.loads(HYDRO.read_text())
    table["study"] |= {
        "seed": seed,
        "samples": samples,
        "earth_fault_samples": earth_faults,
        "installations": installations,
        "rare_samples": weighted,
    }
    table["scheme"]["watched_phases"] = [*watched]
    del table["states"]["open_ct_circuit_per_year"]
    return parse_study(table, HYDRO.parent)


def drawn(study: Study, settings: Sequence[Setting], shares: Sequence[float] = SHARES) -> Run:
    """A batch of internal faults and external events, and the first parts of it."""
    job = Job(study, lattices_of(study, *settings), *designs(study), shares=tuple(shares))
    run: dict[float, dict[str, Gathered]] = {share: {} for share in (*shares, 1.0)}
    for name in strata(study):
        if name.startswith("state."):
            continue
        sums = {}
        for chunk in job.design_of(name).chunks(name):
            tally, block = run_chunk(job, chunk), chunk.installation_block
            sums[block] = sums[block] + tally if block in sums else tally
        blocks = [sums[block] for block in range(BLOCKS)]
        run[1.0][name] = gather(name, blocks)
        for share in shares:
            run[share][name] = gather(name, [block.early[share] for block in blocks])
    return run


def half(found: Strata, quantity: str, setting: Setting) -> Half:
    weight = weights_of(study_of(0))
    names, shares = {
        "p_missed": (weight.internal, weight.shares),
        "p_false": (weight.external, weight.event_shares),
    }[quantity]
    return Half([found[name] for name in names], shares, SETTINGS.index(setting))


# --- tables -------------------------------------------------------------------


def by_student(one: Half, other: Half) -> Estimate:
    """Student's t over the installations, or over the blocks where a type is conditional: as
    before."""
    on_nets = any(stratum.conditional for stratum in one.strata)

    def total(each: Half) -> Array:
        return np.asarray(
            sum(
                weight * (stratum.block_means if on_nets else stratum.means)[each.candidate]
                for stratum, weight in zip(each.strata, each.weights, strict=True)
            )
        )

    gap = total(one) - total(other)
    reach = -stdtrit(gap.size - 1, 0.025) * gap.std(ddof=1) / np.sqrt(gap.size)
    return Estimate(gap.mean(), gap.mean() - reach, gap.mean() + reach)


def stacked(found: Iterable[Estimate]) -> Estimate:
    return Estimate(*(np.array(part, float) for part in zip(*found, strict=True)))


def held(found: Estimate, truth: float) -> float:
    return float(np.mean((found.low <= truth) & (truth <= found.high)))


def told(names: Sequence[str], pairs: Sequence[tuple[Half, Half]], truth: float) -> None:
    """A row: how often limits hold the truth, end below it or begin above it; how wide they are."""
    found = stacked(paired(*pair) for pair in pairs)
    before = stacked(by_student(*pair) for pair in pairs)
    row(
        *names,
        f"{truth:.2g}",
        *cells(found, truth),
        f"{100 * held(before, truth):.1f}",
        f"{np.median(before.high - before.low):.1e}",
    )


def cells(found: Estimate, truth: float) -> tuple[str, ...]:
    return (
        f"{100 * held(found, truth):.1f}",
        f"{100 * np.mean(found.high < truth):.1f}",
        f"{100 * np.mean(found.low > truth):.1f}",
        f"{np.median(found.high - found.low):.1e}",
    )


HEADS = ("truth", "held, %", "too low, %", "too high, %", "width", "Student's t: held, %", "width")


def of_known(repeats: int) -> None:
    header("installations that are known", "events per installation", "variation", *HEADS)
    for case in (*COUNTS, *MEANS):
        what = "conditional" if case.conditional else "counts"
        told(
            (f"{what}, {case.more:g} and {case.fewer:g}", f"{case.events}", f"{case.variation:g}"),
            *known(case, repeats),
        )


def label(setting: Setting) -> str:
    pickups = (setting.phase_pickup_a, setting.earth_pickup_a)
    return "/".join(
        [*(f"{each:g}" for each in pickups if each is not None), f"{setting.delay_s:g} s"]
    )


def of_study(runs: Sequence[Run], turned: Sequence[Run], reference: Strata) -> None:
    """`turned`: the first of the runs with the other phases watched."""
    header("difference", "quantity", "events per installation", *HEADS)
    for one, other in PAIRS:
        for quantity in ("p_missed", "p_false"):
            truth = truth_of(reference, quantity, one, other)
            for share in (*SHARES, 1.0):
                told(
                    (f"{label(one)} less {label(other)}", quantity, f"{8 * share:g}"),
                    [
                        (half(run[share], quantity, one), half(run[share], quantity, other))
                        for run in runs
                    ],
                    truth,
                )
    for setting in EQUAL:
        for quantity in ("p_missed", "p_false"):
            for share in (*SHARES, 1.0):
                told(
                    (f"{label(setting)}, L1 and L3 less L1 and L2", quantity, f"{8 * share:g}"),
                    [
                        (half(run[share], quantity, setting), half(other[share], quantity, setting))
                        for run, other in zip(runs, turned, strict=False)
                    ],
                    0.0,
                )


def truth_of(reference: Strata, quantity: str, one: Setting, other: Setting) -> float:
    return float(paired(half(reference, quantity, one), half(reference, quantity, other)).p)


def of_weighted(seeds: int, reference: Strata) -> None:
    """p_false with weighted samples on, which decide where both settings' events come from them."""
    one, other = CHOSEN, EXISTING
    truth, found, used = truth_of(reference, "p_false", one, other), list[Estimate](), list[float]()
    for seed in range(seeds):
        study = study_of(seed, earth_faults=INSTALLATIONS, weighted=4096)
        batch = run_batch(study, lattices_of(study, one, other), 1, Workers(1), quiet)
        found.append(differences(study, batch.strata, 0, 1)["p_false"])
        used += [
            float(part.weighted.used.all())
            for part in batch.strata.values()
            if part.weighted is not None
        ]
    header("p_false, weighted samples on", *HEADS[:5], "events weighted on both sides, %")
    row(
        f"{label(one)} less {label(other)}, {seeds} seeds",
        f"{truth:.2g}",
        *cells(stacked(found), truth),
        f"{100 * np.mean(used):.0f}",
    )


def quiet(done: int, total: int, what: str) -> None:
    pass


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--repeats", type=int, default=2000, help="of each case of known installations"
    )
    parser.add_argument("--seeds", type=int, default=60, help="of the hydro example")
    parser.add_argument(
        "--truth",
        type=int,
        default=TRUTH,
        help="samples of its truth; an eighth as many earth faults",
    )
    parser.add_argument("--weighted", type=int, default=20, help="seeds with weighted samples")
    parser.add_argument(
        "--quick", action="store_true", help="shows in seconds that every part works"
    )
    chosen = parser.parse_args()
    if chosen.quick:
        chosen.repeats, chosen.seeds, chosen.truth, chosen.weighted = 20, 2, 2048, 1
    of_known(chosen.repeats)
    if not chosen.seeds:
        return
    earth_faults = chosen.truth // 8
    truth = study_of(TRUTH_SEED, chosen.truth, earth_faults, min(TRUTH_INSTALLATIONS, earth_faults))
    reference = drawn(truth, SETTINGS, ())[1.0]
    seeds = range(chosen.seeds)
    runs = [drawn(study_of(seed), SETTINGS) for seed in seeds]
    turned = [drawn(study_of(seed, watched=("L1", "L2")), TURNED) for seed in seeds]
    of_study(runs, turned, reference)
    if chosen.weighted:
        of_weighted(chosen.weighted, reference)


if __name__ == "__main__":
    main()
