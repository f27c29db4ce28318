"""Places weighted by their voltage in tables, figure and words; missed faults by class in words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from montecarlo.plant.turns.catalogue import WITHIN_PHASE
from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from studies.report.blocks import items
from studies.report.look import look
from studies.report.terminal import shown
from studies.turns.faults import OfWinding
from studies.turns.figures import seen_against_pickup
from studies.turns.frames import ALL, catalogue_frame, turn_fault_frame, unseen_frame
from studies.turns.run import MISSED, turns
from studies.turns.text import missed_text, unseen_text, weights_text, winding_by_hand

STUDY = Path(__file__).parents[4] / "configs" / "turn_faults_10_5kv.toml"
PICKUPS = {("split_phase", "phase"): [0.05, 0.1]}
CANDIDATES = pd.DataFrame({"scheme": ["split_phase"], "phase_pickup_a": [0.1]})


def with_turns(**changes: object) -> Study:
    study = read_study(STUDY)
    turns_ = study.internal_faults.turns
    assert turns_ is not None
    turns_ = turns_.model_copy(update=changes)
    faults = study.internal_faults.model_copy(update={"turns": turns_})
    return study.model_copy(update={"internal_faults": faults})


def words(texts: object) -> str:
    return " ".join(shown(items(texts)).split())  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def plain() -> OfWinding:
    return OfWinding(with_turns())


@pytest.fixture(scope="module")
def aged() -> OfWinding:
    return OfWinding(with_turns(voltage_exponent=2.0))


def test_the_voltage_of_a_turn_and_of_neighbours_stand_in_the_catalogue(plain: OfWinding) -> None:
    """Of a coil's turns 10.5 kV/sqrt(3)/(144 k_d)."""
    frame = catalogue_frame(plain).set_index(["place", "class"])
    turn_v = 10.5e3 / np.sqrt(3) / (144 * plain.factors[0])
    assert frame.loc[("coil", "within_coil"), "voltage_v"] == pytest.approx(turn_v)
    between = frame.loc[("slot", "between_phases"), "voltage_v"]
    assert 0.5 * 10.5e3 < between < 10.5e3
    assert frame["weight_share"].tolist() == frame["count_share"].tolist()


def test_shares_go_with_the_weights_and_counts_stay(plain: OfWinding, aged: OfWinding) -> None:
    one, other = catalogue_frame(plain), catalogue_frame(aged)
    assert one["count"].tolist() == other["count"].tolist()
    assert one["count_share"].tolist() == other["count_share"].tolist()
    assert other["weight_share"].sum() == pytest.approx(1)
    assert other["within_phase_share"].sum() == pytest.approx(1)
    weights = aged.contacts.count * aged.voltages_v**2
    coil = aged.contacts.of("within_coil")
    mine = other.set_index("class").loc["within_coil"]
    assert mine["weight_share"] == pytest.approx(weights[coil].sum() / weights.sum())
    within = ~aged.contacts.of("between_phases")
    share = weights[coil].sum() / weights[within].sum()
    assert mine["within_phase_share"] == pytest.approx(share)
    rows = turn_fault_frame(aged).set_index(["class", "gap"])
    assert rows.loc[("within_coil", "shielded"), "within_phase_share"] == pytest.approx(share)
    assert rows.loc[("within_coil", "shielded"), "count"] == 576


def test_averages_of_unseen_faults_are_weighted(aged: OfWinding) -> None:
    frame = unseen_frame(aged, PICKUPS)
    (one, *_) = aged.measured
    for pickup_a in PICKUPS[("split_phase", "phase")]:
        rows = frame[frame["pickup_a"] == pickup_a].set_index("class")
        below = one.faults_a < pickup_a * one.ratio
        weights = aged.counts * aged.voltages_v[aged.which] ** 2
        mean = (below * weights).sum() / weights.sum()
        assert rows.loc[ALL, "unseen_share"] == pytest.approx(mean)
        assert rows.loc[ALL, "count"] == 864


def test_a_class_without_a_voltage_has_no_average_and_no_curve() -> None:
    """Full pitch, every pole a branch: neighbours of two branches stand equally far from the
    neutral."""
    study = with_turns(voltage_exponent=1.0)
    assert study.winding is not None
    coils = {"slots": 24, "pole_pairs": 2, "pitch": 6, "branches": 4}
    of = OfWinding(study.model_copy(update={"winding": study.winding.model_copy(update=coils)}))
    frame = unseen_frame(of, PICKUPS).set_index("class")
    assert frame.loc["between_branches", "unseen_share"].isna().all()
    assert frame.loc[ALL, "unseen_share"].notna().all()
    assert shown(unseen_text(of, frame.reset_index()))
    with look():
        figure = seen_against_pickup(of, PICKUPS)
    assert "between branches" not in [text.get_text() for text in figure.legends[0].get_texts()]


def test_check_and_report_say_how_places_are_weighted(plain: OfWinding, aged: OfWinding) -> None:
    assert not [*weights_text(plain)]
    said = "is as likely as the voltage between its conductors to the power 2 (voltage_exponent)"
    assert said in words(weights_text(aged))
    assert said in " ".join(shown(winding_by_hand(aged.study)).split())
    assert said in " ".join(shown(turns(aged.study, CANDIDATES).text).split())


def test_shares_of_the_catalogue_are_said_with_their_origin(tmp_path: Path) -> None:
    text = STUDY.read_text("utf-8")
    table = "[internal_faults.turns]\n"
    assert text.count(table) == 1
    path = tmp_path / "study.toml"
    path.write_text(text.replace(table, table + "shares_from_catalogue = true\n"), "utf-8")
    study = read_study(path)
    # 288 of 1152 places lie between phases
    said = "(shares_from_catalogue): shares.phase_phase 11.2 %, shares.inter_turn 33.8 %."
    assert said in words(weights_text(OfWinding(study)))
    assert said in " ".join(shown(turns(study, CANDIDATES).text).split())


# --- missed, by class ---------------------------------------------------------


def missed(*p: float) -> pd.DataFrame:
    """Of candidate 7, in the order of the classes."""
    return pd.DataFrame(
        {
            "candidate": 7,
            "class": [*WITHIN_PHASE],
            "share": [0.2, 0.3, 0.5],
            "p_missed": p,
            "p_missed_low": [0.9 * one for one in p],
            "p_missed_high": [min(1.1 * one, 1.0) for one in p],
        }
    )


def test_the_report_says_which_class_the_choice_misses() -> None:
    said = words(missed_text(missed(0.01, 0.1, 0.94), 7))
    assert "setting no. 7 misses 1 % (0.9 to 1.1 %) of those between branches, 10 % (9" in said
    # 0.5·0.94 of 0.2·0.01 + 0.3·0.1 + 0.5·0.94
    assert "within a coil are 50 % of all faults between turns and 94 % of the missed ones" in said


def test_none_or_all_missed_is_said_shorter() -> None:
    assert words(missed_text(missed(1, 1, 1), 7)) == (
        "- Setting no. 7 misses every sampled fault between turns."
    )
    assert "missed ones" not in words(missed_text(missed(0, 0, 0), 7))
    assert not [*missed_text(missed(1, 1, 1), None)]
    assert not [*missed_text(missed(np.nan, np.nan, np.nan), 7)]


def test_a_class_without_a_sample_is_left_out() -> None:
    said = words(missed_text(missed(0.1, 0.1, np.nan), 7))
    assert "within a coil" not in said
    assert "nan" not in said


def test_the_table_is_there_where_such_faults_are_sampled() -> None:
    study, frame = with_turns(), missed(0.1, 0.2, 0.3)
    assert turns(study, CANDIDATES, frame, 7).frames[MISSED] is frame
    assert MISSED not in turns(study, CANDIDATES, frame[:0], 7).frames
