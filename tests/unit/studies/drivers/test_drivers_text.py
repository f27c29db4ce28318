"""What a study of drivers says, on invented tables: no sentence beyond its intervals."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

from montecarlo.estimates.verdicts import Verdict
from studies.drivers.figures import that_vary
from studies.drivers.text import _assumed, _leaders, _leading, _measure, _specify
from studies.report.blocks import Paragraph, Table
from studies.report.words import input_name
from tests.made.studies import study_with

INSTALLATIONS = {"ct.ankle_ratio", "ct.knee_current_a", "earthing.resistance_ohm"}
LINES = "internal_faults.earth_fault_resistance_ohm"


def effects(*rows: tuple[str, float, float]) -> pd.DataFrame:
    """Inputs with the limits of their total effects, the largest first."""
    return pd.DataFrame(
        [
            {"input": key, "total": (low + high) / 2, "total_low": low, "total_high": high}
            for key, low, high in rows
        ]
    )


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (
            [("ct.ankle_ratio", 0.5, 0.6), ("load.current_pu", 0.2, 0.4)],
            "CTs' ankle ratio (50 to 60 %)",
        ),
        (
            [("ct.ankle_ratio", 0.5, 0.6), ("load.current_pu", 0.4, 0.55)],
            ("CTs' ankle ratio (50 to 60 %) and load's current (40 to 55 %)"),
        ),
        ([("ct.ankle_ratio", -0.1, 0.2)], "no single input that these samples show"),
        (
            [(f"ct.a{k}_v", 0.1, 0.3) for k in range(6)],
            "CTs' a0 (10 to 30 %), CTs' a1 (10 to 30 %), CTs' a2 (10 to 30 %) and 3 more",
        ),
    ],
)
def test_the_leading_input_is_named_only_where_it_leads(
    rows: list[tuple[str, float, float]], words: str
) -> None:
    assert _leading(effects(*rows)) == words


def test_what_a_gate_leaves_still_is_one_sentence() -> None:
    still = effects(("ct.ankle_ratio", 0.0, 0.0)).assign(side="external", output="current")
    moves = effects(("ct.ankle_ratio", 0.5, 0.6)).assign(side="external", output="current")
    frame = pd.concat([still.assign(type="a_fault"), moves.assign(type="inrush")])
    table, sentence = _leaders(frame, "held")
    assert isinstance(table, Table)
    assert [row[0] for row in table.rows] == ["currents in the elements, inrush"]
    assert isinstance(sentence, Paragraph)
    assert sentence.text == (
        "While the gate held blocks, no current varies that could trip in a fault. So no input is"
        " named there."
    )
    (whole,) = _leaders(frame)
    assert isinstance(whole, Table)
    assert len(whole.rows) == 2
    (alone,) = _leaders(frame[frame["type"] == "a_fault"], "held")
    assert isinstance(alone, Paragraph)
    assert that_vary(frame)["type"].tolist() == ["inrush"]
    assert len(that_vary(still.assign(type="a_fault"))) == 1


def change(
    key: str,
    quantity: str,
    centre: tuple[float, float],
    half: tuple[float, float],
    now: float = 0.2,
) -> list[dict[str, Any]]:
    """Rows of what_if, each difference by its limits."""
    return [
        {
            "input": key,
            "change": what,
            "quantity": quantity,
            "p_now": now,
            "p_then": now + (low + high) / 2,
            "p_then_high": now + high,
            "difference": (low + high) / 2,
            "difference_low": low,
            "difference_high": high,
            "verdict": Verdict.ALIKE if low <= 0 <= high else Verdict.APART,
        }
        for what, (low, high) in (("at its centre", centre), ("half as uncertain", half))
    ]


def test_what_falls_by_more_than_its_interval_is_told_with_it() -> None:
    frame = pd.DataFrame(
        change("ct.ankle_ratio", "p_missed", (-0.05, -0.03), (-0.03, -0.01))
        + change("ct.knee_current_a", "p_missed", (-0.02, 0.01), (-0.02, 0.01))
    )
    assert (
        _specify(frame, INSTALLATIONS)
        == "Specify first: the CTs' ankle ratio. Half the uncertainty of the CTs' ankle ratio would"
        " lower missed faults by 1 to 3 percentage points. Left then: 90 % of them. Left with this"
        " input at its centre: 80 % of them."
    )
    assert _assumed(frame, INSTALLATIONS) == ""


def test_a_rise_and_a_difference_that_holds_0_are_no_reason() -> None:
    frame = pd.DataFrame(
        change("ct.ankle_ratio", "p_missed", (0.01, 0.02), (0.01, 0.02))
        + change("ct.knee_current_a", "p_false", (-0.02, 0.01), (-0.02, 0.01))
    )
    assert _specify(frame, INSTALLATIONS).startswith(
        "Specify first: none. What-ifs were made of 2 inputs of the installation. Half"
    )


def test_those_that_cannot_be_told_apart_are_named_together() -> None:
    frame = pd.DataFrame(
        change("ct.ankle_ratio", "p_false", (-0.1, -0.05), (-0.1, -0.05))
        + change("ct.knee_current_a", "p_false", (-0.1, -0.05), (-0.07, -0.02))
        + change("earthing.resistance_ohm", "p_false", (-0.04, -0.01), (-0.04, -0.01))
    )
    text = _specify(frame, INSTALLATIONS)
    assert text.endswith("No significant difference in size: the CTs' knee current.")
    assert "neutral's" not in text


def test_inputs_of_events_are_told_apart_from_the_installation_s() -> None:
    frame = pd.DataFrame(change(LINES, "p_missed", (-0.05, -0.03), (-0.03, -0.01)))
    assert _specify(frame, INSTALLATIONS).startswith("Specify first: none; no input of the")
    assert "uncertainty of the earth fault resistance would lower" in _assumed(frame, INSTALLATIONS)


def test_where_nothing_is_seen_any_more_its_limit_is_told() -> None:
    rows = change("ct.ankle_ratio", "p_false", (-0.2, -0.1), (-0.2, -0.1))
    rows[0] |= {"p_then": 0.0, "p_then_high": 2e-4}
    assert "at its centre: none seen, fewer than 0.02 %" in _specify(
        pd.DataFrame(rows), INSTALLATIONS
    )


# --- measuring ----------------------------------------------------------------


def worth(
    *rows: tuple[str, float, float], quantity: str = "cost_per_year", chosen: int = 2
) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "input": key,
                "known": "in which quarter it lies",
                "quantity": quantity,
                "difference": (low + high) / 2,
                "difference_low": low,
                "difference_high": high,
                "chosen_today": 1,
                "chosen_1": 1,
                "chosen_2": chosen,
                "verdict": Verdict.ALIKE if low <= 0 <= high else Verdict.APART,
            }
            for key, low, high in rows
        ]
    )


def result(cost: bool = True) -> Any:
    costs = {"least_annual_cost": {"missed_fault": 1e6, "false_trip": 1e4, "unit": "EUR"}}
    return SimpleNamespace(study=study_with(policy=costs if cost else {"p_false_max": 1e-3}))


def test_a_setting_that_stays_whatever_is_measured() -> None:
    assert "would change the setting" in _measure(
        result(), worth(("ct.ankle_ratio", 0.0, 0.0), chosen=1)
    )


def test_worth_is_told_by_its_limits() -> None:
    text = _measure(
        result(), worth(("ct.ankle_ratio", -1234.0, -500.0), ("ct.knee_current_a", -100.0, 50.0))
    )
    assert (
        text
        == "Measure first: the CTs' ankle ratio. The measurement would show in which quarter it"
        " lies. A setting chosen for it would lower cost by 500 to 1,200 EUR a year."
    )
    text = _measure(result(False), worth(("ct.ankle_ratio", -0.02, -0.01), quantity="p_missed"))
    assert "would lower missed faults by 1 to 2 percentage points" in text


def test_nothing_is_measured_first_where_every_interval_holds_0() -> None:
    text = _measure(
        result(), worth(("ct.ankle_ratio", -200.0, 100.0), ("ct.knee_current_a", 10.0, 50.0))
    )
    assert text.startswith("Measure first: none. No measurement is shown to lower cost.")
    assert text.endswith("200 EUR a year, for the CTs' ankle ratio.")


def test_a_share_of_a_variance_is_cut_at_0_and_at_100() -> None:
    text = _leading(effects(("ct.ankle_ratio", 0.8, 1.12)))
    assert text == "CTs' ankle ratio (80 to 100 %)"


def test_each_probability_has_its_own_input() -> None:
    frame = pd.DataFrame(
        change("ct.ankle_ratio", "p_missed", (-0.05, -0.03), (-0.03, -0.01))
        + change("ct.ankle_ratio", "p_false", (-0.001, 0.001), (-0.001, 0.001))
        + change("ct.knee_current_a", "p_false", (-0.1, -0.05), (-0.1, -0.05))
    )
    text = _specify(frame, INSTALLATIONS)
    assert text.startswith("Specify first: the CTs' ankle ratio and the CTs' knee current. Half")
    assert "Half the uncertainty of the CTs' knee current would lower false trips by 5 to" in text


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("ct.turns_ratio_error_percent", "CTs' turns ratio error"),
        ("earthing.resistance_ohm", "neutral's resistance"),
        ("external_events.near.clearing_time_s", "event's clearing time"),
        ("ct.line_end.knee_voltage_v", "CTs' knee voltage, line end"),
        ("point on wave", "point on wave"),
        ("ct.knee_voltage_v with ct.ankle_ratio", "CTs' knee voltage with CTs' ankle ratio"),
        ("machine.voltage_factor", "voltage factor"),
        ("winding.group_unbalance_percent", "winding's group unbalance"),
        ("fault_energy.undetected_time_s", "undetected time"),
        ("backup.neutral_voltage.error_percent", "back-up's error, neutral voltage"),
        (
            "dependability.parts.second_relay.dangerous_per_year",
            "rate of dangerous failures, second relay",
        ),
    ],
)
def test_inputs_have_names(key: str, name: str) -> None:
    assert input_name(key) == name
