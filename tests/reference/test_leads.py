"""Leads against the wiring as it is drawn: every core a resistance between two terminals, solved
by nodal analysis.

The rows of the model's table are not used on that side: each CT is a current source beside its
magnetising inductance (linear here) behind its winding, each lead and each return core a branch of
its own."""

from __future__ import annotations

import os
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.relays.schemes import Scheme, build_scheme, leg_resistances
from montecarlo.secondary import steady
from montecarlo.secondary.circuit import CtBank
from montecarlo.study.circuits import Circuit, leg_ohm, scheme_of
from tests.made.secondary_cases import OMEGA, log_uniform
from tests.made.studies import study_with

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
Complex = NDArray[np.complex128]
ENDS = ("neutral_end", "line_end")


class Wiring:
    """Branches between named terminals; the voltage of "panel" is zero."""

    def __init__(self) -> None:
        self.branches: list[tuple[str, str, complex]] = []  # admittance
        # current from the first to the second
        self.sources: list[tuple[str, str, complex]] = []

    def solve(self) -> dict[str, complex]:
        names = sorted({name for branch in self.branches for name in branch[:2]} - {"panel"})
        at = {name: k for k, name in enumerate(names)}
        matrix, right = np.zeros((len(names), len(names)), complex), np.zeros(len(names), complex)
        for one, other, admittance in self.branches:
            for a, b in ((one, other), (other, one)):
                if a != "panel":
                    matrix[at[a], at[a]] += admittance
                    if b != "panel":
                        matrix[at[a], at[b]] -= admittance
        for one, other, current in self.sources:
            for name, sign in ((one, -1), (other, 1)):
                if name != "panel":
                    right[at[name]] += sign * current
        return {"panel": 0j} | dict(zip(names, np.linalg.solve(matrix, right), strict=True))


def four_wires(
    source: Complex, inductance: Array, winding: Array, lead: Array, back: Array, leg: Array
) -> Complex:
    """Currents of the three phase legs and of the earth leg, with four cores from each end. source
    (6,) secondary amperes; inductance, winding, lead (6,); back (2,) return cores; leg (4,)."""
    wires = Wiring()
    for k in range(6):
        end, phase, sign = ENDS[k // 3], k % 3, 1 - 2 * (k // 3)
        star = f"star of {end}"  # at the CTs; its core goes back to the panel
        wires.sources.append((star, f"core {k}", sign * source[k]))
        wires.branches += [
            (star, f"core {k}", 1 / (1j * OMEGA * inductance[k])),
            (f"core {k}", f"terminal {k}", 1 / winding[k]),
            (f"terminal {k}", f"leg {phase}", 1 / lead[k]),
        ]
    wires.branches += [(f"star of {end}", "panel", 1 / back[e]) for e, end in enumerate(ENDS)]
    wires.branches += [(f"leg {phase}", "relays' star", 1 / leg[phase]) for phase in range(3)]
    wires.branches += [("relays' star", "panel", 1 / leg[3])]
    volts = wires.solve()
    phases = [(volts[f"leg {phase}"] - volts["relays' star"]) / leg[phase] for phase in range(3)]
    return np.array([*phases, volts["relays' star"] / leg[3]])


def linear_bank(inductance: Array, series: Array, source_turns: float = 1000.0) -> CtBank:
    """CTs (1, 6) whose exciting current is the flux over the inductance."""
    n, one = len(inductance), np.ones((1, 6))
    coefficients = np.zeros((4, 1, n))
    coefficients[0] = 1.0
    knee_flux = np.ones((1, n))
    return CtBank(
        source_turns * one,
        series[None],
        knee_flux,
        knee_flux / inductance,
        coefficients,
        np.full(6, 15),
        0 * one,
    )


def model(scheme: Scheme, source: Complex, inductance: Array, series: Array, ohm: Array) -> Complex:
    solved = steady.solve(
        scheme.table, ohm[None], linear_bank(inductance, series), 1000 * source[None], OMEGA
    )
    return solved.legs[0]


def test_return_cores_against_the_drawn_wiring() -> None:
    """Forty random circuits, currents of any sequence, each leg and each end's return core of its
    own size."""
    rng = np.random.default_rng(SEED)
    scheme = build_scheme("two_phase_one_earth").with_return_cores(ENDS)
    for _ in range(40):
        source = rng.normal(size=6) + 1j * rng.normal(size=6)
        inductance = log_uniform(rng, 0.5, 50.0, 6)
        winding, lead = log_uniform(rng, 1.0, 10.0, 6), log_uniform(rng, 0.1, 10.0, 6)
        back, leg = log_uniform(rng, 0.1, 10.0, 2), log_uniform(rng, 0.1, 1000.0, 4)
        drawn = four_wires(source, inductance, winding, lead, back, leg)
        ours = model(scheme, source, inductance, winding + lead, np.concatenate([leg, back]))
        assert ours[:4] == pytest.approx(drawn, rel=1e-6, abs=1e-9)


def test_six_wires_against_the_drawn_wiring() -> None:
    """Each CT with a core back of its own: out and back in series, no star at the CTs."""
    rng = np.random.default_rng(SEED + 1)
    scheme = build_scheme("two_phase_one_earth")
    for _ in range(10):
        source = rng.normal(size=6) + 1j * rng.normal(size=6)
        inductance, winding = log_uniform(rng, 0.5, 50.0, 6), log_uniform(rng, 1.0, 10.0, 6)
        lead, leg = log_uniform(rng, 0.1, 10.0, 6), log_uniform(rng, 0.1, 1000.0, 4)
        wires = Wiring()
        for k in range(6):
            wires.sources.append((f"star {k}", f"core {k}", (1 - 2 * (k // 3)) * source[k]))
            wires.branches += [
                (f"star {k}", f"core {k}", 1 / (1j * OMEGA * inductance[k])),
                (f"core {k}", f"leg {k % 3}", 1 / (winding[k] + lead[k])),
                (f"star {k}", "panel", 1 / lead[k]),
            ]
        wires.branches += [(f"leg {phase}", "star", 1 / leg[phase]) for phase in range(3)] + [
            ("star", "panel", 1 / leg[3])
        ]
        volts = wires.solve()
        drawn = [(volts[f"leg {phase}"] - volts["star"]) / leg[phase] for phase in range(3)] + [
            volts["star"] / leg[3]
        ]
        ours = model(scheme, source, inductance, winding + 2 * lead, leg)
        assert ours == pytest.approx(np.array(drawn), rel=1e-6, abs=1e-9)


# --- what one end's CTs see (derived) -----------------------------------------

LEAD, BACK = 1.5, 0.7


def leads_ohm(changes: dict[str, Any], current: Complex) -> Complex:
    """Voltage over current at the neutral end's CTs that leads alone ask for: legs of no ohms,
    winding taken off."""
    study = study_with(
        {"scheme.kind": "per_phase", "candidates": {"phase_pickup_a": [0.1]}} | changes
    )
    scheme = scheme_of(study, "per_phase")
    samples = {
        "ct.return_core_ohm": np.full((1, 6), study.ct.return_core_ohm.centre()),
        **{
            f"{key}_ohm": np.zeros(1)
            for key in ("relay.phase_burden", "relay.earth_burden", "scheme.phase_stabilising")
        },
    }
    ohm = leg_ohm(study, Circuit("per_phase", 0.0), samples)[0]
    ways = 2 if study.scheme.leads == "six_wire" else 1
    ends = np.concatenate([current, np.zeros(3)])
    volts = scheme.table.T @ (ohm * (scheme.table @ ends)) + ways * LEAD * ends
    return volts[:3] / np.where(current == 0, np.inf, current)


A = np.exp(2j * np.pi / 3)


@pytest.mark.parametrize(
    ("current", "ohm"),
    [
        (np.array([1, A**2, A]), LEAD),  # balanced: nothing comes back
        (np.array([1, A, A**2]), LEAD),
        (np.array([0, 1, -1]), LEAD),  # between two phases
        (np.array([1, 1, 1]), LEAD + 3 * BACK),  # zero sequence: thrice the current in the core
        (np.array([1, 0, 0]), LEAD + BACK),  # one phase alone: there and back
    ],
)
def test_what_a_through_fault_and_an_earth_fault_see_of_four_wires(
    current: Complex, ohm: float
) -> None:
    seen = leads_ohm(
        {"ct.lead_resistance_ohm": LEAD, "ct.return_core_ohm": BACK}, current.astype(complex)
    )
    assert seen[current != 0] == pytest.approx(np.full((current != 0).sum(), ohm + 0j))


def test_an_earth_fault_in_one_phase_sees_the_loop_where_both_cores_are_alike() -> None:
    current = np.array([0, 1, 0], complex)
    four = leads_ohm({"ct.lead_resistance_ohm": LEAD, "ct.return_core_ohm": LEAD}, current)
    six = leads_ohm({"ct.lead_resistance_ohm": LEAD, "scheme.leads": "six_wire"}, current)
    assert four[1] == six[1] == pytest.approx(2 * LEAD)


def test_a_return_core_stands_at_its_own_end() -> None:
    study = study_with({"ct.line_end": {"return_core_ohm": 2.0}})
    scheme = scheme_of(study, "two_phase_one_earth")
    assert [leg.name for leg in scheme.legs[4:]] == ["return core, line_end"]
    assert scheme.table[4].tolist() == [0, 0, 0, 1, 1, 1]
    matched = study_with(
        {"ct.line_end": {"secondary_a": 5, "ratio_matching": 0.2, "return_core_ohm": 2.0}}
    )
    assert scheme_of(matched, "two_phase_one_earth").table[4].tolist() == [
        0,
        0,
        0,
        1,
        1,
        1,
    ]  # before the matching
    assert scheme_of(matched, "two_phase_one_earth").table[0].tolist() == [1, 0, 0, -0.2, 0, 0]


def test_the_neutral_conductor_s_ct_has_no_common_core() -> None:
    study = study_with(
        {
            "scheme.kind": "restricted_earth_fault",
            "candidates": {"earth_pickup_a": [0.1]},
            "ct.neutral_conductor": {},
            "ct.return_core_ohm": 2.0,
        }
    )
    scheme = scheme_of(study, "restricted_earth_fault")
    assert [leg.name for leg in scheme.legs] == ["earth", "return core, line_end"]
    assert scheme.table[1].tolist() == [1, 1, 1, 0]
    assert leg_resistances(
        scheme,
        {
            "earth_burden": np.ones(1),
            "stabilising": np.zeros(1),
            "return.line_end": np.full(1, 2.0),
        },
    ).tolist() == [[1.0, 2.0]]


def test_a_spread_of_return_cores_is_drawn_for_each_end_by_itself() -> None:
    spread = {"dist": "uniform", "low": 1.0, "high": 7.0}
    study = study_with(
        {
            "scheme.kind": "per_phase",
            "candidates": {"phase_pickup_a": [0.1]},
            "ct.return_core_ohm": spread,
        }
    )
    samples = {
        "ct.return_core_ohm": np.arange(1.0, 7.0)[None],
        **{
            f"{key}_ohm": np.zeros(1)
            for key in ("relay.phase_burden", "relay.earth_burden", "scheme.phase_stabilising")
        },
    }
    assert leg_ohm(study, Circuit("per_phase", 0.0), samples).tolist() == [[0, 0, 0, 1, 4]]
