"""What a reader is told of a winding: counts by class, currents, pick-ups, words and figures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from studies.report.look import look
from studies.report.terminal import shown
from studies.turns.faults import OfWinding, standing_a
from studies.turns.frames import ALL, catalogue_frame, turn_fault_frame, unseen_frame
from studies.turns.run import FAULTS, UNSEEN, pickups_of, turns
from studies.turns.text import left_out, unseen_text, winding_by_hand
from tests.made.boxes import assert_text_is_readable, on_marks

STUDY = Path(__file__).parents[4] / "configs" / "turn_faults_10_5kv.toml"
CANDIDATES = pd.DataFrame(
    {
        "scheme": ["split_phase", "split_phase", "core_balance", "neutral_to_neutral"],
        "phase_pickup_a": [0.1, 0.02, 0.02, np.nan],
        "earth_pickup_a": [np.nan, np.nan, np.nan, 0.4],
    }
)


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(STUDY)


@pytest.fixture(scope="module")
def of(study: Study) -> OfWinding:
    return OfWinding(study)


def test_every_place_is_counted_once(of: OfWinding) -> None:
    """Two neighbours a slot, in the slot and at its ends, and t - 1 contacts in a coil."""
    frame = catalogue_frame(of)
    by_place = frame.groupby("place")["count"].sum()
    assert by_place.to_dict() == {"slot": 288, "end_winding": 288, "coil": 2 * 288}
    assert frame["count_share"].sum() == pytest.approx(1)
    assert frame["within_phase_share"].sum() == pytest.approx(1)
    assert frame.loc[frame["class"] == "between_phases", "within_phase_share"].isna().all()


def test_one_turn_in_closed_form_is_near_the_class_of_one_turn(of: OfWinding) -> None:
    frame = turn_fault_frame(of).set_index(["class", "gap"])
    closed = frame.loc[("one_turn", "closed_form")]
    model = frame.loc[("within_coil", "shielded")]
    for name in ("fault_current_median_a", "group_difference_median_a"):
        assert model[name] == pytest.approx(closed[name], rel=0.05)
    assert model["shorted_turns_least_share"] == pytest.approx(1 / 144)
    unshielded = frame.loc[("within_coil", "unshielded")]
    assert unshielded["fault_current_median_a"] < model["fault_current_median_a"]


def test_schemes_measure_what_flows_through_their_cts(of: OfWinding) -> None:
    """The leads of both groups go through one core or through two; the link carries half."""
    split, core, link = of.measured
    assert [one.ratio for one in of.measured] == [750, 200, 100]
    np.testing.assert_allclose(split.faults_a, core.faults_a, rtol=1e-9)
    inside = of.kinds == "within_coil"
    np.testing.assert_allclose(2 * link.faults_a[inside], core.faults_a[inside], rtol=0.05)
    assert standing_a(split) == pytest.approx(standing_a(core))


def test_a_finer_pickup_sees_no_less(of: OfWinding) -> None:
    frame = unseen_frame(of, {("split_phase", "phase"): [0.01, 0.05, 0.075, 0.2, 20.0]})
    every = frame[frame["class"] == ALL]
    assert every["unseen_share"].is_monotonic_increasing
    assert every["unseen_share"].iloc[0] == 0
    assert every["unseen_share"].iloc[-1] == 1
    assert every["standing_above_share"].is_monotonic_decreasing
    parts = frame[(frame["pickup_a"] == 0.075) & (frame["class"] != ALL)]
    mean = np.average(parts["unseen_share"], weights=parts["count"])
    assert mean == pytest.approx(every["unseen_share"].iloc[2])


def test_pickups_are_those_judged_finest_first() -> None:
    found = pickups_of(CANDIDATES)
    assert found[("split_phase", "phase")] == [0.02, 0.1]
    assert found[("neutral_to_neutral", "earth")] == [0.4]


def test_the_report_says_which_fault_stays_unseen(of: OfWinding) -> None:
    frame = unseen_frame(of, pickups_of(CANDIDATES))
    text = " ".join(shown(unseen_text(of, frame)).split())
    assert "a pick-up of 0.1 A leaves unseen all of those within a coil" in text
    assert "core-balance elements: at the finest pick-up, 0.02 A," in text
    assert "of the installations trip at rated load without a fault" in text


def test_check_shows_the_winding(study: Study) -> None:
    text = " ".join(shown(winding_by_hand(study)).split())
    assert "48 coils and 144 turns in series" in text
    assert "k_d = 0.9659, k_p = 0.9659" in text


def test_it_is_said_that_p_missed_leaves_turn_faults_out(study: Study) -> None:
    words = " ".join(left_out(study, {"p_missed_all": 0.25}))
    assert "leave out those between turns, 40 %" in words
    assert "25 % are missed (p_missed_all)" in words
    turns_ = study.internal_faults.turns
    assert turns_ is not None
    counted = turns_.model_copy(update={"count_in_p_missed": True})
    faults = study.internal_faults.model_copy(update={"turns": counted})
    assert not list(left_out(study.model_copy(update={"internal_faults": faults}), {}))


def test_figures_can_be_read(study: Study) -> None:
    part = turns(study, CANDIDATES)
    assert set(part.figures) == {"winding", FAULTS}
    for recipe in part.figures.values():
        with look():
            figure = recipe()
        assert_text_is_readable(figure)
        assert on_marks(figure) == []


def test_a_study_without_winding_or_split_scheme_has_no_more_than_it_can(study: Study) -> None:
    assert not turns(study.model_copy(update={"winding": None}), CANDIDATES).frames
    assert len(turns(study, CANDIDATES).frames["winding_coils"]) == 288
    alone = study.scheme.model_copy(update={"kind": ("biased",)})
    found = turns(study.model_copy(update={"scheme": alone}), CANDIDATES)
    assert UNSEEN not in found.frames
    assert set(found.figures) == {"winding"}
