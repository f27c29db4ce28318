"""Back-up elements in the neutral: what each operates at, holding a delay, the door, what `check`
warns of."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.engine.backup import held, one_cycle_rms, operates_in_time
from montecarlo.relays.backup import Backup
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.checks import cautions
from tests.made.studies import faults_of, study_with

CURRENT = {"neutral_current": {"pickup_a": 12.0, "delay_s": 0.1}}
VOLTAGE = {"neutral_voltage": {"pickup_percent": 5.0, "delay_s": 1.0}}
PER_CYCLE, HZ = 32, 50.0


def no_error(*names: str) -> dict[str, Any]:
    return {f"backup.{name}.error_percent": np.zeros(2) for name in names}


# --- what they operate at -----------------------------------------------------


def test_each_element_is_a_current_in_the_neutral() -> None:
    backup = Backup.model_validate(CURRENT | VOLTAGE)
    samples = no_error("neutral_current", "neutral_voltage")
    samples["backup.neutral_current.error_percent"] = np.array([0.0, -25.0])
    found = backup.operating_a(samples, np.array([20.0, 3 + 4j]), 6000.0)
    assert found["neutral_current"].tolist() == [12.0, 9.0]
    assert found["neutral_voltage"] == pytest.approx([0.05 * 6000 / 20, 0.05 * 6000 / 5], rel=1e-12)


def test_an_element_that_is_not_there_operates_on_nothing() -> None:
    assert Backup.model_validate(VOLTAGE).operating_a(
        no_error("neutral_voltage"), 20.0, 6000.0
    ).keys() == {"neutral_voltage"}


# --- in time ------------------------------------------------------------------


def test_the_rms_of_a_sinusoid_over_any_cycle_is_its_own() -> None:
    t = np.arange(5 * PER_CYCLE) / PER_CYCLE
    wave = np.array([[3.0], [0.5]]) * np.sqrt(2) * np.sin(2 * np.pi * t + 0.3)
    rms = one_cycle_rms(wave, PER_CYCLE)
    assert rms.shape == (2, 4 * PER_CYCLE + 1)
    assert rms == pytest.approx(np.broadcast_to([[3.0], [0.5]], rms.shape), rel=1e-12)


@pytest.mark.parametrize("hold", [0, 1, 3, 7, 8, 50])
def test_held_is_what_a_loop_finds(hold: int) -> None:
    above = np.random.default_rng(3).random((200, 8)) < 0.8
    loop = [any(all(row[k : k + hold + 1]) for k in range(8 - hold)) for row in above]
    assert held(above, hold).tolist() == loop


@pytest.mark.parametrize(("lasts_s", "operates"), [(0.095, False), (0.14, True)])
def test_it_operates_on_what_outlasts_its_delay(lasts_s: float, operates: bool) -> None:
    # 0.1 s; a one-cycle RMS of 1.2 times the pick-up rises and falls within a cycle, 20 ms at
    # most
    t = np.arange(0, 0.4, 1 / (HZ * PER_CYCLE))
    wave = 1.2 * 12 * np.sqrt(2) * np.sin(2 * np.pi * HZ * t) * (t < lasts_s)
    backup = Backup.model_validate(CURRENT)
    level = backup.operating_a(no_error("neutral_current"), 20.0, 6000.0)
    level = {name: values[:1] for name, values in level.items()}
    assert operates_in_time(backup, level, wave[None], PER_CYCLE, HZ).tolist() == [operates]
    assert operates_in_time(backup, level, wave[None] / 1.3, PER_CYCLE, HZ).tolist() == [False]


def test_either_element_will_do() -> None:
    t = np.arange(0, 2.0, 1 / (HZ * PER_CYCLE))
    backup = Backup.model_validate(
        CURRENT | VOLTAGE
    )  # 12 A for 0.1 s, or 15 A for 1 s behind 20 ohm
    level = backup.operating_a(no_error("neutral_current", "neutral_voltage"), 20.0, 6000.0)
    level["neutral_current"] = np.array([np.inf, np.inf])
    wave = np.sqrt(2) * np.sin(2 * np.pi * HZ * t) * np.array([[16.0], [14.0]])
    assert operates_in_time(backup, level, wave, PER_CYCLE, HZ).tolist() == [True, False]


# --- the door -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "fault"),
    [
        (
            {},
            (
                "backup: no element is given; give [backup.neutral_current],"
                " [backup.neutral_voltage], [backup.bus_current] or [backup.bus_voltage]"
            ),
        ),
        (
            {"neutral_current": {"pickup_a": 5.0, "delay_s": 5.0}},
            (
                "backup.neutral_current.delay_s: 5 s, must be at most backup.allowed_time_s less"
                " one cycle = 4.98 s; shorten the delay or allow more time"
            ),
        ),
        (
            {"neutral_current": {"pickup_a": 0.0, "delay_s": 1.0}},
            "backup.neutral_current.pickup_a: 0 A, must be above 0 and at most 10000 A; give such"
            " a value: pick-up, primary neutral current",
        ),
        (
            {"neutral_voltage": {"pickup_percent": 120.0, "delay_s": 1.0}},
            "backup.neutral_voltage.pickup_percent: 120 %, must be above 0 and at most 100 %; give"
            " such a value: pick-up, neutral displacement voltage in per cent of rated phase"
            " voltage",
        ),
        (
            {"neutral_voltage": {"delay_s": 1.0}},
            (
                "backup.neutral_voltage.pickup_percent: missing; give a number: pick-up, neutral"
                " displacement voltage in per cent of rated phase voltage [%]"
            ),
        ),
        (
            {"neutral_voltage": {"pickup_v": 300.0, "pickup_percent": 5.0, "delay_s": 1.0}},
            "backup.neutral_voltage.pickup_v: unknown; did you mean pickup_percent?",
        ),
        (
            {"neutral_current": {"pickup_a": 5.0, "delay_s": 1.0, "error_percent": -60}},
            "backup.neutral_current.error_percent: -60 %, must be at least -50 and at most 50 %;"
            " give such a value: deviation of the operating value from the pick-up, instrument"
            " transformer included",
        ),
        (
            {"neutral_current": 5.0},
            ("backup.neutral_current: 5.0; expected a table: neutral overcurrent element (51N)"),
        ),
    ],
)
def test_nonsense_is_refused_with_a_line(table: dict[str, Any], fault: str) -> None:
    assert fault in faults_of({"backup": table})


def test_its_error_is_an_input_of_each_installation() -> None:
    table = {
        "neutral_current": {
            "pickup_a": 5.0,
            "delay_s": 1.0,
            "error_percent": {"dist": "uniform", "low": -5, "high": 5},
        }
    }
    inputs = {item.key: item for item in list_inputs(study_with({"backup": table}))}
    item = inputs["backup.neutral_current.error_percent"]
    assert (item.varies, item.columns) == ("installation", 1)


# --- cautions -----------------------------------------------------------------


def said(table: dict[str, Any], **changes: Any) -> str:
    return "\n".join(
        f"{c.key}: {c.text}"
        for c in cautions(study_with({"backup": table} | changes))
        if c.key.startswith("backup")
    )


def test_a_sound_backup_needs_no_caution() -> None:
    assert said(VOLTAGE | {"neutral_current": {"pickup_a": 20.0, "delay_s": 2.0}}) == ""


def test_check_says_what_a_backup_cannot_do() -> None:
    # 6351 V behind 21.2 ohm: 299.6 A
    assert (
        "needs 350 A in the neutral. A bolted earth fault at the terminals gives at most 300 A"
        in said({"neutral_current": {"pickup_a": 350.0, "delay_s": 1.0}})
    )
    assert "operates at 2 % of the current of an earth fault at the terminals" in said(
        {"neutral_voltage": {"pickup_percent": 2.0, "delay_s": 1.0}}
    )
    assert "not longer than the longest delay of the differential scheme, 0.2 s" in said(
        CURRENT, **{"candidates.delay_s": [0.2]}
    )
    assert "No fault type of the study involves earth" in said(
        VOLTAGE, **{"internal_faults.shares": {"phase_phase": 0.9, "inter_turn": 0.1}}
    )


def test_check_says_that_it_may_operate_on_an_earth_fault_outside() -> None:
    event = {
        "name": "feeder",
        "kind": "phase_earth",
        "per_year": 1.0,
        "clearing_time_s": {"dist": "uniform", "low": 0.1, "high": 0.5},
    }
    slow = {"neutral_current": {"pickup_a": 12.0, "delay_s": 0.52}}
    for table, delay in ((CURRENT, "0.1"), (slow, "0.52")):
        assert (
            "The current of event feeder is measured for up to 0.53 s (clearing, last zero, one"
            f" cycle). This is longer than the back-up delay of {delay} s."
            in said(table, external_events=[event])
        )
    assert "feeder" not in said(VOLTAGE, external_events=[event])
