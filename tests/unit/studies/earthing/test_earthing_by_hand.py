"""Options of earthing by hand: what stands in `check` before anything is sampled."""

from __future__ import annotations

from typing import Any

import pytest

from studies.earthing.by_hand import options_by_hand
from studies.report.blocks import Table
from tests.made.studies import study_with

OHM = (10.0, 40.0, 6000.0)
ENERGY = {"breaker_time_s": 0.08, "field_decay_time_constant_s": 1.0, "undetected_time_s": 60.0}
BACKUP = {"neutral_voltage": {"pickup_percent": 5, "delay_s": 0.3}}
OPTIONS: dict[str, Any] = {
    "study.kind": "earthing_options",
    "machine.frequency_hz": 50,
    "candidates.delay_s": [0.1],
    "earthing_options": [{"name": f"{ohm:g} ohm", "resistance_ohm": ohm} for ohm in OHM],
    "fault_energy": ENERGY,
}
DAMAGE = {"damage": {"exponent": 2.0, "reference_a": 10.0}}


def by_hand(**more: Any) -> Table:
    (found,) = options_by_hand(study_with(OPTIONS | more))
    assert isinstance(found, Table)
    return found


def test_damage_of_a_terminal_fault_by_the_fastest_path() -> None:
    phase_v = 11e3 / 3**0.5
    found = by_hand(**DAMAGE, backup=BACKUP)
    assert found.header[-1] == "damage, s of 10 A"
    for row, ohm, trip_s in zip(found.rows, OHM, (0.12, 0.12, 0.32), strict=True):
        current = phase_v / ohm
        want = (current / 10) ** 2 * (trip_s + 0.08 + 1.0 / 2)  # T/k after the breaker
        assert float(row[-1].replace(",", "")) == pytest.approx(want, rel=6e-3)


def test_a_fault_that_no_path_sees_lasts_until_somebody_trips() -> None:
    current = 11e3 / 3**0.5 / OHM[2]
    want = (current / 10) ** 2 * (60 + 0.08 + 0.5)
    assert float(by_hand(**DAMAGE).rows[2][-1]) == pytest.approx(want, rel=6e-3)


def test_no_column_of_damage_without_the_table() -> None:
    found = by_hand()
    assert len(found.header) == len(found.rows[0]) == 5


def test_without_a_stabilising_voltage_it_is_the_pick_up_over_the_fault_s_current() -> None:
    """I N R / E, as the CTs then take next to nothing; all of it where that leaves nothing."""
    *rows, never = (row[3] for row in by_hand().rows)
    for part, ohm in zip(rows, OHM[:2], strict=True):
        want = 100 * 0.02 * 1500 * ohm / (11e3 / 3**0.5)
        assert float(part.removesuffix(" %")) == pytest.approx(want, rel=0.02)
    assert never == "all of it"


def test_a_stabilising_voltage_leaves_more() -> None:
    def part(ohm: float) -> float:
        found = by_hand(**{"candidates.stabilising_resistance_ohm": [ohm]})
        return float(found.rows[0][3].removesuffix(" %"))

    assert part(2000.0) > 1.2 * part(0.0)


def test_hybrid_earthing_goes_on_with_the_current_that_stays() -> None:
    """400 A for 0.1 s, then 10 A that dies away with 1 s: 821 A^1.5 s, against 6,133 where the
    resistor stays (formulas of the guide on grounding of industrial generators, part 2, memory)."""
    e_v = 11e3 / 3**0.5
    stays = {"high_resistance_ohm": e_v / 10, "switch_time_s": 0.08}
    options = [
        {"name": "stays", "current_limit_a": 400},
        {"name": "hybrid", "current_limit_a": 390, **stays},
        {"name": "too high", "current_limit_a": 390, **stays, "high_resistance_ohm": 1e6},
    ]
    given = {"earthing_options": options, "candidates.delay_s": [0.0]}
    given |= {"damage": {"exponent": 1.5}, "machine.stator_capacitance_f": 0.5e-6}
    alone, hybrid, high = by_hand(**given).rows
    assert float(alone[-1]) == pytest.approx(6133 / 10**1.5, rel=5e-3)
    assert float(hybrid[-1]) == pytest.approx(821 / 10**1.5, rel=5e-3)
    assert hybrid[1] == f"{e_v / 400:.4g}, then {e_v / 10:.4g}"
    assert [row[4] for row in (alone, hybrid, high)] == ["kept", "kept", "not kept"]
