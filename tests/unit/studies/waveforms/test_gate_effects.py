"""What gates do in time: the re-solution counts what the run counts, and sentences say it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo import Result, run_study
from montecarlo.engine.block import Block
from montecarlo.frames.gates import fastest, gate_rows
from montecarlo.quantities import Array
from montecarlo.relays.gates import NO_GATE
from montecarlo.sampling.stratum import EVOLVING
from montecarlo.secondary.measurement import holds_from
from montecarlo.study.read import parse_study
from studies.sweep.gates import gates_part, sentences, without_gate
from studies.waveforms.gate_effects import NEVER, _job, _operates, acts, gate_effects
from tests.properties.test_gate_runs import SHIPPED, shipped

FEW = {"samples": 256, "installations": 32, "rare_samples": 0, "racing": False}


@pytest.fixture(scope="module")
def result() -> Result:
    table = shipped(**FEW)
    table["candidates"] |= {"phase_pickup_a": [0.5], "delay_s": [0.004, 0.05]}
    table["internal_faults"]["evolving"]["after_s"] = {
        "dist": "uniform",
        "low": 0.005,
        "high": 0.05,
    }
    return run_study(parse_study(table, SHIPPED.parent), workers=1)


@pytest.fixture(scope="module")
def frame(result: Result) -> pd.DataFrame:
    without = without_gate(result)
    assert without is not None
    effects = gate_effects(result.study, without)
    return pd.DataFrame(gates_part(result, without, effects).frames["gates"])


def test_gates_are_shown_at_the_least_delay_beside_none(result: Result) -> None:
    shown = replace(result.outcome.settings[0], gate="latched", delay_s=0.05)
    found = fastest(result.outcome, shown)
    assert found == replace(shown, gate=NO_GATE, delay_s=0.004)
    assert fastest(result.outcome, replace(shown, gate=None)) is None
    assert fastest(result.outcome, replace(shown, phase_pickup_a=7.0)) is None


def test_a_row_is_the_candidates_own_figures(result: Result, frame: pd.DataFrame) -> None:
    by_type = result.by_type.set_index(["candidate", "type"])
    for row in frame.to_dict("records"):
        for column, number in (
            ("p_with", row["candidate_with"]),
            ("p_without", row["candidate_without"]),
        ):
            assert row[column] == by_type.loc[(number, row["type"]), "p"]
        assert row["difference"] == pytest.approx(row["p_with"] - row["p_without"], abs=1e-12)
        assert row["low"] <= row["difference"] <= row["high"]


def test_the_limits_hold_for_all_rows_together(result: Result, frame: pd.DataFrame) -> None:
    """Wider than those of one pair alone."""
    without = without_gate(result)
    assert without is not None
    table = shipped(**FEW)
    assert len(gate_rows(result.outcome, without)) == len(frame) == 2 * 9
    assert {*frame["gate"]} == {gate["name"] for gate in table["scheme"]["gates"]}


def test_the_gate_that_blocks_all_outside_started_there(frame: pd.DataFrame) -> None:
    outside = frame[frame["quantity"] == "p_false"].set_index(["gate", "type"])
    for gate in ("change_and_dc", "latched"):
        row = outside.loc[(gate, "hv_three_phase")]
        assert row["p_without"] > 0.5
        assert row["p_started"] >= row["p_without"] - row["p_with"]
        assert row["p_held_at_clearing"] <= row["p_started"]
    assert np.isnan(outside.loc[("latched", "transformer_inrush"), "p_held_at_clearing"])


def test_what_is_lost_inside_is_what_the_run_misses_more(frame: pd.DataFrame) -> None:
    """All samples of the run are solved again: a type without false trips before it loses as
    many."""
    inside = frame[(frame["quantity"] == "p_missed") & (frame["type"] != "evolving")]
    assert (inside["looked_at"] == FEW["samples"]).all()
    lost = inside["p_lost"] * (1 - inside["p_without"])
    np.testing.assert_allclose(lost, inside["difference"], atol=1e-12)
    evolving = frame[frame["type"] == "evolving"].set_index("gate")
    assert (evolving["added_delay_median_s"] > 0.01).all()
    assert evolving.loc["latched", "p_lost"] > evolving.loc["change_and_dc", "p_lost"]


def test_what_had_operated_before_is_no_detection(result: Result) -> None:
    """The compiled pass counts what the traces show."""
    without = without_gate(result)
    assert without is not None
    job = _job(result.study, without)
    parts = [acts(Block(job, chunk)) for chunk in job.design_of(EVOLVING).chunks(EVOLVING)]
    by_type = result.by_type.set_index(["candidate", "type"])
    shares = set()
    for gate in (NO_GATE, *result.study.candidates.gates_in_use):
        number = result.outcome.settings.index(replace(without, gate=gate)) + 1
        row = by_type.loc[(number, EVOLVING.kind)]
        before = np.concatenate([part[gate].before for part in parts])
        operates = np.concatenate([part[gate].operates_s for part in parts])
        assert row["p_operated_before"] == before.mean()
        missed = (before > 0) | (operates == NEVER)
        assert row["p"] == missed.mean()
        shares.add(row["p_operated_before"])
    assert max(shares) > 0 == min(shares)
    outside = result.by_type[result.by_type["type"] != EVOLVING.kind]
    assert outside["p_operated_before"].isna().all()


def test_every_sample_operates_where_one_alone_does() -> None:
    random = np.random.default_rng(5)
    quantity: Array = random.uniform(0, 2, (40, 60))
    pickups = random.uniform(0.2, 1.2, 40)
    for hold in (0, 1, 4, 70):
        one_by_one = [
            holds_from(quantity[k], float(pickups[k]), hold, 0.9) for k in range(len(pickups))
        ]
        expected = [NEVER if step is None else step for step in one_by_one]
        assert _operates(quantity, pickups, hold, 0.9).tolist() == expected


ROW: dict[str, Any] = {
    "gate": "held",
    "quantity": "p_missed",
    "type": "three_phase",
    "p_without": 0.0,
    "p_with": 0.0,
    "p_with_high": 0.01,
    "difference": 0.0,
    "added_delay_median_s": 0.0,
    "added_delay_p95_s": 0.0,
    "p_lost": 0.0,
}
OUTSIDE = ROW | {
    "quantity": "p_false",
    "type": "bus",
    "p_without": 0.7,
    "p_with": 1e-4,
    "difference": -0.6999,
    "added_delay_median_s": np.nan,
    "added_delay_p95_s": np.nan,
    "p_lost": np.nan,
}
FOLLOWS = ROW | {
    "type": "evolving",
    "added_delay_median_s": 0.054,
    "added_delay_p95_s": 0.1,
    "p_lost": 0.04,
}


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (
            [OUTSIDE, ROW, FOLLOWS],
            "The gate held takes p_false of bus from 70 % to 0.01 %. An internal fault after an"
            " external one is then detected 54 ms later (median); 4 % are not detected within"
            " 0.24 s.",
        ),
        (
            [OUTSIDE | {"p_with": 0.0}, ROW],
            "The gate held takes p_false of bus from 70 % to none seen, fewer than 1 %. No internal"
            " fault that was looked at is detected later.",
        ),
        (
            [OUTSIDE | {"difference": 0.0}, ROW | {"p_lost": 1.0, "added_delay_median_s": np.nan}],
            "The gate held takes nothing off p_false of any event. A fault of the type three_phase"
            " is then not detected within 0.24 s.",
        ),
    ],
)
def test_sentences(rows: list[dict[str, Any]], said: str) -> None:
    assert [*sentences(pd.DataFrame(rows), 0.24)] == [said]
