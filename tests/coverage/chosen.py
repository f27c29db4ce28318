"""How often the setting that a run chooses in ranges breaks the policy's limit:
`python -m tests.coverage.chosen`, a quarter of an hour; `--seeds` says how many runs; `--quick`
shows in seconds that it works.

Two CTs of a phase have ratio errors that are uniform between -d and d, so that the probability of a
false trip follows by hand for every pick-up (tests/reference/test_found_settings.py). A run allows
a setting at 95 % confidence; at most 5 % of the runs may choose one beyond the limit."""

from __future__ import annotations

import numpy as np

from montecarlo.engine.run import run
from montecarlo.estimates.intervals import clopper_pearson
from tests.coverage.seeds import asked
from tests.made.studies import study_with
from tests.reference.test_found_settings import LIMIT, STUDY, p_false

SEEDS, SAMPLES, FEWEST = 200, 4096, 2048


def main() -> None:
    seeds, samples, _ = asked("chosen", __doc__, SEEDS, SAMPLES, FEWEST)
    shares, none = list[float](), 0
    for seed in range(seeds):
        study = study_with(STUDY | {"study.seed": seed, "study.samples": samples})
        outcome = run(study, workers=1)
        if outcome.chosen is None or outcome.chosen.phase_pickup_a is None:
            none += 1
            continue
        shares.append(p_false(study, outcome.chosen.phase_pickup_a) / LIMIT)
    beyond = sum(share > 1 for share in shares)
    high = float(clopper_pearson(beyond, seeds).high)
    print(f"{seeds} runs of {samples} samples of each type")
    print(f"chosen beyond the limit: {beyond}, at most {high:.2%} of runs at 95 %")
    print(f"p_false of the chosen over the limit, mean: {np.mean(shares):.2f}; no choice: {none}")


if __name__ == "__main__":
    main()
