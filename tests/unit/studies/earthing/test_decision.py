"""What the owner decides on: the criterion, what rules an option out, and a small comparison from
the study to the first line."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest

from montecarlo.frames.clearing import NOBODY, RATE_WORDS
from montecarlo.frames.damage import ALL
from montecarlo.study.description import Study
from studies.earthing.decision import criterion, lead
from studies.earthing.frames import Options, run_options
from studies.earthing.run import findings
from studies.earthing.text import earthing_text
from studies.report.blocks import Table
from tests.made.clearing import BACKUP, SMALL, TIMES, part, with_parts
from tests.made.said import words
from tests.made.studies import study_with
from tests.unit.studies.earthing.test_earthing_text import option

DAMAGE: dict[str, Any] = {
    "fault_energy": TIMES,
    "damage": {
        "exponent": {"dist": "uniform", "low": 1, "high": 2},
        "zones": [{"name": "one coil", "current_a": 10, "time_s": 1}],
    },
}
COSTS: dict[str, Any] = {
    "policy": {
        "least_annual_cost": {
            "missed_fault": 10.0,
            "false_trip": 1.0,
            "damage": {"at_reference": 2.0, "reference_s": 5.0},
        }
    }
}


def row(name: str, mean_s: float, nobody: float, **more: Any) -> dict[str, Any]:
    limits = {
        f"{column}{end}": value * factor
        for column, value in (
            ("damage_mean_s", mean_s),
            ("p_nobody", nobody),
            ("p_zone_2", 0.01),
        )
        for end, factor in (("", 1.0), ("_low", 0.9), ("_high", 1.1))
    }
    shares = {"damage_after_opening_share": 0.2, "damage_nobody_share": 0.5, "p_backup": 0.8}
    shares["protected_p95"] = 0.8
    return option(name, 0.842, 100.0) | limits | shares | {"unwanted_per_year": 0.0} | more


def said(study: Study, rows: list[dict[str, Any]]) -> list[str]:
    apart = Counter(
        {
            (one["option"], other["option"], quantity): 1 if one[quantity] > other[quantity] else -1
            for one in rows
            for other in rows
            for quantity in ("damage_mean_s", "p_nobody")
            if one is not other
        }
    )
    return [*lead(study, rows, apart)]


def test_the_first_line_is_true_for_a_small_current_with_back_up() -> None:
    """5 A misses most of the differential's faults, and still burns least."""
    study = study_with(DAMAGE | {"backup": BACKUP})
    lines = said(study, [row("5 A", 3.2, 0.004), row("400 A", 6400.0, 0.002)])
    assert lines[0] == 'Least mean damage: "5 A".'
    assert "as much damage as 10 A in 3.2 (2.88 to 3.52) s" in lines[1]
    assert lines[2] == '1 % (0.9 to 1.1 %) of the earth faults end in "beyond the zones".'
    assert lines[3] == (
        "The differential scheme alone misses 84.2 % of the internal faults within its scope. The"
        " neutral back-up clears 80 %. Nobody clears 0.4 % (0.36 to 0.44 %)."
    )


def test_an_option_that_breaks_the_overvoltage_rule_or_its_rating_is_left_out() -> None:
    study = study_with(DAMAGE)
    rows = [
        row("5 A", 3.2, 0.004, keeps_capacitive_rule=False),
        row("10 A", 5.0, 0.004, beyond_rating_share=0.1),
        row("400 A", 6400.0, 0.002),
    ]
    lines = said(study, rows)
    assert lines[0] == 'Least mean damage: "400 A".'
    assert any("Left out of this answer" in line and '"5 A"' in line for line in lines)
    every = said(study, rows[:2])
    assert every[0] == 'Least mean damage: "5 A".'
    assert any(line.startswith("No option keeps both") for line in every)


def test_the_criterion_follows_what_the_study_gives() -> None:
    assert criterion(study_with()).name == "p_missed"
    parts = with_parts(part("relay", "phase_elements"))
    assert criterion(study_with(parts)).name == "p_nobody"
    assert criterion(study_with(DAMAGE)).name == "damage_mean_s"
    assert criterion(study_with(DAMAGE | COSTS)).name == "decision_cost_per_year"


@pytest.fixture(scope="module")
def compared() -> Options:
    changes = {
        "study.kind": "earthing_options",
        "policy": {"p_false_max": 0.9},
        "earthing_options": [
            {"name": "30 A", "current_limit_a": 30.0, "rated_current_a": 30, "rated_time_s": 600},
            {"name": "400 A", "current_limit_a": 400.0},
            {
                "name": "400 A, then 10 A",
                "current_limit_a": 390.0,
                "high_resistance_ohm": 635.0,
                "switch_time_s": 0.08,
            },
        ],
    }
    parts = with_parts(
        part("relay", "phase_elements", "earth_element", rate=0.1),
        part("breaker", "phase_elements", "earth_element", "neutral_voltage", rate=0.02),
    )
    return run_options(study_with(SMALL | DAMAGE | parts | changes), workers=1)


def test_the_columns_are_those_of_the_tables(compared: Options) -> None:
    for name, frames in compared.clearing.items():
        own = compared.table.set_index("option").loc[name]
        who = frames.who_clears()
        nobody = who[
            (who["type"] == ALL)
            & (who["path"] == NOBODY)
            & (who["failure_rates"] == RATE_WORDS[frames.stated])
        ]
        assert own["p_nobody"] == nobody["p"].iloc[0]
        assert own["damage_mean_s"] == frames.damage()["mean_s"].iloc[0]
        assert own["damage_mean_s_low"] < own["damage_mean_s"] < own["damage_mean_s_high"]


def test_the_switch_takes_damage_off_and_differences_are_paired(compared: Options) -> None:
    rows = compared.differences.set_index(["option", "minus", "quantity"])
    gap = rows.loc[("400 A", "400 A, then 10 A", "damage_mean_s")]
    means = compared.table.set_index("option")["damage_mean_s"]
    assert gap["difference"] == pytest.approx(means["400 A"] - means["400 A, then 10 A"])
    assert gap["low"] > 0
    after = compared.table.set_index("option")["damage_after_opening_share"]
    assert after["400 A, then 10 A"] < after["400 A"]
    assert means["30 A"] < means["400 A, then 10 A"]


def test_the_report_opens_with_the_damage(compared: Options) -> None:
    said = earthing_text(compared)
    assert words(said).startswith('Least mean damage: "30 A".')
    first = next(block for block in said if isinstance(block, Table))
    assert "damage, s of 10 A" in first.header
    found = findings(compared)
    for name in ("who_clears", "damage", "damage_zones", "dependability", "test_intervals"):
        assert found.frames[name].columns[0] == "option"
        assert set(found.frames[name]["option"]) == set(compared.results)
    zones = found.frames["damage_zones"].groupby("option")["p"].sum()
    assert zones.to_numpy() == pytest.approx(np.ones(3))
    assert "damage_against_nobody" in {*found.figures}
