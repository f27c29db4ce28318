"""CTs the wrong way round, missing or too many: told before a run, with key and cure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from montecarlo.relays.schemes import BUILT_IN, OF_GROUPS
from montecarlo.study.checks import cautions
from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from montecarlo.study.wiring import blind, spills, wiring_cautions
from studies.cli.report import report_page
from studies.protocol import Drawn, Findings
from studies.report.blocks import Paragraph
from tests.made.branches import BRANCHES
from tests.made.custom_schemes import PHASES, REBUILT, element, leg, line_ends, phase_leg
from tests.made.starter import STARTER
from tests.made.studies import study_with

ROOT = Path(__file__).parents[4]
FILES = [STARTER, *sorted((ROOT / "configs").glob("*.toml"))]
PHASE, EARTH = {"phase_pickup_a": [0.1]}, {"earth_pickup_a": [0.05]}
NEUTRAL: dict[str, Any] = {"ct.neutral_conductor": {}}
SECOND: dict[str, Any] = {"ct.second_neutral_end": {}, "ct.second_line_end": {}}
NOT_TURNED = [
    "neutral_conductor",
    *line_ends(""),
]  # a restricted earth fault element without its one minus
KEY = "scheme.custom[0].legs[0].cts"


def told(study: Study) -> list[tuple[str, str]]:
    return [(caution.key, caution.text) for caution in wiring_cautions(study)]


def study_of(*legs: dict[str, Any], setting: str = "phase", **changes: Any) -> Study:
    """A scheme of the study's own with an element in every leg."""
    own = {
        "name": "mine",
        "legs": list(legs),
        "elements": [element(one["name"], setting) for one in legs],
    }
    return study_with(
        {
            "scheme.kind": "mine",
            "scheme.custom": [own],
            "candidates": PHASE if setting == "phase" else EARTH,
        }
        | changes
    )


def earth(*cts: str, **changes: Any) -> Study:
    return study_of(leg("earth", *cts), setting="earth", **changes)


# --- groups of branches -------------------------------------------------------


def test_a_turned_ct_of_a_group_is_named() -> None:
    turned = [leg(phase, f"group_1.{phase}", f"group_2.{phase}") for phase in PHASES[:1]]
    (key, text), *_ = told(study_of(*turned, **BRANCHES))
    assert key == KEY
    assert "carries 1 pu of a three-phase through current" in text
    assert '"group_1.L1" should be "-group_1.L1"' in text


def test_a_ct_of_a_group_in_another_phase_is_named() -> None:
    (_, text), *_ = told(study_of(leg("L1", "group_1.L1", "-group_2.L2"), **BRANCHES))
    assert '"group_1.L1" should be "group_1.L2"' in text


def test_a_core_balance_ct_and_one_in_the_star_link_pass_nothing() -> None:
    legs = [leg("L1", "core_balance.L1"), leg("link", "-star_link")]
    assert not spills(study_of(*legs, **BRANCHES))


# --- nothing to say -----------------------------------------------------------


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_worked_study_is_connected_as_it_should_be(path: Path) -> None:
    assert not list(told(read_study(path)))


@pytest.mark.parametrize("kind", [kind for kind in BUILT_IN if kind not in OF_GROUPS])
@pytest.mark.parametrize("matched", [False, True])
def test_a_built_in_scheme_and_the_same_as_the_study_s_own_have_nothing_to_tell(
    kind: str, matched: bool
) -> None:
    grids: dict[str, Any] = {
        "per_phase": PHASE,
        "biased": PHASE | {"first_slope": [0.2]},
        "restricted_earth_fault": EARTH,
        "biased_restricted_earth_fault": EARTH | {"first_slope": [0.2]},
        "biased_with_restricted_earth_fault": PHASE | EARTH | {"first_slope": [0.2]},
        "two_phase_one_earth": PHASE | EARTH,
        "split_phase": PHASE,
        "core_balance": PHASE,
        "neutral_to_neutral": EARTH,
    }[kind]
    unlike = {"ct.line_end": {"primary_a": 3000, "ratio_matching": 2.0}} if matched else {}
    if kind in OF_GROUPS:
        unlike = {"ct.group_2": unlike["ct.line_end"]} if matched else {}
        unlike = BRANCHES | unlike
    for scheme in (
        {"scheme.kind": kind},
        {"scheme.kind": "mine", "scheme.custom": [REBUILT[kind](("L1", "L3"))]},
    ):
        assert not list(
            told(study_with(scheme | {"candidates": grids} | NEUTRAL | BRANCHES | unlike))
        )


def test_a_scheme_that_is_defined_and_not_used_is_not_told() -> None:
    own = {"name": "mine", "legs": [leg("a", "line_end.L1")], "elements": [element("a", "phase")]}
    assert not list(told(study_with({"scheme.custom": [own]})))


def test_ratios_matched_within_a_tap_leave_no_caution() -> None:
    unlike = {"ct.line_end": {"primary_a": 1450}}
    assert not spills(earth(*line_ends("", "neutral_end"), *line_ends("-"), **unlike))


# --- what passes the zone -----------------------------------------------------


def test_a_restricted_earth_fault_element_without_its_minus_is_told_with_the_neutral_s_ct() -> None:
    (found,) = spills(earth(*NOT_TURNED, **NEUTRAL))
    assert (found.scheme, found.element, found.leg, found.key) == ("mine", "earth", "earth", KEY)
    assert (found.current, found.per_unit) == (
        "phase-earth",
        pytest.approx(2.0),
    )  # 1 in the phase, 1 in the neutral
    assert found.cure == '"neutral_conductor" should be "-neutral_conductor"'
    (caution,) = [one for one in cautions(earth(*NOT_TURNED, **NEUTRAL)) if one.key == KEY]
    for words in (
        'Relay circuit "earth" of mine carries 2 pu of a phase-earth through current',
        found.cure,
        "one-ended residual",
    ):
        assert words in caution.text


WRONG: list[tuple[list[str], dict[str, Any], str, float, str]] = [
    (
        ["neutral_end.L1", "line_end.L1"],
        {},
        "three-phase",
        2.0,
        '"line_end.L1" should be "-line_end.L1"',
    ),
    (
        ["neutral_end.L2", "-line_end.L3"],
        {},
        "phase-phase",
        2.0,
        '"-line_end.L3" should be "-line_end.L2"',
    ),
    (["line_end.L2"], {}, "three-phase", 1.0, '"-neutral_end.L2" is missing'),
    (["second_line_end.L2"], SECOND, "three-phase", 1.0, '"-second_neutral_end.L2" is missing'),
    (
        ["neutral_conductor", "-line_end.L1", "-line_end.L2"],
        NEUTRAL,
        "three-phase",
        1.0,
        '"-line_end.L3" is missing',
    ),
    (
        [*line_ends("", "neutral_end"), *line_ends("")],
        {},
        "phase-earth",
        2.0,
        (
            '"line_end.L1", "line_end.L2" and "line_end.L3" should be '
            '"-line_end.L1", "-line_end.L2" and "-line_end.L3"'
        ),
    ),
    (
        line_ends(""),
        {},
        "phase-earth",
        1.0,
        '"-neutral_end.L1", "-neutral_end.L2" and "-neutral_end.L3" are missing',
    ),
    (line_ends(""), NEUTRAL, "phase-earth", 1.0, '"-neutral_conductor" is missing'),
    (
        ["neutral_end.L1", "-line_end.L1", "neutral_conductor"],
        NEUTRAL,
        "phase-earth",
        1.0,
        '"neutral_conductor" is too many',
    ),
    (["neutral_end.L1", "line_end.L2"], {}, "three-phase", 1.0, ""),
]


@pytest.mark.parametrize(("cts", "changes", "current", "per_unit", "cure"), WRONG)
def test_what_passes_the_zone_is_told_with_its_kind_size_and_cure(
    cts: list[str], changes: dict[str, Any], current: str, per_unit: float, cure: str
) -> None:
    (found,) = spills(earth(*cts, **changes))
    assert (found.current, found.per_unit, found.cure) == (current, pytest.approx(per_unit), cure)
    text = dict(told(earth(*cts, **changes)))[KEY]
    assert cure in text
    assert ("No single change of its CTs cures it" in text) == (cure == "")


@pytest.mark.parametrize("turned", range(6))
def test_the_ct_turned_round_in_a_sound_leg_is_found_again(turned: int) -> None:
    cts = [*line_ends("", "neutral_end"), *line_ends("-")]
    right, place = cts[turned], cts[turned].removeprefix("-")
    cts[turned] = place if right.startswith("-") else f"-{place}"
    (found,) = spills(earth(*cts))
    assert found.cure == f'"{cts[turned]}" should be "{right}"'


def test_the_size_is_per_unit_of_the_leg_s_own_ratio() -> None:
    ratio = {"ct.neutral_conductor": {"primary_a": 500, "ratio_matching": 1 / 3}}
    (found,) = spills(earth(*NOT_TURNED, **ratio))
    assert found.per_unit == pytest.approx(2.0)


def test_every_leg_with_an_element_is_looked_at_and_told_once() -> None:
    legs = [
        phase_leg("L1"),
        leg("L2", "neutral_end.L2", "-line_end.L3"),
        leg("L3", "neutral_end.L3", "-line_end.L2"),
    ]
    assert [one.key for one in spills(study_of(*legs))] == [
        f"scheme.custom[0].legs[{k}].cts" for k in (1, 2)
    ]


def test_a_leg_without_an_element_may_carry_what_it_will() -> None:
    own = {
        "name": "mine",
        "legs": [phase_leg("L1"), leg("open", "line_end.L2")],
        "elements": [element("L1", "phase")],
    }
    assert not spills(
        study_with({"scheme.kind": "mine", "scheme.custom": [own], "candidates": PHASE})
    )


# --- what arises in the zone --------------------------------------------------


def test_an_element_that_can_see_no_fault_is_told() -> None:
    study = study_of(leg("a", "neutral_end.L1", "-second_neutral_end.L1"), **SECOND)
    (found,) = blind(study)
    assert (found.element, found.leg, found.faults, found.key) == ("phase", "a", (), KEY)
    assert "can never operate" in dict(told(study))[KEY]


def test_faults_that_no_element_sees_are_told_by_phase() -> None:
    study = study_of(phase_leg("L1"))
    (found,) = blind(study)
    assert found.faults == ("from L2 to earth", "from L3 to earth", "between L2 and L3")
    assert found.key == "scheme.custom[0].elements"
    assert "Every such fault is missed" in dict(told(study))[found.key]


def test_faults_that_the_study_has_none_of_are_not_asked_for() -> None:
    shares = {"internal_faults.shares": {"three_phase": 1.0}}
    assert not blind(study_of(phase_leg("L1"), **shares))


def test_an_earth_element_alone_is_not_asked_for_faults_between_phases() -> None:
    assert not blind(earth("-neutral_conductor", *line_ends(""), **NEUTRAL))
    assert {
        phase
        for phase in PHASES
        if any(
            phase in fault
            for one in blind(earth("neutral_end.L1", "-line_end.L1"))
            for fault in one.faults
        )
    } == {"L2", "L3"}


# --- alternatives, report ---------------------------------------------------------


def test_an_alternative_that_takes_a_wrong_scheme_is_told_by_name() -> None:
    own = {
        "name": "mine",
        "legs": [leg("earth", *NOT_TURNED)],
        "elements": [element("earth", "earth")],
    }
    changes = {
        "scheme.kind": "restricted_earth_fault",
        "scheme.custom": [own],
        "candidates": EARTH,
        "study.kind": "alternatives",
        "alternatives": [{"name": "own", "changes": {"scheme.kind": "mine"}}],
    }
    ((key, text),) = told(study_with(changes | NEUTRAL))
    assert key == KEY
    assert text.startswith('With the changes of "own": Relay circuit "earth" of mine')


def test_the_report_tells_it_beside_the_answer() -> None:
    page = report_page(
        earth(*NOT_TURNED, **NEUTRAL),
        Findings({}, Drawn({}), text=(Paragraph("Set 0.05 A."),)),
        Path(),
        "",
    )
    answer = next(one for one in page.all_sections if one.heading == "Recommendation")
    assert '"neutral_conductor" should be "-neutral_conductor"' in str(answer.blocks)
