"""What one step of each setting changes, from made estimates whose slope is known."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo.estimates.rare import Trust, Why
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.prices import prices, slope
from montecarlo.study.axes import Setting
from tests.made.studies import study_with

POWER = -3.0
PICKUPS = (0.09, 0.1, 0.11)
NONE = pd.DataFrame()
STUDY = study_with({})  # 0.2 near faults and 1 far fault a year


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


def outcome() -> Any:
    """Settings 1 to 3 with the pick-ups, the second one chosen, and one with a delay."""
    settings = [*(setting(pickup) for pickup in PICKUPS), setting(0.1, 0.1)]
    return SimpleNamespace(chosen=setting(0.1), settings=settings, study=STUDY)


def exceedance(
    pickups: tuple[float, ...],
    far: Trust | None = None,
    near: Trust | None = None,
    scale: float = 1,
) -> pd.DataFrame:
    """Both events go with a power of the pick-up within a quarter of 0.1 A, and not beyond it, nor
    on another circuit, element or delay."""
    rows = []
    for pickup in pickups:
        p = scale * (0.01 * (pickup / 0.1) ** POWER if abs(pickup - 0.1) < 0.026 else 0.5)
        own = {"scheme": "two_phase_one_earth", "element": "earth", "pickup_a": pickup}
        own |= {"stabilising_resistance_ohm": 300.0, "delay_s": 0.0, "first_slope": np.nan}
        own |= {"second_slope": np.nan, "turning_point_a": np.nan}
        others = ({"element": "phase"}, {"delay_s": 0.1}, {"stabilising_resistance_ohm": 0.0})
        rows.append(own | {"event": "near_fault", "p": p, "note": near})
        rows.append(own | {"event": "far_fault", "p": p, "note": far})  # five times as frequent
        rows += [own | other | {"event": "far_fault", "p": 0.3, "note": None} for other in others]
    return pd.DataFrame(rows)


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
    ("earth_pickup_a", 3, 0.02, 0.001, -4e-3, 1e-3),  # 0.11 A
    ("earth_pickup_a", 1, -0.03, 0.001, 6e-3, 1e-3),  # 0.09 A
    ("delay_s", 4, 0.0, 0.001, -5e-3, 1e-3),
)


def test_a_row_a_step_lowest_value_first() -> None:
    found = prices(outcome(), AROUND, NONE)
    assert found["setting"].tolist() == ["earth_pickup_a", "earth_pickup_a", "delay_s"]
    assert found["step"].tolist() == ["down", "up", "up"]
    assert found["value"].tolist() == [0.09, 0.11, 0.1]
    assert (found["chosen_value"] == [0.1, 0.1, 0.0]).all()
    assert found["p_missed_change"].tolist() == [-0.03, 0.02, 0.0]
    assert found["p_false_change_high"].tolist() == pytest.approx([7e-3, -3e-3, -4e-3])


def test_exchange_of_missed_faults_for_false_trips() -> None:
    """0.03 for 0.006: five missed faults fewer for a false trip more; nothing where one of the two
    does not surely change."""
    found = prices(outcome(), AROUND, NONE)["missed_per_false"]
    assert found[:2].tolist() == pytest.approx([5.0, 5.0])
    assert np.isnan(found[2])
    alike = neighbours(("earth_pickup_a", 1, -0.03, 0.001, 6e-3, 7e-3))
    assert prices(outcome(), alike, NONE)["missed_per_false"].isna().all()
    both_better = neighbours(("earth_pickup_a", 1, -0.03, 0.001, -6e-3, 1e-3))
    assert prices(outcome(), both_better, NONE)["missed_per_false"].isna().all()


@pytest.mark.parametrize("scale", [1.0, 0.1])
def test_the_power_comes_from_pickups_nearby(scale: float) -> None:
    curve = exceedance((0.05, 0.08, 0.09, 0.1, 0.11, 0.12, 0.2), scale=scale)
    found = prices(outcome(), AROUND, curve)
    assert found["false_power"][:2].tolist() == pytest.approx([POWER, POWER])
    assert found["power_points"].tolist() == [5, 5, 0]
    assert np.isnan(found["false_power"][2])  # of a delay


def test_too_few_points_show_no_power() -> None:
    few = prices(outcome(), AROUND, exceedance((0.05, 0.1, 0.11, 0.2)))
    assert few["false_power"].isna().all()
    assert few["power_points"].tolist() == [2, 2, 0]
    assert prices(outcome(), AROUND, NONE)["false_power"].isna().all()
    nothing = exceedance(PICKUPS, scale=0.0)
    assert prices(outcome(), AROUND, nothing)["power_points"].tolist() == [0, 0, 0]


@pytest.mark.parametrize(
    ("note", "points"),
    [
        (Trust(Why.FEW, 20.0), 3),
        (Trust(Why.FEW, 9.0), 0),
        (Trust(Why.MAGNITUDE), 3),
        (Trust(Why.ONE, 0.9), 0),
    ],
)
def test_the_event_that_makes_most_must_rest_on_hits(note: Trust, points: int) -> None:
    far = prices(outcome(), AROUND, exceedance(PICKUPS, far=note))
    assert far["power_points"][0] == points
    near = prices(outcome(), AROUND, exceedance(PICKUPS, near=note))  # makes a sixth
    assert near["power_points"][0] == 3


def test_without_a_choice_there_is_nothing() -> None:
    assert prices(SimpleNamespace(chosen=None), AROUND, NONE).empty  # type: ignore[arg-type]
    assert prices(outcome(), AROUND.iloc[:0], NONE).empty


def test_slope_of_a_straight_line() -> None:
    x = np.array([1.0, 2.0, 4.0])
    assert slope(x, 7 - 2 * x) == pytest.approx(-2)
