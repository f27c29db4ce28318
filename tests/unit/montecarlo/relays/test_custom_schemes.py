"""Schemes of the study's own: the table that they say, and everything that is refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.relays.places import GROUPS, PLACES, SINGLE, carried
from montecarlo.relays.schemes import AXES, MOST_LEGS, CustomScheme, build_custom, build_scheme
from montecarlo.sampling.inputs import list_inputs
from montecarlo.secondary.workspace import MOST, network
from montecarlo.study.circuits import Circuit, leg_ohm, scheme_of
from tests.made.branches import BRANCHES
from tests.made.custom_schemes import REBUILT, element, leg
from tests.made.studies import faults_of, study_with

GRID = {"phase_pickup_a": [0.1], "earth_pickup_a": [0.05]}


def scheme(name: str = "mine", *, legs: Any = None, elements: Any = None) -> dict[str, Any]:
    return {
        "name": name,
        "legs": [leg("a", "neutral_end.L1", "-line_end.L1")] if legs is None else legs,
        "elements": [element("a", "phase")] if elements is None else elements,
    }


def with_custom(
    *schemes: dict[str, Any], kind: Any = "mine", grid: dict[str, Any] | None = None
) -> dict[str, Any]:
    return {
        "scheme.kind": kind,
        "scheme.custom": list(schemes),
        "candidates": {"phase_pickup_a": [0.1]} if grid is None else grid,
    }


# --- the table ----------------------------------------------------------------


@pytest.mark.parametrize("kind", REBUILT)
@pytest.mark.parametrize("watched", [("L1", "L3"), ("L2", "L3")])
def test_a_rebuilt_scheme_has_the_built_in_s_table_and_elements(
    kind: str, watched: tuple[str, str]
) -> None:
    mine = build_custom(CustomScheme.model_validate(REBUILT[kind](watched)))
    theirs = build_scheme(kind, watched)  # type: ignore[arg-type]
    assert mine.places == theirs.places
    assert np.array_equal(mine.table, theirs.table)
    assert mine.elements == theirs.elements
    assert (mine.parallel, mine.stabilised) == (theirs.parallel, theirs.stabilised)
    one = np.ones(len(mine.legs))
    assert all(
        mine.path_ohm(axis, one) == theirs.path_ohm(axis, one) for axis in AXES if mine.of(axis)
    )


def test_phase_elements_without_a_phase_of_their_own_take_the_inputs_that_are_left() -> None:
    legs = [
        leg("both", "line_end.L1", "line_end.L2"),
        leg("second", "neutral_end.L2"),
        leg("again", "line_end.L2"),
    ]
    own = scheme(legs=legs, elements=[element(item["name"], "phase") for item in legs])
    built = build_custom(CustomScheme.model_validate(own))
    assert built.element_columns == (0, 1, 2)


def test_every_place_carries_what_its_conductor_does() -> None:
    ends = np.array([[1 + 1j, 2.0, 4.0, 8.0, 16.0, 32.0]])
    places = tuple(range(len(PLACES)))
    both, neutral, half = [1 + 1j, 2, 4, 8, 16, 32], [7 + 1j], [4, 8, 16]
    alike = [*both, *neutral, *both, *half, *half, 0, 0, 0, 3.5 + 0.5j]
    assert carried(ends, places)[0].tolist() == alike
    apart = np.array([[2.0, 4.0, 2j]])
    groups = [5, 10, 16 + 1j, 3, 6, 16 - 1j, 2, 4, 2j, 6.5 + 1.5j]
    assert carried(np.hstack([ends, apart]), places)[0].tolist() == [*alike[:13], *groups]
    ten = np.hstack([ends, apart, [[10.0]]])
    assert carried(ten, places)[0].tolist() == [*alike[:13], *groups[:9], 16.5 + 1.5j]


def test_a_leg_has_its_own_resistance_its_burdens_and_the_stabilising_one() -> None:
    legs = [
        leg("a", "neutral_end.L1", "-line_end.L1", resistance_ohm=3.0, stabilising=True),
        leg("b", "neutral_end.L2", "-line_end.L2"),
        leg("c", "neutral_end.L3", resistance_ohm=7.0),
    ]
    elements = [element("a", "phase"), element("a", "earth"), element("b", "phase")]
    study = study_with(
        with_custom(scheme(legs=legs, elements=elements), grid=GRID)
        | {
            "relay.phase_burden_ohm": 0.2,
            "relay.earth_burden_ohm": 0.5,
        }
    )
    samples = {
        item.key: np.full(
            (2, *(() if item.width == 1 else (item.width,))), item.distribution.centre()
        )
        for item in list_inputs(study)
    }
    assert leg_ohm(study, Circuit("mine", 100.0), samples) == pytest.approx(
        np.array([[103.7, 0.2, 7.0]] * 2)
    )
    assert {item.key for item in list_inputs(study) if ".custom." in item.key} == {
        f"scheme.custom.mine.legs.{name}.resistance_ohm" for name in "abc"
    }


def test_two_elements_in_one_leg_and_a_leg_without_are_allowed() -> None:
    legs = [
        leg("a", "neutral_end.L1", "-line_end.L1"),
        leg("b", "+neutral_end.L2", "- line_end.L2"),
    ]
    study = study_with(
        with_custom(scheme(legs=legs, elements=[element("a", "phase"), element("a", "phase")]))
    )
    assert scheme_of(study, "mine").watch == (0, 0)
    assert scheme_of(study, "mine").table[1].tolist() == [0, 1, 0, -1]


# --- refusals -----------------------------------------------------------------

CT_PLACES = (
    f"one of {', '.join(f'{group}.L1' for group in GROUPS if group not in SINGLE)} (also"
    " L2, L3) or neutral_conductor, star_link"
)


@pytest.mark.parametrize(
    ("own", "said"),
    [
        (scheme(legs=[]), ("legs: [] is empty; name at least one",)),
        (scheme(elements=[]), ("elements: [] is empty; name at least one",)),
        (
            scheme(legs=[leg("a", "neutral_end.L1"), leg("a", "line_end.L1")]),
            (
                (
                    'legs[1].name: "a", must be a word of at most 60 letters, digits and _ that no'
                    " other leg has"
                ),
            ),
        ),
        (
            scheme(legs=[leg("a b", "neutral_end.L1")], elements=[element("a b", "phase")]),
            (
                (
                    'legs[0].name: "a b", must be a word of at most 60 letters, digits and _ that'
                    " no other leg has"
                ),
            ),
        ),
        (
            scheme(legs=[leg("a", "neutral_end.L4")]),
            (f'legs[0].cts: "neutral_end.L4" is no CT place; take {CT_PLACES}',),
        ),
        (
            scheme(legs=[leg("a", "+-neutral_end.L1")]),
            (f'legs[0].cts: "-neutral_end.L1" is no CT place; take {CT_PLACES}',),
        ),
        (
            scheme(legs=[leg("a", "neutral_end.L1", "-neutral_end.L1")]),
            ('legs[0].cts: "neutral_end.L1" stands there twice; leave it once',),
        ),
        (
            scheme(legs=[leg("a")]),
            ("legs[0].cts: [] is empty; name the CTs whose currents flow through the leg",),
        ),
        (
            scheme(elements=[element("b", "phase")]),
            ('elements[0].leg: "b" is none of its legs; name one of a',),
        ),
        (
            scheme(elements=[element("a", "phase", bias_cts=["line_end.L2"])]),
            ('elements[0].bias_cts: "line_end.L2" drives no leg of this scheme; name CTs that do',),
        ),
        (
            scheme(elements=[element("a", "phase", bias_cts=["line_end.L1", "-line_end.L1"])]),
            ('elements[0].bias_cts: "line_end.L1" stands there twice; leave it once',),
        ),
        (
            scheme(elements=[element("a", "phase")] * 4),
            ("elements: 4 with setting = 'phase', must be at most 3; take the others out",),
        ),
        (
            scheme(elements=[element("a", "earth")] * 2),
            ("elements: 2 with setting = 'earth', must be at most 1; take the others out",),
        ),
        (
            scheme(
                legs=[leg(f"a{k}", "neutral_end.L1") for k in range(17)],
                elements=[element("a0", "phase")],
            ),
            ("legs: 17 legs, must be at most 16; leave out those without an element",),
        ),
    ],
)
def test_what_is_refused(own: dict[str, Any], said: tuple[str, ...]) -> None:
    assert faults_of(with_custom(own)) == tuple(f"scheme.custom[0].{line}" for line in said)


@pytest.mark.parametrize("name", ["per_phase", "biased", "my scheme", "für", "", "9th"])
def test_names_that_clash_or_are_no_word(name: str) -> None:
    (fault,) = faults_of(with_custom(scheme(), scheme(name)))
    assert (
        fault
        == f'scheme.custom[1].name: "{name}", must be a word of at most 60 letters, digits and _'
        " that no other scheme has"
    )


def test_one_name_twice() -> None:
    assert faults_of(with_custom(scheme(), scheme())) == (
        (
            'scheme.custom[1].name: "mine", must be a word of at most 60 letters, digits and _ that'
            " no other scheme has"
        ),
    )


def test_a_kind_that_is_not_there_names_those_that_are() -> None:
    (fault,) = faults_of(with_custom(scheme(), kind="theirs"))
    assert fault.startswith(
        'scheme.kind: "theirs" is unknown; take per_phase, two_phase_one_earth, biased, '
        "restricted_earth_fault, biased_restricted_earth_fault, "
        "biased_with_restricted_earth_fault, split_phase, core_balance, "
        "neutral_to_neutral or mine"
    )


@pytest.mark.parametrize(
    ("ct", "group"),
    [
        ("neutral_conductor", "neutral_conductor"),
        ("second_line_end.L1", "second_line_end"),
        ("second_neutral_end.L3", "second_neutral_end"),
    ],
)
def test_cts_that_a_scheme_uses_must_be_described(ct: str, group: str) -> None:
    (fault,) = faults_of(with_custom(scheme(legs=[leg("a", ct, "-line_end.L1")])))
    what = "the neutral CT" if group == "neutral_conductor" else "cores of its own"
    assert (
        fault
        == f"ct.{group}: missing; the scheme mine uses {what}: add the table [ct.{group}], empty if"
        " the values of [ct] hold there too"
    )


def test_biased_elements_of_one_s_own_need_slopes() -> None:
    own = scheme(elements=[element("a", "phase", bias_cts=["neutral_end.L1", "line_end.L1"])])
    assert faults_of(with_custom(own)) == (
        (
            "candidates.first_slope: missing; the scheme mine has biased elements, name their"
            " slopes, as [0.1, 0.2]"
        ),
    )


def largest(groups: tuple[str, ...]) -> dict[str, Any]:
    """As many legs as there may be, on all CTs of some tables of [ct], with every return core."""
    phases = [place for place in PLACES if place.partition(".")[0] in groups and "." in place]
    single = [group for group in groups if group in SINGLE]
    legs = [leg(f"a{k}", *phases[k::MOST_LEGS], *single) for k in range(MOST_LEGS)]
    cts = {"ct.return_core_ohm": 0.1} | {f"ct.{group}": {} for group in GROUPS}
    own = with_custom(scheme(legs=legs, elements=[element("a0", "phase")]))
    return own | cts | {key: BRANCHES[key] for key in ("winding", "internal_faults.turns")}


def test_the_largest_scheme_with_every_return_core_fits_the_solver() -> None:
    whole = scheme_of(study_with(largest(GROUPS)), "mine")
    assert whole.table.shape == (MOST_LEGS + 7, 23)
    assert network(whole.table).legs <= MOST


def test_the_path_of_an_earth_fault_is_that_of_the_element_s_own_cts() -> None:
    legs = [leg("L1", "neutral_end.L1", "-line_end.L1"), leg("residual", "second_neutral_end.L1")]
    own = CustomScheme.model_validate(
        {
            "name": "own",
            "legs": legs,
            "elements": [element("L1", "phase"), element("residual", "earth")],
        }
    )
    scheme, ohm = build_custom(own), np.array([7.0, 600.0])
    assert (scheme.path_ohm("phase", ohm), scheme.path_ohm("earth", ohm)) == (7.0, 600.0)
    both = build_scheme("two_phase_one_earth")  # the faulted phase's leg and the earth leg
    assert both.path_ohm("earth", np.array([1.0, 2.0, 3.0, 50.0])) == 53.0
