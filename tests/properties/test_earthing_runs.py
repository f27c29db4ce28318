"""Whole runs of options of earthing that count damage: what must hold among the tables."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from montecarlo.engine.clearing import sample_clearing
from montecarlo.engine.progress import silent
from montecarlo.engine.workers import workers_of
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.study.shifts import Way
from studies.clearing.several import tables
from studies.earthing.frames import Options, run_options
from studies.earthing.radius import option_radius
from studies.earthing.run import EarthingOptions, findings
from tests.made.said import words
from tests.made.studies import FEW_TYPES, REMOVE, study_with

if TYPE_CHECKING:
    import pandas as pd

COST = {
    "missed_fault": 300.0,
    "false_trip": 40.0,
    "unit": "kEUR",
    "damage": {"at_reference": 10.0, "reference_s": 2.0, "power": 1.0},
}
PATHS = ["phase_elements", "earth_element", "neutral_voltage"]
CHANGES: dict[str, Any] = {
    **FEW_TYPES,
    "study.kind": "earthing_options",
    "study.radius": True,
    "study.samples": 256,
    "study.earth_fault_samples": 64,
    "backup": {"neutral_voltage": {"pickup_percent": 10, "delay_s": 0.3}},
    "candidates.stabilising_resistance_ohm": [300],
    "policy.p_false_max": REMOVE,
    "policy.least_annual_cost": COST,
    "earthing_options": [
        {"name": "10 ohm", "resistance_ohm": 10},
        {"name": "300 ohm", "resistance_ohm": 300},
        {"name": "as 10 ohm", "resistance_ohm": 10},
    ],
    "fault_energy": {
        "breaker_time_s": 0.08,
        "field_decay_time_constant_s": 1.0,
        "undetected_time_s": 10,
    },
    "damage": {
        "zones": [
            {"name": "insulation", "current_a": 10, "time_s": 1},
            {"name": "core", "current_a": 100, "time_s": 1},
        ]
    },
    "dependability": {
        "proof_test_years": 4,
        "test_cost": 2.0,
        "parts": [
            {
                "name": "relay",
                "paths": PATHS[:2],
                "dangerous_per_year": 0.02,
                "spurious_per_year": 0.003,
            },
            {"name": "breaker", "paths": PATHS, "dangerous_per_year": 0.01},
        ],
    },
}


UNDETECTED = {"dist": "uniform", "low": 8, "high": 12}
LATER = {"dist": "uniform", "low": 18, "high": 22}


@cache
def options() -> Options:
    return run_options(study_with(CHANGES), workers=1)


def row(table: pd.DataFrame, name: str) -> Any:
    (found,) = [one for one in table.to_dict("records") if one["option"] == name]
    return found


def test_every_table_has_the_option_first_and_adds_up() -> None:
    found = tables(options().clearing, "option")
    assert {*found} == {"who_clears", "damage", "damage_zones", "dependability", "test_intervals"}
    assert all(frame.columns[0] == "option" for frame in found.values())
    assert all(frame["option"].nunique() == 3 for frame in found.values())
    zones = found["damage_zones"].groupby("option")["p"].sum()
    assert zones.to_numpy() == pytest.approx(1.0)
    every = found["who_clears"].groupby(["option", "type", "failure_rates"])["p"].sum()
    assert every.to_numpy() == pytest.approx(1.0)


@pytest.mark.parametrize("name", ["10 ohm", "300 ohm"])
def test_a_row_says_what_the_tables_say(name: str) -> None:
    given, found = row(options().table, name), tables(options().clearing, "option")
    who = found["who_clears"].query(f"option == '{name}' and type == 'all'")
    stated = who[who["failure_rates"] == "as stated"].set_index("path")["p"]
    assert given["p_nobody"] == pytest.approx(stated["nobody"])
    assert given["p_backup"] == pytest.approx(stated["neutral_voltage"])
    sound = who[who["failure_rates"] == "none"].set_index("path")["p"]
    assert sound["nobody"] < stated["nobody"] < given["p_missed"]
    damage = found["damage"].query(f"option == '{name}'").set_index("path")
    assert given["damage_mean_s"] == pytest.approx(damage.loc["all", "mean_s"])
    assert given["damage_nobody_share"] == pytest.approx(
        damage.loc["nobody", "mean_s"] / damage.loc["all", "mean_s"]
    )
    zones = found["damage_zones"].query(f"option == '{name}'")
    assert [given[f"p_zone_{k}"] for k in (1, 2, 3)] == zones["p"].tolist()
    for key in ("p_nobody", "damage_mean_s", "p_zone_3", "decision_cost_per_year"):
        assert given[f"{key}_low"] <= given[key] <= given[f"{key}_high"]


@pytest.mark.parametrize("name", ["10 ohm", "300 ohm"])
def test_cost_is_that_of_damage_of_faults_that_nobody_clears_of_trips_and_of_tests(
    name: str,
) -> None:
    """A cost that goes with the damage is that of its mean."""
    given = row(options().table, name)
    damage = 0.01 * 0.8 * 10.0 / 2.0 * given["damage_mean_s"]
    nobody = 0.01 * 0.99 * 300.0 * given["p_nobody"]
    trips = 40.0 * (given["false_per_year"] + 0.003)
    assert given["unwanted_per_year"] == pytest.approx(0.003)
    assert given["decision_cost_per_year"] == pytest.approx(damage + nobody + trips + 2.0 / 4)


def test_differences_are_those_of_the_rows_and_none_of_an_option_from_itself() -> None:
    table, every = options().table, options().differences
    for gap in every.to_dict("records"):
        quantity = gap["quantity"]
        if quantity not in ("p_nobody", "damage_mean_s", "decision_cost_per_year"):
            continue
        one, other = (row(table, gap[key])[quantity] for key in ("option", "minus"))
        assert gap["difference"] == pytest.approx(one - other, abs=1e-12)
        assert gap["low"] <= gap["difference"] <= gap["high"]
        if {gap["option"], gap["minus"]} == {"10 ohm", "as 10 ohm"}:
            assert gap["low"] == gap["high"] == 0
    units = every.set_index("quantity")["unit"].to_dict()
    assert units["damage_mean_s"] == "s"
    assert units["decision_cost_per_year"] == "kEUR a year"


def test_a_pair_is_told_apart_better_than_by_limits_of_each() -> None:
    one, other = (options().clearing[name].block_means() for name in ("10 ohm", "300 ohm"))
    gap = one["p_nobody"] - other["p_nobody"]
    apart = np.hypot(np.std(one["p_nobody"]), np.std(other["p_nobody"]))
    assert np.std(gap) < apart


def test_the_report_has_table_and_figure_and_progress_knows_the_stage() -> None:
    found = findings(options(), rough=True)
    assert found.begin[1] == "damage_against_nobody.svg"
    assert {"who_clears", "damage_zones"} <= {*found.frames}
    stages = [stage.what for stage in EarthingOptions().stages(options().study)]
    assert sum("who clears faults" in stage for stage in stages) == 3


def test_the_radius_goes_by_what_the_answer_is_decided_by() -> None:
    """By cost a year, with the time for which nobody clears a fault higher in the file."""
    study = study_with(CHANGES | {"fault_energy.undetected_time_s": UNDETECTED})
    own = run_options(study, workers=1)
    found = option_radius(own, workers_of(1), silent)
    assert found is not None
    assert found.best == own.table.set_index("option")["decision_cost_per_year"].idxmin()
    later = dict(study_with(CHANGES | {"fault_energy.undetected_time_s": LATER}).options)
    moved = {}
    for name in found.among:
        setting, round_ = (getattr(own.clearing[name].clearing, it) for it in ("setting", "round_"))
        again = sample_clearing(later[name], setting, round_, workers_of(1), silent)
        means = ClearingFrames(again).block_means()
        false = row(own.table, name)["false_per_year"]
        faults = 0.01 * 0.8 * 10.0 / 2.0 * means["damage_mean_s"].mean()
        faults += 0.01 * 0.99 * 300.0 * means["p_nobody"].mean()
        moved[name] = faults + 40.0 * (false + 0.003) + 2.0 / 4
    key = "fault_energy.undetected_time_s"
    (turn,) = [one for one in found.turns if (one.key, one.way) == (key, Way.HIGHER)]
    assert turn.looked_at == pytest.approx(10)
    least = min(each for name, each in moved.items() if name != found.best)
    assert turn.lead == pytest.approx(least / moved[found.best], rel=1e-9)


def test_the_radius_stands_in_the_answer_and_in_a_table() -> None:
    found = EarthingOptions().run(options().study, workers=1)
    assert {"input", "stands_to", "best_beyond"} <= {*found.frames["options_radius"].columns}
    lead = words(found.text[:1])
    assert "least total cost whichever one input is off" in lead or " has the least total" in lead
    without = study_with(CHANGES | {"study.radius": False})
    assert option_radius(replace(options(), study=without), workers_of(1), silent) is None


def test_a_study_without_either_table_has_none_of_it() -> None:
    plain = {key: value for key, value in CHANGES.items() if key not in ("damage", "dependability")}
    costs = {key: value for key, value in COST.items() if key != "damage"}
    done = run_options(study_with(plain | {"policy.least_annual_cost": costs}), workers=1)
    assert done.clearing == {}
    assert not {"p_nobody", "damage_mean_s", "decision_cost_per_year"} & {*done.table.columns}
    assert not {"p_nobody", "damage_mean_s"} & {*done.differences["quantity"]}
    assert "damage_against_nobody" not in findings(done, rough=True).figures
