"""How far inputs may be off before another option is the best: against the same options with the
input changed in their files."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.clearing import Clearing, sample_clearing
from montecarlo.engine.clearing_radius import HALVINGS, BestOption, Turn, radius_of_best
from montecarlo.engine.progress import silent
from montecarlo.engine.workers import workers_of
from montecarlo.frames.best_option import best_option_frame
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.description import Study
from montecarlo.study.shifts import Way
from montecarlo.study.strata import internal_shares
from tests.made.clearing import SMALL, TIMES, part, setting_of, with_parts
from tests.made.studies import study_with

RARE = {"neutral_voltage": {"pickup_percent": 100, "delay_s": 4.0}}  # it sees next to nothing
TIME = "fault_energy.undetected_time_s"
RATE = "dependability.parts.relay.dangerous_per_year"
PHASE_RESISTANCE = "internal_faults.phase_fault_resistance_ohm"
CREW = workers_of(1)


def band(centre: float, half: float) -> dict[str, Any]:
    return {"dist": "uniform", "low": centre - half, "high": centre + half}


def option(ohm: float, undetected_s: float = 200, **changes: Any) -> Study:
    resistor = {"nominal": ohm, "tolerance_percent": 10, "shape": "uniform"}
    times = TIMES | {"undetected_time_s": band(undetected_s, 50)}
    given = {"earthing.resistance_ohm": resistor, "fault_energy": times, "backup": RARE}
    return study_with(SMALL | {"damage": {"exponent": 1.5}} | given | changes)


def followed(study: Study, types: Sequence[Stratum] | None = None) -> Clearing:
    return sample_clearing(study, setting_of(study), 1, CREW, silent, only=types)


def damage(_: str, found: Clearing) -> float:
    return float(ClearingFrames(found).block_means()["damage_mean_s"].mean())


def nobody(_: str, found: Clearing) -> float:
    return float(ClearingFrames(found).block_means()["p_nobody"].mean())


def by_damage(options: dict[str, Study], workers: int = 1, reach: float = 5.0) -> BestOption:
    whole = {name: followed(study, (EARTH,)) for name, study in options.items()}
    found = radius_of_best(whole, (EARTH,), damage, reach, workers_of(workers), silent)
    assert found is not None
    return found


def turn(found: BestOption, key: str, way: Way) -> Turn:
    (one,) = [one for one in found.turns if (one.key, one.way) == (key, way)]
    return one


def test_it_stands_to_where_two_lines_cross() -> None:
    """Mean damage is a straight line over the time for which nobody clears a fault: two runs each,
    with the time in their files, give the lines."""
    found = by_damage({"20 ohm": option(20), "400 ohm": option(400)})
    assert found.best == "20 ohm"
    times = np.array([100.0, 200.0])
    lines = [
        np.polyfit(times, [damage("", followed(option(ohm, time), (EARTH,))) for time in times], 1)
        for ohm in (20, 400)
    ]
    (slope, start), (other_slope, other_start) = lines
    crossing = (start - other_start) / (other_slope - slope)
    assert 60 < crossing < 150
    lower = turn(found, TIME, Way.LOWER)
    assert lower.other == "400 ohm"
    assert lower.stands_to is not None
    assert lower.looked_at == pytest.approx(150)  # further down a time would be negative
    step = lower.looked_at / 2**HALVINGS
    assert lower.stands_to <= 200 - crossing <= lower.stands_to + step
    higher = turn(found, TIME, Way.HIGHER)
    assert higher.stands_to is None
    end = [np.polyval(line, 200 + higher.looked_at) for line in lines]
    assert higher.lead == pytest.approx(end[1] / end[0], rel=1e-9)


def test_an_input_that_options_have_alike_moves_in_all_of_them() -> None:
    found = by_damage({"20 ohm": option(20), "400 ohm": option(400)})
    assert turn(found, TIME, Way.LOWER).options == ("20 ohm", "400 ohm")
    own = [one.options for one in found.turns if one.key == "earthing.resistance_ohm"]
    assert own == [("20 ohm",), ("20 ohm",), ("400 ohm",), ("400 ohm",)]


def test_the_table_has_the_nearest_on_top() -> None:
    found = by_damage({"20 ohm": option(20), "400 ohm": option(400)})
    frame = best_option_frame(found)
    first = frame["stands_to_half_widths"].dropna().to_numpy()
    assert len(first) >= 1
    assert (np.diff(first) >= 0).all()
    assert frame["stands_to_half_widths"].notna().to_numpy()[: len(first)].all()
    rows = frame.set_index(["input", "way"])
    assert rows.loc[(TIME, "lower"), "options"] == "all"
    assert rows.loc[(TIME, "lower"), "best_beyond"] == "400 ohm"
    assert rows.loc[(TIME, "higher"), "looked_at"] == pytest.approx(450)
    beyond = frame["lead"] < 1
    assert (beyond == frame["stands_to"].notna()).all()


def test_what_leads_by_far_stays_the_best() -> None:
    found = by_damage({"20 ohm": option(20), "4000 ohm": option(4000)}, reach=1.0)
    assert found.best == "4000 ohm"
    assert all(one.stands_to is None and one.lead > 1 for one in found.turns)


def test_workers_change_nothing() -> None:
    options = {"20 ohm": option(20), "400 ohm": option(400)}
    assert by_damage(options).turns == by_damage(options, workers=2).turns


def test_only_what_has_the_input_is_solved_again() -> None:
    """By faults that nobody clears, over all types: against whole runs with the input changed in
    the file, of an input of all types and of one that earth faults do not have."""
    relay = with_parts(part("relay", "phase_elements", "earth_element", rate=band(0.04, 0.01)))

    def given(ohm: float, **changes: Any) -> Study:
        return option(ohm, **{**relay, PHASE_RESISTANCE: band(0.5, 0.1), **changes})

    options = {"20 ohm": given(20), "400 ohm": given(400)}
    types = tuple(internal_shares(options["20 ohm"]))
    whole = {name: followed(study, types) for name, study in options.items()}
    found = radius_of_best(whole, types, nobody, 1.0, CREW, silent)
    assert found is not None
    with_rate = with_parts(part("relay", "phase_elements", "earth_element", rate=band(0.05, 0.01)))
    for key, changes in ((RATE, with_rate), (PHASE_RESISTANCE, {PHASE_RESISTANCE: band(0.6, 0.1)})):
        at_end = [nobody("", followed(given(ohm, **changes), types)) for ohm in (20, 400)]
        assert turn(found, key, Way.HIGHER).lead == pytest.approx(at_end[1] / at_end[0], rel=1e-9)


def test_one_option_has_no_radius() -> None:
    whole = {"20 ohm": followed(option(20), (EARTH,))}
    assert radius_of_best(whole, (EARTH,), damage, 5.0, CREW, silent) is None


def test_fewer_faults_are_taken_in_proportion() -> None:
    """At a distance of next to nothing every option has what its whole run has."""
    options = {
        name: option(ohm, **{"study.earth_fault_samples": 1024})
        for name, ohm in (("20 ohm", 20), ("400 ohm", 400))
    }
    whole = {name: followed(study, (EARTH,)) for name, study in options.items()}
    found = radius_of_best(whole, (EARTH,), damage, 1e-9, CREW, silent)
    assert found is not None
    assert found.faults < 1024
    stated = [damage("", one) for one in whole.values()]
    leads = [one.lead for one in found.turns]
    assert leads == pytest.approx([max(stated) / min(stated)] * len(leads), rel=1e-6)


def test_an_exponent_that_fills_its_range_comes_nearer_to_an_end() -> None:
    given = {"damage": {"exponent": {"dist": "uniform", "low": 1, "high": 2}}}
    found = by_damage({"20 ohm": option(20, **given), "400 ohm": option(400, **given)})
    lower = turn(found, "damage.exponent", Way.LOWER)
    assert lower.looked_at == pytest.approx(0.475)
    narrow = {"damage": {"exponent": {"dist": "uniform", "low": 1, "high": 1.05}}}
    at_end = [damage("", followed(option(ohm, **narrow), (EARTH,))) for ohm in (20, 400)]
    best, other = (0, 1) if found.best == "20 ohm" else (1, 0)
    assert lower.lead == pytest.approx(at_end[other] / at_end[best], rel=1e-9)
