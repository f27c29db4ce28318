"""How often a race leaves out the circuit of the setting that one long run would choose:
`python -m tests.coverage.racing`, half an hour; `--seeds` says how many runs; `--quick` shows in
seconds that it works.

Each seed is a small study of relay circuits that lie close together, judged once in rounds and once
in one go, on the same random numbers. The statement is that at most 1 % of the runs lose it."""

from __future__ import annotations

from collections import Counter

from montecarlo.engine.batch import in_all_assumption_sets
from montecarlo.engine.progress import silent
from montecarlo.engine.racing import racing_of
from montecarlo.engine.workers import Workers
from montecarlo.estimates.intervals import clopper_pearson
from montecarlo.study.candidates import candidate_lattices
from tests.coverage.seeds import asked
from tests.made.studies import FEW_TYPES, study_with

SEEDS, SAMPLES, FEWEST = 500, 2048, 512
STUDY = FEW_TYPES | {
    "study.racing": True,
    "study.rare_samples": 0,
    "candidates.stabilising_resistance_ohm": [0, 20, 40, 60, 80],
    "candidates.phase_pickup_a": [0.2, 0.4, 0.8],
    "candidates.earth_pickup_a": [0.02, 0.05, 0.1, 0.2],
    "candidates.delay_s": [0.0, 0.1],
    "policy.p_false_max": 0.02,
}


def main() -> None:
    seeds, samples, _ = asked("racing", __doc__, SEEDS, SAMPLES, FEWEST)
    lost = none = circuits = 0
    after: Counter[int] = Counter()
    for seed in range(seeds):
        study = study_with(STUDY | {"study.seed": seed, "study.samples": samples})
        lattices, crew = candidate_lattices(study), Workers(1)
        rules = racing_of(study, by_scheme=False)
        raced = in_all_assumption_sets(study, lattices, 0, crew, silent, racing=rules)
        whole = in_all_assumption_sets(study, lattices, 0, crew, silent)
        circuits += len(lattices)
        for number, part in raced.left_out.items():
            after[number] += len(part.lattices)
        order = whole.verdict.order()
        none += not order
        lost += bool(order) and whole.settings[order[0]] not in raced.settings
    high = float(clopper_pearson(lost, seeds).high)
    told = ", ".join(f"{number}: {after[number] / circuits:.0%}" for number in sorted(after))
    print(f"{seeds} runs of {samples} samples of each type, {circuits // seeds} circuits each")
    print(f"left out after each round, share of the circuits: {told or 'none'}")
    print(f"runs whose chosen setting was left out: {lost}, at most {high:.2%} of runs at 95 %")
    print(f"runs in which the policy allows no setting: {none}")


if __name__ == "__main__":
    main()
