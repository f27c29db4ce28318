"""Tests of gates on the commissioning sheet: the compiled gate changes where they expect it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.quantities import Array
from montecarlo.secondary.gates import judge_gate, turns
from montecarlo.secondary.lanes import LANES
from montecarlo.study.axes import Setting
from montecarlo.study.circuits import gates_of
from montecarlo.study.read import parse_study
from studies.commissioning.expected import Sheet
from studies.commissioning.gate_tests import gate_lines
from studies.commissioning.lines import Line
from studies.report.setting_words import setting_lines, setting_row
from tests.properties.test_gate_runs import SHIPPED, shipped

PER_CYCLE, HERTZ = 60, 60.0
STEP_S = 1 / (PER_CYCLE * HERTZ)
OTHERS: list[dict[str, Any]] = [
    {"name": "turned", "start": "angle", "within_degrees": 60.0, "stays_s": 0.01},
    {"name": "offset", "start": "direct_current", "start_above": 0.3, "stays_s": 0.02},
    {"name": "twice", "start": "second_harmonic", "start_above": 0.15, "longest_s": 0.5},
    {
        "name": "again",
        "start": "repeated",
        "start_pu": 1.4,
        "wait_s": 0.003,
        "hold": "current",
        "stays_s": 0.03,
    },
]


def sheet_of(gate: str) -> Sheet:
    table = shipped(samples=256, installations=64)
    table["scheme"]["gates"] += OTHERS
    table["candidates"]["gate"] = ["none", gate]
    setting = Setting("biased", 0.5, None, 0.0, 0.004, 0.1, 0.8, 5.0, gate=gate)
    return Sheet(parse_study(table, SHIPPED.parent), setting)


def of_first_phase(sheet: Sheet) -> dict[str, Line]:
    """Its lines by quantity."""
    end = " phase L1"
    lines = [line for line in gate_lines(sheet) if line.quantity.endswith(end)]
    return {line.quantity.removesuffix(end): line for line in lines}


def on(sheet: Sheet, one: Array, other: Array) -> Array:
    """Whether the gate is on for the first installations, (steps, LANES)."""
    few = {key: values[:LANES] for key, values in sheet.samples.items()}
    names = [gate.name for gate in sheet.study.scheme.gates]
    gate = gates_of(sheet.study, few, STEP_S)[names.index(str(sheet.setting.gate))]
    now = np.ascontiguousarray(np.concatenate([one, one - other]))
    found, levels = np.zeros(one.shape), np.ascontiguousarray(gate.levels.rows())
    judge_gate(now, levels, turns(PER_CYCLE), found, len(one), PER_CYCLE, gate.what)
    return found


def sinusoid(rms_a: Array, cycles: int = 8, turned: float = 0.0, order: int = 1) -> Array:
    """(steps, LANES), from the second cycle on."""
    t = np.arange(cycles * PER_CYCLE)[:, None] / PER_CYCLE - 1
    return np.where(t < 0, 0.0, np.sqrt(2) * rms_a * np.sin(2 * np.pi * order * t + turned))


def installations(line: Line) -> Array:
    return line.installations(line.injected_a)[:LANES]


@pytest.mark.parametrize("gate", ["change_and_dc", "latched", "again"])
def test_a_current_starts_it_where_the_sheet_says(gate: str) -> None:
    sheet = sheet_of(gate)
    at = installations(of_first_phase(sheet)["gate starts at"])
    above, below = (sinusoid(at * factor) for factor in (1.1, 0.99))
    assert on(sheet, above, above).any(axis=0).all()
    assert not on(sheet, below, below).any()
    assert not on(sheet, 3 * above, 0 * above).any()  # one input alone


@pytest.mark.parametrize("gate", ["latched", "again"])
def test_a_current_holds_it_down_to_what_the_sheet_says(gate: str) -> None:
    sheet = sheet_of(gate)
    lines = of_first_phase(sheet)
    at, stays = (installations(lines[name]) for name in ("gate is held down to", "gate stays"))
    for factor, held in ((1.05, True), (0.9, False)):
        current = sinusoid(2 * at, 40)
        current[10 * PER_CYCLE :] *= factor / 2
        assert (on(sheet, current, current)[-1] > 0).all() == held
    current = sinusoid(2 * at, 20)
    current[10 * PER_CYCLE :] = 0
    lasts = on(sheet, current, current)[10 * PER_CYCLE :].sum(axis=0) * STEP_S
    assert lasts == pytest.approx(stays, abs=0.25 / HERTZ)


def test_a_direct_current_holds_it_down_to_what_the_sheet_says() -> None:
    sheet = sheet_of("change_and_dc")
    lines = of_first_phase(sheet)
    held = lines["gate is held down to"]
    at = installations(held)
    for factor, still in ((1.05, True), (0.95, False)):
        current = sinusoid(np.full(LANES, held.injected_a), 40)
        current[PER_CYCLE:] += factor * at
        assert (on(sheet, current, current)[-1] > 0).all() == still
    current = sinusoid(np.full(LANES, held.injected_a), 20)
    current[PER_CYCLE:] += 2 * at
    current[10 * PER_CYCLE :] = 0
    lasts = on(sheet, current, current)[10 * PER_CYCLE :].sum(axis=0) * STEP_S
    band = lines["gate stays"].installations(np.nan)
    assert (lasts >= band.min() - STEP_S).all()
    assert (lasts <= band.max() + STEP_S).all()


def test_other_starts_are_where_the_sheet_says() -> None:
    for gate in ("turned", "offset", "twice"):
        sheet = sheet_of(gate)
        lines = of_first_phase(sheet)
        line = lines["gate ends at" if gate == "turned" else "gate starts at"]
        at = installations(line)
        rated = np.full(LANES, line.injected_a)
        for factor in (0.95, 1.05):
            one = other = sinusoid(rated)
            if gate == "turned":
                other = sinusoid(rated, turned=float(np.radians(factor * at[0])))
            elif gate == "offset":
                one = other = one + factor * at * (np.arange(len(one)) >= PER_CYCLE)[:, None]
            else:
                one, other = one + sinusoid(factor * at, order=2), 0 * one
            found = on(sheet, one, other)[-1] > 0
            assert found.all() == found.any() == ((factor > 1) != (gate == "turned")), gate


def test_every_phase_has_its_tests_and_without_a_gate_none() -> None:
    sheet = sheet_of("twice")
    lines = [*gate_lines(sheet)]
    assert len({(line.test, line.quantity) for line in lines}) == len(lines) == 9
    lasts = of_first_phase(sheet)["gate lasts"]
    assert (installations(lasts) == 0.5).all()
    assert not [*gate_lines(Sheet(sheet.study, Setting("biased", 0.5, None, 0.0, 0.004, 0.1)))]


def test_the_sheet_lists_every_key_that_matters() -> None:
    sheet = sheet_of("change_and_dc")
    row = setting_row(sheet.study, sheet.setting)
    told = {name: value for name, value in setting_lines(sheet.study, row) if "gate," in name}
    assert told == {
        "gate, started by": "time difference",
        "gate, looks at": "change",
        "gate, start": "0.5 pu",
        "gate, largest difference": "0.3",
        "gate, floor": "0.05 pu",
        "gate, wait": "0.00315 s",
        "gate, held by": "direct current",
        "gate, hold above": "0.15",
        "gate, stays": "0.033 s",
        "gate, while it is on": "blocks",
    }
    other = sheet_of("turned")
    words = dict(setting_lines(other.study, setting_row(other.study, other.setting)))
    assert "gate, largest difference" not in words
    assert words["gate, within degrees"] == "60"
