"""What one step of each setting changes, from made estimates whose slope is known."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.prices import prices, slope
from montecarlo.study.axes import Setting

POWER = -3.0
PICKUPS = (
    0.05,
    0.08,
    0.09,
    0.1,
    0.11,
    0.12,
    0.2,
)  # four of them within a quarter of the chosen one


def setting(earth: float, delay: float = 0.0) -> Setting:
    return Setting(
        "two_phase_one_earth",
        phase_pickup_a=0.2,
        earth_pickup_a=earth,
        delay_s=delay,
        stabilising_resistance_ohm=300.0,
        first_slope=None,
        second_slope=None,
        turning_point_a=None,
    )


def outcome(pickups: tuple[float, ...] = PICKUPS, lowest: float = 0.0) -> Any:
    """p_false goes with a power of the earth pick-up within a quarter of the chosen 0.1 A, and not
    beyond it nor with a delay; 0 below `lowest`."""
    settings = [setting(pickup) for pickup in pickups]
    false = np.array([0.01 * (pickup / 0.1) ** POWER for pickup in pickups])
    false = np.where(np.abs(np.array(pickups) - 0.1) > 0.026, 0.5, false)
    false = np.where(false < lowest, 0.0, false)
    settings.append(setting(0.1, 0.1))
    judgement = SimpleNamespace(false=SimpleNamespace(total=np.append(false, 0.9)))
    batch = SimpleNamespace(settings=settings, judgement=judgement)
    return SimpleNamespace(chosen=setting(0.1), first=batch, batch_of=lambda _: batch)


def neighbours(*gaps: tuple[str, int, float, float, float, float]) -> pd.DataFrame:
    """Axis, number, then the change and the half-width of p_missed and of p_false."""
    rows = []
    for axis, number, *values in gaps:
        for quantity, (gap, half) in zip(
            ("p_missed", "p_false"), (values[:2], values[2:]), strict=True
        ):
            verdict = Verdict.APART if abs(gap) > half else Verdict.ALIKE
            ends = {"difference": gap, "low": gap - half, "high": gap + half}
            row = {"pair": axis, "candidate": number, "quantity": quantity}
            rows.append({**row, **ends, "verdict": verdict, "batch": 2})
    return pd.DataFrame(rows)


AROUND = neighbours(
    ("earth_pickup_a", 5, 0.02, 0.001, -4e-3, 1e-3),  # 0.11 A
    ("earth_pickup_a", 3, -0.03, 0.001, 6e-3, 1e-3),  # 0.09 A
    ("delay_s", 8, 0.0, 0.001, -5e-3, 1e-3),
)


def test_a_row_a_step_lowest_value_first() -> None:
    found = prices(outcome(), AROUND)
    assert found["setting"].tolist() == ["earth_pickup_a", "earth_pickup_a", "delay_s"]
    assert found["step"].tolist() == ["down", "up", "up"]
    assert found["value"].tolist() == [0.09, 0.11, 0.1]
    assert (found["chosen_value"] == [0.1, 0.1, 0.0]).all()
    assert found["p_missed_change"].tolist() == [-0.03, 0.02, 0.0]
    assert found["p_false_change_high"].tolist() == pytest.approx([7e-3, -3e-3, -4e-3])


def test_exchange_of_missed_faults_for_false_trips() -> None:
    """0.03 for 0.006: five missed faults fewer for a false trip more; nothing where one of the two
    does not surely change."""
    found = prices(outcome(), AROUND)["missed_per_false"]
    assert found[:2].tolist() == pytest.approx([5.0, 5.0])
    assert np.isnan(found[2])
    alike = neighbours(("earth_pickup_a", 3, -0.03, 0.001, 6e-3, 7e-3))
    assert prices(outcome(), alike)["missed_per_false"].isna().all()
    both_better = neighbours(("earth_pickup_a", 3, -0.03, 0.001, -6e-3, 1e-3))
    assert prices(outcome(), both_better)["missed_per_false"].isna().all()


def test_the_power_comes_from_pickups_nearby() -> None:
    found = prices(outcome(), AROUND)
    assert found["false_power"][:2].tolist() == pytest.approx([POWER, POWER])
    assert found["power_points"].tolist() == [5, 5, 0]
    assert np.isnan(found["false_power"][2])  # of a delay


def test_too_few_points_show_no_power() -> None:
    few = prices(outcome((0.05, 0.1, 0.11, 0.2)), neighbours(("earth_pickup_a", 3, 1, 0, -1, 0)))
    assert few["false_power"].isna().all()
    assert few["power_points"].tolist() == [2]
    none_trips = prices(outcome(lowest=0.0099), AROUND)  # above 0.1 A nothing was seen
    assert none_trips["power_points"][0] == 3
    assert prices(outcome(lowest=0.013), AROUND)["false_power"].isna().all()


def test_without_a_choice_there_is_nothing() -> None:
    assert prices(SimpleNamespace(chosen=None), AROUND).empty  # type: ignore[arg-type]
    assert prices(outcome(), AROUND.iloc[:0]).empty


def test_slope_of_a_straight_line() -> None:
    x = np.array([1.0, 2.0, 4.0])
    assert slope(x, 7 - 2 * x) == pytest.approx(-2)
