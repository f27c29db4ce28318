"""Elements between groups of branches by hand. Numbers worked from the tests' study: 25 MVA, 11 kV
(1312.2 A); a through fault of 4 pu (5249 A); CTs 750/1, 200/1 and 100/1 A; ratio errors of +-0.25
%, unbalance -1 to 0.5 %, circulating current up to 0.6 %."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from montecarlo.relays.places import carried, places_of
from montecarlo.relays.schemes import OF_GROUPS
from montecarlo.study.nominal import Nominal
from studies.check.text import checked
from studies.nominal.bias import bias
from studies.nominal.ct_dimensioning import dimensioning
from studies.nominal.desk import ALONG, Desk
from studies.nominal.groups import earth_faults_a, groups_apart, standing, turn_faults_a
from studies.nominal.high_set import high_set
from studies.nominal.peak import peak_voltages
from studies.nominal.stability import driven, stability
from studies.nominal.text import hand_calculation, reach
from studies.nominal.through import through_a, through_share
from tests.made.branches import between_groups
from tests.made.said import words
from tests.made.studies import study_with

RATED_A = 25e6 / (np.sqrt(3) * 11000)
ROTATION = np.exp(-2j * np.pi / 3 * np.arange(3))
EVERY = pytest.mark.parametrize("kind", OF_GROUPS)


# --- without a fault ----------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "ratio", "errors"), [("split_phase", 750, 0.005), ("core_balance", 200, 0.0)]
)
def test_what_stands_in_a_phase_by_hand(kind: str, ratio: float, errors: float) -> None:
    one = standing(Desk(between_groups(kind)), kind, "phase")
    assert one.unbalance == pytest.approx(0.01 / ratio)
    assert one.circulating_a == pytest.approx(0.006 * RATED_A / ratio)
    assert one.ratio == pytest.approx(errors / 2 / ratio)  # of half the current
    assert one.at(1000) == pytest.approx((0.01 + errors / 2) * 1000 / ratio + one.circulating_a)


def test_what_stands_in_the_star_link_by_hand() -> None:
    """Half the sum of three phases: -1, 0.5 and 0.5 % leave 1.5 % of one; 0.6, 0 and 0 % leave all
    of it. No smaller or larger sum of values on a grid."""
    one = standing(Desk(between_groups("neutral_to_neutral")), "neutral_to_neutral", "earth")
    assert one.unbalance == pytest.approx(0.015 / 2 / 100)
    assert one.circulating_a == pytest.approx(0.006 * RATED_A / 2 / 100)
    assert one.ratio == 0
    grid = np.linspace(-0.01, 0.005, 7)
    sums = [abs(ROTATION @ each) for each in product(grid, grid, grid)]
    assert max(sums) / 200 == pytest.approx(one.unbalance)


def test_the_words_name_what_lies_below_it() -> None:
    # 1312.2 A (1 % + 0.25 % + 0.6 %) / 750 = 0.03237 A; 5249 A: 0.0980 A
    grid = {"candidates.phase_pickup_a": [0.01, 0.03, 0.05]}
    said = words([*groups_apart(Desk(between_groups("split_phase", grid)))])
    assert "split_phase, phase 0.0175 0.0105 0 0.00437 0.0324 0.098" in said
    assert "0.01 and 0.03 A lie below what rated load can leave" in said
    high = {"candidates.phase_pickup_a": [0.2]}
    said = words([*groups_apart(Desk(between_groups("split_phase", high)))])
    assert "every pick-up lies above" in said
    assert not [*groups_apart(Desk(study_with()))]


# --- through faults -----------------------------------------------------------


def test_a_group_carries_half_of_a_through_fault_and_the_others_nothing() -> None:
    assert through_share("line_end") == 1
    assert through_share("group_2") == 0.5
    assert through_share("core_balance") == through_share("star_link") == 0
    desk = Desk(between_groups("split_phase"))
    assert through_a(desk, ("group_1", "group_2")) == pytest.approx(4 * RATED_A / 2 / 750)
    rows = dimensioning(desk)
    assert {row.ct for row in rows} == {"group_1", "group_2"}
    assert max(row.current_a for row in rows) == pytest.approx(4 * RATED_A / 2 / 750)


def test_stability_by_hand() -> None:
    # 5249 A / 2 / 750 = 3.499 A; x 6 ohm = 20.99 V
    said = words([*stability(Desk(between_groups("split_phase")))])
    assert "group 1 and group 2: one-way leads 3.499 A x (5 + 1) ohm = 20.99 V" in said
    assert "A group carries half of the fault, 3.499 A by its ratio." in said
    for kind in OF_GROUPS[1:]:
        desk = Desk(between_groups(kind))
        assert not driven(desk)
        assert not dimensioning(desk)
        assert "V_s" not in words([*stability(desk)])


@EVERY
def test_only_what_holds_is_said(kind: str) -> None:
    study = between_groups(kind)
    said = words([*hand_calculation(Desk(study))])
    assert "Unprotected part of the winding" not in said
    assert "Primary operating current" in said
    assert "above" not in said.partition(kind)[2].partition("Amperes primary are")[0]
    assert "One ampere secondary is" not in words([*checked(study).text])


def test_other_ratios_are_told() -> None:
    both = {
        "scheme.kind": ["biased", "split_phase"],
        "candidates.first_slope": [0.2],
    }
    said = words([*checked(between_groups("split_phase", both)).text])
    assert "One ampere secondary is 1500 A primary; it is 750 A with split_phase." in said
    assert "Unprotected part of the winding" in said


def test_a_bias_by_group_cts_has_their_share() -> None:
    # half of 1312 A by 750/1 A: as the whole by 1500/1 A
    own = {
        "name": "own",
        "legs": [{"name": "L1", "cts": ["group_1.L1", "-group_2.L1"]}],
        "elements": [{"leg": "L1", "setting": "phase", "bias_cts": ["group_1.L1", "group_2.L1"]}],
    }
    changes = {"scheme": {"kind": "own", "custom": [own]}, "candidates.first_slope": [0.2]}
    for ratio, load_a in ((750, 0.8748), (500, 1.312)):
        cts = {f"ct.{group}": {"primary_a": ratio} for group in ("group_1", "group_2")}
        said = words([*bias(Desk(between_groups("split_phase", changes | cts)))])
        assert f"own, phase: I_b = {load_a} A at rated load" in said
        assert "all (x" not in said


def test_the_rule_of_high_set_elements_is_that_of_the_ends() -> None:
    grid = {"candidates.high_set_pickup_a": [5.0]}
    assert not [*high_set(Desk(between_groups("split_phase", grid)))]
    both = {"scheme.kind": ["biased", "split_phase"], "candidates.first_slope": [0.2]}
    said = words([*high_set(Desk(between_groups("split_phase", grid | both)))])
    assert said.endswith("This holds for elements between the two ends.")


# --- faults inside ------------------------------------------------------------


def test_an_earth_fault_at_the_neutral_drives_nothing_and_one_at_a_coil_what_a_table_has() -> None:
    study = between_groups("split_phase")
    found = earth_faults_a(Desk(study), np.array([0.0, 1.0]))
    assert found.shape == (2 * 2 * 3, 10)
    into = found[:, :3] - found[:, 3:6]
    assert np.abs(found[:, 6:9]).max() <= np.abs(into).max() * (1 + 1e-9)
    assert np.abs(into).max() > 100  # a resistor of 21.2 ohm: some 300 A


def test_the_currents_of_two_branches_differ_by_opposite_amounts() -> None:
    """A fault in the other branch of a phase, at the same coil, turns the difference round."""
    found = earth_faults_a(Desk(between_groups("split_phase")), np.array([0.5]))
    apart = found[:, 6:9].reshape(2, 3, 3)
    most = np.abs(apart).max()
    assert most > 10
    np.testing.assert_allclose(apart[1], -apart[0], atol=0.05 * most)


def test_at_the_terminals_the_star_link_carries_half_of_an_earth_fault() -> None:
    """Kirchhoff at the star points: both groups are whole and alike, and the first one's share
    comes through the link, whichever group the fault lies in."""
    found = earth_faults_a(Desk(between_groups("neutral_to_neutral")), np.array([1.0]))
    earth = (found[:, :3] - found[:, 3:6]).sum(axis=1)
    link = carried(found, tuple(places_of("star_link")))[:, 0]
    assert np.abs(earth).min() > 100
    np.testing.assert_allclose(link, earth / 2, rtol=0.01)


def test_reach_in_the_star_link_is_less_than_the_whole_fault() -> None:
    desk = Desk(between_groups("neutral_to_neutral"))
    most = np.abs(carried(earth_faults_a(desk, ALONG), tuple(places_of("star_link")))).max() / 100
    told = float(words([*reach(desk)]).partition("then carries ")[2].split()[0])
    assert told == pytest.approx(most, rel=0.02)  # less what excitation takes


def test_the_fault_between_turns_with_most_in_the_star_link_gives_its_peak() -> None:
    study = between_groups("neutral_to_neutral")
    currents = turn_faults_a(Nominal(study))
    link = np.abs(carried(currents, tuple(places_of("star_link"))))
    assert link[3] == link.max() > RATED_A
    (row,) = peak_voltages(study)
    assert row.current_a >= 0.99 * link.max() / 100


def test_reach_is_that_of_the_groups() -> None:
    study = between_groups("core_balance")
    desk = Desk(study)
    most = np.abs(earth_faults_a(desk, ALONG)[:, 6:9]).max() / 200
    said = words([*reach(desk)])
    assert "Between groups of branches it leaves a difference that depends on the coil." in said
    told = float(said.partition("then carries ")[2].split()[0])
    assert told == pytest.approx(most, rel=0.02)  # less what excitation takes


def test_the_fault_between_turns_that_parts_the_groups_most_gives_the_peak() -> None:
    study = between_groups("split_phase")
    currents = turn_faults_a(Nominal(study))
    assert not currents[:, :6].any()
    own = np.abs(np.diagonal(currents[:3, 6:9]))
    np.testing.assert_allclose(own, np.abs(currents[:3, 6:9]).max(axis=1))
    (row,) = peak_voltages(study)
    assert row.fault == row.simulated_fault == "inter_turn"
    assert row.current_a >= 0.99 * own.max() / 750
    assert "between turns" in words([*checked(study).text])


@pytest.mark.parametrize(
    ("measure", "at_load"), [("fundamental", 0.0324), ("rms", 0.0331), ("peak", 0.0392)]
)
def test_a_third_harmonic_adds_as_it_is_measured(measure: str, at_load: float) -> None:
    """0.585 % of 1312 A in the link, two thirds of it between the groups, CTs of 750:1."""
    third = {"winding.link_third_harmonic_percent": 0.585, "relay.measure": measure}
    one = standing(Desk(between_groups("split_phase", third)), "split_phase", "phase")
    assert one.third_a == pytest.approx(2 / 3 * 0.00585 * 1312.16 / 750, rel=1e-4)
    assert one.at(1312.16) == pytest.approx(at_load, abs=1e-4)
