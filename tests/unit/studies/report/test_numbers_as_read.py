"""Numbers as a reader sees them: no -0, no share above all, costs in their unit, one figure."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest

from montecarlo.estimates.drivers import Bound, Rule, worths
from montecarlo.estimates.intervals import Estimate
from montecarlo.frames.choosing import hinge
from montecarlo.sampling.stratum import EARTH
from studies.cli.output import write_table
from studies.drivers.frames import driver_rows
from studies.drivers.text import _setting
from studies.earthing.text import earthing_text
from studies.nominal.stability import left_unprotected
from studies.protocol import Drawn, Findings
from studies.report.catalogue import figure_text, table_text, with_unit
from studies.report.frame_table import frame_table
from studies.report.numbers import amount, cost_with_limits, percent, years_between
from studies.report.words import counted, plural
from tests.made import results
from tests.made.rare_cases import rng
from tests.made.said import words
from tests.made.studies import study_with
from tests.unit.montecarlo.estimates.drivers.test_driver_worth import samples
from tests.unit.montecarlo.estimates.test_compare import LIMIT, outcome
from tests.unit.studies.earthing.test_earthing_text import gaps, option

if TYPE_CHECKING:
    from pathlib import Path

    from montecarlo import Result
    from studies.drivers.answers import Drivers
    from studies.earthing.frames import Options

COST = {"policy": {"least_annual_cost": {"missed_fault": 2e6, "false_trip": 8e4, "unit": "EUR"}}}


def test_no_text_says_minus_0() -> None:
    assert percent(-0.0) == "0 %"
    assert amount(-0.0, "+") == "0"
    assert amount(-0.0) == "0"


def test_no_table_says_minus_0(tmp_path: Path) -> None:
    import pandas as pd

    frame = pd.DataFrame(
        {"difference": [-0.0, -0.5], "low": [-0.0, -1.0], "high": [0.0, -0.0], "unit": ["-", "-"]}
    )
    found = Findings({"comparison": frame}, Drawn({}))
    write_table(found.frames["comparison"], tmp_path / "a.csv")
    assert (tmp_path / "a.csv").read_text().splitlines()[1:] == ["0.0,0.0,0.0,-", "-0.5,-1.0,0.0,-"]
    # and the report, from any frame
    assert frame_table(frame, "", "").rows[0][0] == "0 (0 to 0)"


def test_no_part_of_the_winding_is_above_all_of_it() -> None:
    assert left_unprotected(0.376) == "37.6 %"
    assert left_unprotected(1.502, 4) == "all (x = 1.502)"


def test_no_share_of_a_variance_is_below_0_or_above_1() -> None:
    """Estimates by chance: -0.02 with limits from -0.1 to 1.3."""
    effect = Estimate(np.array([-0.02]), np.array([-0.1]), np.array([1.3]))
    part = SimpleNamespace(
        stratum=EARTH,
        output="x",
        groups=[SimpleNamespace(name="ct.ankle_ratio")],
        effects=SimpleNamespace(first=effect, total=effect),
        rows=64,
        floored=0.0,
        lost=0.0,
    )
    (row,) = driver_rows(cast("Drivers", SimpleNamespace(effects=[part]))).to_dict("records")
    assert [row[name] for name in ("first", "first_low", "first_high", "total_high")] == [
        0,
        0,
        1,
        1,
    ]


# --- costs --------------------------------------------------------------------


def test_differences_of_costs_have_their_unit_in_a_column() -> None:
    import pandas as pd

    frame = pd.DataFrame(
        {"pair": "a", "quantity": ["p_missed", "cost_per_year"], "difference": [0.1, 120.0]}
    )
    told = with_unit(
        {"comparison": frame, "inputs": pd.DataFrame({"key": ["a"]})}, study_with(COST)
    )
    assert list(told["comparison"].columns) == ["pair", "quantity", "unit", "difference"]
    assert list(told["comparison"]["unit"]) == ["-", "EUR a year"]
    assert "unit" not in told["inputs"]
    assert "unit" not in with_unit({"comparison": frame}, study_with())["comparison"]


def test_differences_of_damage_have_their_unit_too() -> None:
    import pandas as pd

    every = ["p_nobody", "damage_mean_s", "decision_cost_per_year"]
    frames = {"alternative_differences": pd.DataFrame({"quantity": every})}
    told = with_unit(frames, study_with(COST))["alternative_differences"]
    assert list(told["unit"]) == ["-", "s", "EUR a year"]
    without = {"alternative_differences": frames["alternative_differences"].iloc[:2]}
    told = with_unit(without, study_with())["alternative_differences"]
    assert list(told["unit"]) == ["-", "s"]


def test_a_cost_is_told_with_its_limits() -> None:
    row = {"cost_per_year": 3456.0, "cost_per_year_low": 3200.0, "cost_per_year_high": 3700.0}
    assert cost_with_limits(row, "EUR") == "3,460 EUR a year (3,200 to 3,700)"


# --- one figure ---------------------------------------------------------------


def test_what_the_choice_hinges_on_has_the_figure_that_the_tables_have() -> None:
    """Candidate 2 misses 20 % in the study's batch, 20.3 % in the fresh one, as the tables show."""
    own = outcome(LIMIT, 3, allowed=np.array([False, False, False, True]))
    again = outcome(LIMIT, 3, allowed=np.array([False, False, False, True])).first
    cast("Any", again).judgement.missed.total[:] = [0.101, 0.203, 0.203, 0.401]
    cast("Any", again).number = 2
    cast("Any", own).batch_of = lambda setting: again
    found = hinge(own)
    assert found is not None
    assert (found.aim, found.batch) == (0.203, 2)


def test_the_setting_that_drivers_look_at_has_the_figures_of_its_candidate() -> None:
    frame = results.candidates().assign(batch=2)
    row = frame.iloc[4]
    result = SimpleNamespace(
        chosen=5,
        study=study_with(),
        candidates=frame,
        outcome=SimpleNamespace(settings=[*range(len(frame))]),
    )
    found = SimpleNamespace(setting=4, now={"p_missed": Estimate(*(np.asarray(0.99),) * 3)})
    text = " ".join(_setting(cast("Result", result), cast("Drivers", found)))
    assert f"it leaves {percent(row['p_missed'], 3)} (" in text
    assert "selection sample" not in text
    assert "99" not in text


def test_worth_of_measuring_starts_from_the_setting_that_was_chosen() -> None:
    """These samples alone would choose the second; the study chose the third."""
    one = np.ones(3)
    costs = {"internal.a": 2.0, "external.b": 1.0}
    false = {"external.b": 1.0}
    bounds = (Bound(false, np.inf, one, 0 * one),)
    rule = Rule({"internal.a": 1.0}, false, one.astype(bool), bounds, costs, today=2)
    found = worths(samples(), ["known", "dead"], rule, rng(84))
    assert {each.chosen_today for each in found.values()} == {2}
    # as the study's own figures have it
    shifted = replace(rule, shift=np.array([1.0, 1.0, 0.0]))
    found = worths(samples(), ["dead"], shifted, rng(84))
    assert found["dead"].chosen == (2, 2, 2, 2)
    assert found["dead"].difference["cost_per_year"].p == 0


# --- energy -------------------------------------------------------------------


def test_energy_in_a_bolted_fault_is_said_to_be_0() -> None:
    assert "I^2 R_f" in figure_text("protection_against_energy").caption
    assert "0 if it is bolted" in table_text("earthing_options").caption
    rows = [
        option(
            "200 A",
            0.2,
            1e4,
            scheme="per_phase",
            p_false=0.0,
            p_false_low=0.0,
            p_false_high=0.01,
            protected_median=0.5,
            protected_p05=0.4,
            protected_p95=0.6,
            resistor_energy_j_mean=1.0,
            resistor_energy_j_mean_low=0.9,
            resistor_energy_j_mean_high=1.1,
            terminal_fault_a_p05=1.0,
            terminal_fault_a_p95=2.0,
            **results.candidates()
            .iloc[0][
                [
                    "phase_pickup_a",
                    "earth_pickup_a",
                    "stabilising_resistance_ohm",
                    "delay_s",
                    "first_slope",
                    "second_slope",
                    "turning_point_a",
                ]
            ]
            .to_dict(),
        )
        for _ in range(1)
    ]
    import pandas as pd

    options = SimpleNamespace(
        table=pd.DataFrame(rows),
        study=study_with(),
        differences=gaps(rows),
        results={"200 A": SimpleNamespace(chosen=None, closest=pd.DataFrame())},
        alternatives=SimpleNamespace(outcomes={"200 A": SimpleNamespace(notes=())}),
        unresolved_rows=(),
        doubts={},
        radius=None,
    )
    text = words(earthing_text(cast("Options", options)))
    assert "0 in a bolted fault" in text


@pytest.mark.parametrize("needed", ["not met", "simulated CT saturation", "remanence", "delay of"])
def test_a_hand_rule_that_the_choice_breaks_is_not_met(needed: str) -> None:
    from tests.unit.studies.report.test_report import choice, chosen, said

    assert needed in said(choice(chosen()).beside_by_hand())
    assert "Not met by hand: stabilising resistance, " in said(
        [block for section in choice(chosen()).settings() for block in section.blocks]
    )


# --- counts -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (0, "0 circuits"),
        (1, "1 circuit"),
        (2, "2 circuits"),
        (16384, "16,384 circuits"),
        (1234567, "1,234,567 circuits"),
    ],
)
def test_a_noun_follows_its_number(number: int, said: str) -> None:
    assert counted(number, "circuit") == said


def test_a_difference_of_one_is_one_point() -> None:
    assert [plural("point", float(text)) for text in ("+1", "-1", "+1.2", "0")] == [
        "point",
        "point",
        "points",
        "points",
    ]


def test_one_in_so_many_years() -> None:
    said = [years_between(rate, 2) for rate in (0.99, 0.5, 1 / 2000)]
    assert said == ["one in 1 year", "one in 2 years", "one in 2,000 years"]
