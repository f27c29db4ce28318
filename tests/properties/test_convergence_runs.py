"""How a fresh batch settles: its first parts are the shorter batches themselves, its last point the
batch."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo import Result, run_study
from montecarlo.engine.batch import run_batch
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.sampling.design import Chunk, Design
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.candidates import lattices_of
from studies.sweep.convergence import convergence_frame, worth_drawing
from studies.sweep.run import findings
from tests.made.studies import FEW_TYPES, study_table, study_with

# 64 events per installation of each counted type, in two blocks of 48 and 16 where 2048 samples
# fill a chunk; 4 earth faults
RUN: dict[str, Any] = FEW_TYPES | {
    "study.samples": 64 * 64,
    "study.installations": 64,
    "study.earth_fault_samples": 256,
    "study.rare_samples": 0,
    "candidates.stabilising_resistance_ohm": [300],
    "candidates.delay_s": [0.0, 0.06],
    "policy.p_false_max": 0.9,
}
NUMBERS = [f"{name}{end}" for name in ("p_missed", "p_false") for end in ("", "_low", "_high")]


def settled(result: Result) -> pd.DataFrame:
    return convergence_frame(result.outcome)


@pytest.fixture(scope="module")
def counted() -> Result:
    return run_study(study_with(RUN), workers=1)


@pytest.fixture(scope="module")
def rare() -> Result:
    coarse = {
        "external_events": study_table()["external_events"],
        "candidates.phase_pickup_a": [0.8, 1.6],
        "candidates.earth_pickup_a": [0.07, 0.09],
        "candidates.delay_s": [0.06],
        "policy.p_false_max": 0.01,
    }
    reactance = {
        "external_events.near_fault.external_reactance_pu": {
            "dist": "uniform",
            "low": 0.1,
            "high": 0.3,
        }
    }
    return run_study(study_with(RUN | coarse | reactance | {"study.rare_samples": 4096}), workers=1)


@pytest.mark.parametrize("which", ["counted", pytest.param("rare", marks=pytest.mark.slow)])
def test_the_last_point_is_the_candidate_in_the_tables(
    which: str, request: pytest.FixtureRequest
) -> None:
    result: Result = request.getfixturevalue(which)
    last = settled(result).iloc[-1]
    row = result.candidates.set_index("candidate").loc[int(last["candidate"])]
    assert last["candidate"] == result.chosen
    assert (last["share"], row["batch"]) == (1.0, 2)
    assert np.array_equal(last[NUMBERS].astype(float), row[NUMBERS].astype(float))


def test_points_are_halves_and_say_how_many_samples(counted: Result) -> None:
    frame = settled(counted)
    assert list(frame["share"]) == [0.25, 0.5, 1.0]  # 4 earth faults per installation
    assert list(frame["samples"]) == [1024, 2048, 4096]
    assert list(frame["earth_fault_samples"]) == [64, 128, 256]
    assert (frame["weighted_samples"] == 0).all()


@pytest.mark.parametrize("part", [2, 4])
def test_a_share_is_the_batch_that_a_shorter_run_draws(counted: Result, part: int) -> None:
    outcome, fresh = counted.outcome, counted.outcome.fresh
    assert fresh is not None
    short = study_with(
        RUN | {"study.samples": 4096 // part, "study.earth_fault_samples": 256 // part}
    )
    again = run_batch(
        short,
        lattices_of(short, *fresh.settings),
        fresh.round_,
        Workers(1),
        lambda done, total, what: None,
    )
    point = next(point for point in fresh.points if point.share == 1 / part)
    assert outcome.tries == 1
    for mine, other in (
        (point.missed, again.judgement.missed),
        (point.false, again.judgement.false),
    ):
        for one, two in zip(mine, other, strict=True):
            np.testing.assert_allclose(one, two, rtol=1e-9)  # sums of other lengths


@pytest.mark.slow
def test_weighted_samples_settle_too(rare: Result) -> None:
    frame, fresh = settled(rare), rare.outcome.fresh
    assert fresh is not None
    assert list(frame["weighted_samples"]) == [1024, 2048, 4096]
    assert any(
        stratum.weighted is not None and stratum.weighted.used[0]
        for stratum in fresh.strata.values()
    )
    numbers = frame[NUMBERS].to_numpy()
    assert np.isfinite(numbers).all()
    assert (frame["p_false_low"] <= frame["p_false"]).all()
    assert (frame["p_false"] <= frame["p_false_high"]).all()
    width = frame["p_false_high"] - frame["p_false_low"]
    assert width.iloc[-1] < width.iloc[0]


@pytest.mark.slow
def test_two_workers_give_the_points_of_one(counted: Result) -> None:
    pair = run_study(study_with(RUN), workers=2)
    pd.testing.assert_frame_equal(settled(pair), settled(counted), check_exact=True)


@pytest.mark.slow
def test_one_event_an_installation_is_one_point_and_no_figure() -> None:
    result = run_study(
        study_with(RUN | {"study.samples": 64, "study.earth_fault_samples": 64}), workers=1
    )
    assert all(design.events_per_installation == 1 for design in designs(result.study))
    frame = settled(result)
    assert list(frame["share"]) == [1.0]
    assert not worth_drawing(frame)
    found = findings(result, Workers(1))
    assert "convergence" in found.frames
    assert "convergence" not in found.figures


def test_without_a_fresh_batch_there_is_nothing_to_show() -> None:
    strict = RUN | {
        "study.samples": 64,
        "study.earth_fault_samples": 64,
        "policy.p_false_max": 1e-6,
    }
    result = run_study(study_with(strict), workers=1)
    assert result.outcome.fresh is None
    assert "convergence" not in findings(result, Workers(1)).frames


@pytest.mark.parametrize(
    ("events", "share", "first"),
    [(40, 0.5, [16, 4]), (40, 0.25, [10, 0]), (39, 0.5, [16, 4]), (40, 1 / 32, [2, 0])],
)
def test_the_first_events_of_an_installation_lie_in_the_first_chunks(
    events: int, share: float, first: list[int]
) -> None:
    design = Design(16, 16 * events, chunk_samples=16)
    found = [
        design.first_events(Chunk(Stratum("external.x"), 0, 16 * block, 0, block), share)
        for block in range(3)
    ]
    assert found == [*first, 0]
