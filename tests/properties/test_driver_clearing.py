"""Drivers of the damage of earth faults and of how likely nobody clears them: studies whose answers
are known."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.block import Block
from montecarlo.engine.clearing import expected, sample_clearing
from montecarlo.engine.job import Job
from montecarlo.engine.progress import silent
from montecarlo.engine.sizes import designs
from montecarlo.engine.winding import solved
from montecarlo.engine.workers import workers_of
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.quantities import number
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.candidates import lattices_of
from montecarlo.study.description import Study
from montecarlo.study.wider import with_inputs
from studies.drivers.columns import columns_of, columns_of_effects
from studies.drivers.effects import (
    DAMAGE,
    NOBODY,
    PICKUP,
    POSITION,
    EffectsOf,
    effects,
    outputs_of,
)
from studies.drivers.run import UncertaintyDrivers
from studies.drivers.text import _floored
from studies.report.numbers import percent
from tests.made.clearing import SMALL, TIMES, part, setting_of, with_parts
from tests.made.said import words
from tests.made.studies import study_with

RATE = {"dist": "uniform", "low": 0.02, "high": 0.06}
EXPONENT = {"dist": "uniform", "low": 1.0, "high": 2.0}
RATE_KEY = "dependability.parts.breaker.dangerous_per_year"
EVERY = ("phase_elements", "earth_element", "neutral_current", "neutral_voltage")
GIVEN: dict[str, Any] = (
    SMALL
    | with_parts(part("breaker", *EVERY, rate=RATE))
    | {"fault_energy": TIMES, "damage": {"exponent": EXPONENT}}
)


def uncertain_alone(*keys: str) -> Study:
    """All inputs at their centres but some."""
    study = study_with(GIVEN)
    fixed = {
        item.key: number(item.distribution.centre())
        for item in list_inputs(study)
        if item.key not in keys and not item.distribution.is_number
    }
    return with_inputs(study, fixed)


def totals(study: Study) -> dict[str, dict[str, float]]:
    """Of earth faults, by output and input."""
    found: list[EffectsOf] = effects(study, setting_of(study), workers_of(1), silent)
    return {
        each.output: {
            group.name: float(each.effects.total[0][k]) for k, group in enumerate(each.groups)
        }
        for each in found
        if each.stratum == EARTH
    }


def test_the_exponent_alone_decides_the_damage_if_nothing_else_is_uncertain() -> None:
    found = totals(uncertain_alone("damage.exponent"))
    assert found[DAMAGE]["damage.exponent"] == pytest.approx(1, abs=0.1)
    assert found[NOBODY]["damage.exponent"] == pytest.approx(0, abs=1e-12)


def test_the_part_that_all_paths_need_decides_how_likely_nobody_clears() -> None:
    found = totals(uncertain_alone("damage.exponent", RATE_KEY))
    assert found[NOBODY][RATE_KEY] == pytest.approx(1, abs=0.1)
    assert found[NOBODY]["damage.exponent"] == pytest.approx(0, abs=1e-12)
    assert found[DAMAGE][RATE_KEY] > 0.1


def test_times_after_the_trip_do_not_decide_who_clears() -> None:
    found = totals(study_with(GIVEN))
    for key in TIMES:
        assert found[NOBODY][f"fault_energy.{key}"] == pytest.approx(0, abs=1e-12)
    assert found[DAMAGE]["fault_energy.undetected_time_s"] > 0
    assert "backup.neutral_voltage.error_percent" in found[NOBODY]


@pytest.mark.parametrize("place", [None, 0.7, {"dist": "empirical", "values": [0.05, 0.4, 1.0]}])
def test_faults_one_by_one_have_the_mean_of_the_table(place: Any) -> None:
    study = study_with(GIVEN if place is None else GIVEN | {"internal_faults.position": place})
    setting = setting_of(study)
    whole = sample_clearing(study, setting, 1, workers_of(1), silent, only=(EARTH,))
    means = ClearingFrames(whole).block_means()
    job = Job(study, lattices_of(study, setting), *designs(study))
    chunks = job.design_of(EARTH).chunks(EARTH, 1)
    damage, nobody = [], []
    for chunk in chunks:
        block = Block(job, chunk)
        harm, left = expected(block, solved(block))
        assert harm is not None
        damage.append(harm)
        nobody.append(left)
    assert np.concatenate(damage).mean() == pytest.approx(means["damage_mean_s"].mean(), rel=1e-9)
    assert np.concatenate(nobody).mean() == pytest.approx(means["p_nobody"].mean(), rel=1e-9)


def test_outputs_and_columns_are_those_that_the_study_asks_for() -> None:
    plain = study_with(SMALL)
    assert outputs_of(plain, EARTH) == ("critical pick-up", "critical position")
    assert columns_of_effects(plain, EARTH).widths == columns_of(plain, EARTH).widths
    assert not any(key.startswith("backup.") for key in columns_of(plain, EARTH).widths)
    without = {key: value for key, value in GIVEN.items() if key != "damage"}
    assert outputs_of(study_with(without), EARTH)[2:] == (NOBODY,)
    columns = columns_of_effects(study_with(without), EARTH).widths
    assert RATE_KEY in columns
    assert "damage.exponent" not in columns
    assert outputs_of(study_with(GIVEN), EARTH)[2:] == (DAMAGE, NOBODY)


def test_what_the_tables_ask_for_leaves_every_other_effect_as_it_was() -> None:
    tables = ("damage", "dependability")
    plain = study_with({key: value for key, value in GIVEN.items() if key not in tables})
    with_tables = totals(study_with(GIVEN))
    for output, before in totals(plain).items():
        assert output in (PICKUP, POSITION)
        assert before == {key: with_tables[output][key] for key in before}
        beside = with_tables[output].keys() - before.keys()
        assert RATE_KEY in beside
        assert all(with_tables[output][key] == 0 for key in beside)
    columns = columns_of(study_with(GIVEN), EARTH)  # of rows for elasticities and what-ifs
    assert columns.widths == columns_of(plain, EARTH).widths


def test_a_fault_without_a_current_counts_as_the_least_damage() -> None:
    """At the neutral itself, where the EMF is 0: a third of the faults."""
    place = {"dist": "empirical", "values": [0.0, 0.5, 1.0]}
    study = study_with(GIVEN | {"internal_faults.position": place})
    found = effects(study, setting_of(study), workers_of(1), silent)
    (harm,) = (each for each in found if each.output == DAMAGE)
    assert harm.floored == pytest.approx(1 / 3, abs=0.02)
    assert np.isfinite(np.array(harm.effects.total)).all()
    other = study_with(GIVEN | {"internal_faults.position": place, "damage.reference_a": 1e5})
    (again,) = (
        each
        for each in effects(other, setting_of(other), workers_of(1), silent)
        if each.output == DAMAGE
    )
    assert again.floored == harm.floored  # whatever the unit
    note = [*_floored(SimpleNamespace(effects=[harm]))]  # type: ignore[arg-type]
    assert note == [
        "Earth faults without a current count with the least damage of the others:"
        f" {percent(harm.floored)} of internal.earth."
    ]


def test_a_whole_study_has_them_in_table_and_text() -> None:
    study = study_with(GIVEN | {"study.kind": "uncertainty_drivers"})
    found = UncertaintyDrivers().run(study, workers=1, rough=True)
    rows = found.frames["drivers"]
    earth = rows[rows["type"] == "earth"]
    assert {DAMAGE, NOBODY} <= {*earth["output"]}
    text = words(found.text)
    assert "damage of an earth fault" in text
    assert "earth faults that nobody clears" in text
