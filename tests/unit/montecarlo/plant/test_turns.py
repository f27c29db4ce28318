"""Faults between turns: the catalogue's counts, identities of the currents, other ways to them."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.plant.turns.catalogue import (
    BETWEEN_BRANCHES,
    BETWEEN_PHASES,
    CLASSES,
    PLACES,
    SLOT,
    WITHIN_BRANCH,
    WITHIN_COIL,
    Contacts,
    contacts,
)
from montecarlo.plant.turns.currents import TurnFaults, winding_functions
from montecarlo.plant.turns.layout import Coils, Winding, coils_of, winding_faults
from montecarlo.quantities import Array

LAYOUTS = ("half", "alternate")
OF = {"reactance_pu": 0.2, "leakage_pu": 0.13}


def winding(
    slots: int = 216,
    pole_pairs: int = 12,
    pitch: int = 8,
    branches: int = 2,
    turns: int = 1,
    layout: str = "half",
) -> Winding:
    return Winding.model_validate(
        {
            "slots": slots,
            "pole_pairs": pole_pairs,
            "pitch": pitch,
            "branches": branches,
            "turns_per_coil": turns,
            "layout": layout,
            "leakage_reactance_pu": 0.13,
        },
        strict=False,
    )


def faults_of(**own: object) -> TurnFaults:
    given = winding(**own)  # type: ignore[arg-type]
    return TurnFaults(contacts(coils_of(given.placing), given.turns_per_coil))


def one_turn(coils: Coils, turns: int = 1, shorted: int = 1) -> TurnFaults:
    """Some turns of each coil shorted, one coil a fault."""
    every = np.arange(coils.upper.size)
    none = np.zeros((every.size, 2), int)
    place = np.full(every.size, PLACES.index("coil"))
    found = Contacts(coils, turns, place, every, every, none, np.ones_like(every))
    found.__dict__["loops"] = found.loops * shorted
    return TurnFaults(found)


# --- layout and catalogue -----------------------------------------------------


@pytest.mark.parametrize(("layout", "between"), [("half", 12), ("alternate", 144)])
def test_the_slots_of_a_known_winding(layout: str, between: int) -> None:
    """24 poles, q = 3, pitch 8/9, two branches: counted by hand from the belts. A coil side three
    belts on is of the same phase in two of three slots."""
    found = faults_of(layout=layout).contacts
    in_slot = found.place == PLACES.index(SLOT)
    counts = {name: int((found.of(name) & in_slot).sum()) for name in CLASSES}
    assert counts == {
        BETWEEN_PHASES: 72,
        BETWEEN_BRANCHES: between,
        WITHIN_BRANCH: 144 - between,
        WITHIN_COIL: 0,
    }


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("own", [{}, {"slots": 288, "pole_pairs": 24, "pitch": 5, "branches": 6}])
def test_every_coil_stands_once_in_its_branch(layout: str, own: dict[str, int]) -> None:
    coils = coils_of(winding(layout=layout, **own).placing)
    for row in range(3 * coils.branches):
        assert sorted(coils.order[coils.row == row]) == list(range(coils.in_series))
    assert (np.bincount(coils.lower, minlength=coils.slots) == 1).all()
    assert coils.direction.sum() == 0


def test_coils_of_several_turns_have_places_between_them() -> None:
    found = faults_of(turns=4).contacts
    inside = found.of(WITHIN_COIL)
    assert found.count[inside].sum() == 216 * 3
    assert found.shorted[inside] == pytest.approx(1 / (4 * 36))
    assert np.isnan(found.shorted[found.of(BETWEEN_PHASES)]).all()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"slots": 217}, "slots: 217, must be a multiple of 6 pole_pairs (72)"),
        (
            {"pitch": 10},
            "pitch: 10 slots, must be at most the pole pitch",
        ),
        ({"branches": 5}, "branches: 5, must divide 2 pole_pairs; 24 poles allow 1, 2, 3, 4, 6, 8"),
        ({"branches": 48}, "branches: 48, must divide 2 pole_pairs"),
    ],
)
def test_a_winding_that_does_not_exist_is_refused(changes: dict[str, int], words: str) -> None:
    (fault,) = winding_faults(winding(**changes))
    assert fault.startswith(words)


# --- currents -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("own", "fault", "difference"),
    [
        ({"slots": 360, "pole_pairs": 30, "pitch": 5}, (6.6, 6.7), (0.0535, 0.0575)),
        ({}, (7.1, 7.2), (0.097, 0.104)),
    ],
)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_one_turn_of_a_bar_winding(
    own: dict[str, int], fault: tuple[float, float], difference: tuple[float, float], layout: str
) -> None:
    """6 to 7 times the rated current, 1/20 of full load between the groups: abstract of Kim,
    Finney, Fischer, Kasztenny, 2011-12. The narrower ranges are a first computation's, by a dense
    solution with the terminals' voltage as an unknown."""
    found = one_turn(coils_of(winding(layout=layout, **own).placing))
    current = found.currents(np.arange(len(found.emf)), **OF)
    size, apart = np.abs(current.fault), np.abs(current.difference).max(axis=1) / 2
    assert fault[0] < size.min() <= size.max() < fault[1]
    assert difference[0] < apart.min() <= apart.max() < difference[1]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_currents_solve_the_equations_written_out(layout: str) -> None:
    """All branches, the three voltages of the terminals and the loop as one dense system."""
    found = faults_of(slots=72, pole_pairs=4, pitch=7, branches=4, turns=3, layout=layout)
    coils, loops = found.contacts.coils, found.contacts.loops
    rows, which = 12, np.arange(0, len(loops), 7)
    whole = np.array([(coils.row == k)[:, None] * np.ones(4) for k in range(rows)])
    current = found.currents(which, **OF, coupling=0.4, fault_pu=0.02)
    field = found.winding.gap * (OF["reactance_pu"] - OF["leakage_pu"])
    share = OF["leakage_pu"] / (4 * coils.in_series)
    for k, number in enumerate(which):
        loop = loops[number]
        paths = np.concatenate([whole, loop[None]])
        functions = winding_functions(coils, paths).reshape(rows + 1, -1)
        x = field * functions @ functions.T
        leakage = share * np.einsum("acq,bcq->ab", paths, paths)
        leakage[-1, -1] = share * (np.abs(loop) * (0.6 + 0.4 * np.abs(loop))).sum()
        system = np.zeros((rows + 4, rows + 4), complex)
        system[: rows + 1, : rows + 1] = 1j * (x + leakage)
        system[rows, rows] += 0.02
        for row in range(rows):
            system[row, rows + 1 + row // 4] = system[rows + 1 + row // 4, row] = 1.0
        drive = np.zeros(rows + 4, complex)
        drive[rows] = found.emf[number]
        solved = np.linalg.solve(system, drive)
        assert current.fault[k] == pytest.approx(solved[rows])
        assert current.branches[k].ravel() == pytest.approx(solved[:rows], abs=1e-10)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_groups_differ_by_the_shorted_share_of_the_fault(layout: str) -> None:
    """With alternate poles the branches of a phase have the same field at every place (derived)."""
    found = one_turn(coils_of(winding(layout=layout).placing))
    current = found.currents(np.arange(216), **OF)
    share = np.abs(current.difference).max(axis=1) * 36 / np.abs(current.fault)
    assert share == pytest.approx(1.0, abs=0.001 if layout == "alternate" else 0.04)
    assert np.abs(current.branches.sum(axis=2)).max() < 1e-9


@pytest.mark.parametrize("layout", LAYOUTS)
def test_balanced_currents_see_the_reactance_and_make_no_difference(layout: str) -> None:
    """X''d within 1 %: the rest is the field's harmonics, which count as leakage."""
    branches = faults_of(layout=layout).winding
    turn = np.exp(1j * np.angle(branches.waves))
    functions = branches._functions.reshape(6, -1)
    x = branches.gap * (0.2 - 0.13) * functions @ functions.T + 0.13 * np.eye(6)
    seen = [abs(x @ current / current) for current in (turn, turn.conj())]
    assert min(seen, key=lambda each: abs(each - 0.2).max()) == pytest.approx(0.2, rel=0.01)


def test_two_of_three_turns_carry_half_and_make_the_same_difference() -> None:
    """All turns share their leakage; (n/t) E over (n/t)^2 X."""
    coils = coils_of(winding(turns=3).placing)
    one, two = (one_turn(coils, 3, n).currents(np.arange(216), **OF) for n in (1, 2))
    assert np.abs(one.fault) == pytest.approx(2 * np.abs(two.fault), rel=0.02)
    assert np.abs(one.difference) == pytest.approx(np.abs(two.difference), rel=0.02, abs=1e-4)


def test_shared_leakage_makes_the_fault_of_one_turn_larger() -> None:
    found = one_turn(coils_of(winding(turns=3).placing), 3)
    most, least = (
        np.abs(found.currents(np.arange(216), **OF, coupling=c).fault) for c in (1.0, 0.0)
    )
    assert (most > 1.5 * least).all()


def test_a_resistance_lowers_the_current() -> None:
    found = one_turn(coils_of(winding().placing))
    which = np.arange(216)
    bolted, through = (found.currents(which, **OF, fault_pu=r).fault for r in (0.0, 1.0))
    wanted = np.abs(found.emf / (1.0 + found.emf / bolted))
    assert np.abs(through) == pytest.approx(wanted)


def test_a_fault_takes_its_share_of_the_winding_out_of_the_groups() -> None:
    """One conductor's field is balanced by the other branch: -x of what leaves it (derived for the
    fundamental)."""
    table: Array = faults_of(layout="alternate").winding.differences(0.2, 0.13)
    x = np.arange(37) / 36
    for phase in range(3):
        assert table[phase, 0, :, phase] == pytest.approx(-x, abs=0.01)
        assert table[phase, 1, :, phase] == pytest.approx(x, abs=0.01)


# --- voltages and weights -----------------------------------------------------


def by_phasors(found: Contacts) -> Array:
    """Voltage between the two conductors of each contact over the phase EMF, coil by coil: the
    phasor of each slot, half of the length a quarter of a turn."""
    coils, turns = found.coils, found.turns
    turn_of = 2j * np.pi * coils.pole_pairs / coils.slots
    first, second = np.exp(turn_of * coils.first), -np.exp(turn_of * coils.second)
    whole = first + second

    def against_neutral(coil: int, quarters: int) -> complex:
        before = (coils.row == coils.row[coil]) & (coils.order < coils.order[coil])
        entered = np.repeat([first[coil], second[coil]], 2)[:quarters].sum() / 2
        passed = (turns - 1) // 2 * whole[coil]
        return complex(whole[before].sum() + (passed + entered) / turns)

    def between(at: int) -> float:
        one, other = int(found.first[at]), int(found.second[at])
        if one == other:
            return abs(whole[one]) / turns
        quarters = map(int, found.quarters[at])
        return abs(against_neutral(one, next(quarters)) - against_neutral(other, next(quarters)))

    every = np.array([between(at) for at in range(found.first.size)])
    return np.asarray(every / abs(whole[coils.row == 0].sum()))


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize(
    "own",
    [{}, {"slots": 72, "pole_pairs": 4, "pitch": 7, "turns": 3}, {"branches": 4, "pitch": 9}],
)
def test_what_drives_a_fault_is_the_voltage_by_phasors_of_the_slots(
    layout: str, own: dict[str, int]
) -> None:
    """Between phases too, up to some sqrt(3) of the phase EMF."""
    found = faults_of(layout=layout, **own)
    wanted = by_phasors(found.contacts)
    np.testing.assert_allclose(np.abs(found.emf), wanted, atol=1e-12)
    assert 1.5 < wanted[found.contacts.of(BETWEEN_PHASES)].max() <= np.sqrt(3)
    np.testing.assert_allclose(found.weights(3), found.contacts.count * wanted**3, atol=1e-12)


def test_without_an_exponent_every_place_counts_whatever_its_voltage() -> None:
    """At full pitch neighbours of two branches stand equally far from the neutral."""
    found = faults_of(pitch=9, layout="alternate")
    none = by_phasors(found.contacts) < 1e-12
    assert 0 < none.sum() < none.size
    np.testing.assert_array_equal(found.weights(0), found.contacts.count)
    for exponent in (1e-3, 20):
        assert (found.weights(exponent)[none] == 0).all()
        assert (found.weights(exponent)[~none] > 0).all()
