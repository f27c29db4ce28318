"""An external fault that becomes an internal one: against nodal equations, its limits, and circuits
that are integrated."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from montecarlo.plant.decrement import Decrement
from montecarlo.plant.events.through_fault import through_current, through_fault
from montecarlo.plant.events.waves import Fading
from montecarlo.plant.evolving import TwoEnds, end_factors, end_phasors
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.quantities import Array, Complex

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "29"))
OMEGA = 100 * np.pi
X, X_EXT, R_EXT, E = 0.15, 0.13, 0.003, 1.0
KINDS = ("three_phase", "phase_phase")
NEVER = 1e9


@pytest.mark.parametrize(
    ("x", "outside", "fault_ohm", "neutral", "line"),
    [
        (0.6, 1j * X_EXT + R_EXT, 1e12, 3.57122, 3.57122),  # e/|j0.28 + 0.003|
        (0.6, 1j * X_EXT + R_EXT, 0.01, 6.60805, 2.15425),
        (1.0, 1j * X_EXT + R_EXT, 0.0, 6.66667, 0.0),  # e/X
        (0.6, 1e12j, 0.01, 6.62589, 0.0),  # |0.6/(j0.09 + 0.01)|
    ],
)
def test_the_ends_carry_what_was_worked_out_by_hand(
    x: float, outside: complex, fault_ohm: float, neutral: float, line: float
) -> None:
    external = E / (1j * X + outside)
    factors = end_factors(x, 1j * X, outside, fault_ohm, 1)
    ends = [abs(complex(factor) * external) for factor in factors]
    assert ends == pytest.approx([neutral, line], abs=6e-6)


@pytest.mark.parametrize("x", [0.0, 1.0])
def test_where_a_part_has_no_impedance_the_external_current_stands(x: float) -> None:
    """At the neutral nothing is joined; at the terminals both faults are one."""
    for fault_ohm in (0.0, 0.3):
        assert end_factors(x, 1j * X, 0.0, fault_ohm, 2) == (1.0, 1.0)


# --- three phases, node by node -----------------------------------------------


def nodal(
    event: str,
    kind: str | None,
    healthy: int,
    x: float,
    fault_ohm: float,
    outside: complex = 1j * X_EXT,
) -> Array:
    """Currents at the six places, phasors: the star point, a node on each winding, the external
    fault, and the star of an internal one are nodes; no load."""
    emf = E * PHASE_ROTATION
    star, external, meet = 3, 4, 5
    conductance, injected = np.zeros((6, 6), complex), np.zeros(6, complex)
    z_n, z_l = 1j * X * x, 1j * X * (1 - x) + outside
    pair = [(healthy + 1) % 3, (healthy + 2) % 3]

    def branch(one: int, other: int, ohm: complex, volt: complex = 0.0) -> None:
        conductance[[one, other], [one, other]] += 1 / ohm
        conductance[[one, other], [other, one]] -= 1 / ohm
        injected[other] += volt / ohm
        injected[one] -= volt / ohm

    at_line = range(3) if event == "three_phase" else pair
    for p in range(3):
        branch(star, p, z_n, x * emf[p])
        if p in at_line:
            branch(p, external, z_l, (1 - x) * emf[p])
        if kind == "three_phase":
            branch(p, meet, fault_ohm)
    if kind == "phase_phase":
        branch(*pair, fault_ohm)
    used = [0, 1, 2, star, *([meet] if kind == "three_phase" else [])]  # external is the reference
    v = np.zeros(6, complex)
    v[used] = np.linalg.solve(conductance[np.ix_(used, used)], injected[used])
    neutral = [(v[star] + x * emf[p] - v[p]) / z_n for p in range(3)]
    line = [(v[p] + (1 - x) * emf[p]) / z_l if p in at_line else 0.0 for p in range(3)]
    return np.array([*neutral, *line])


@pytest.mark.parametrize("event", KINDS)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("healthy", [0, 1, 2])
def test_both_faults_solve_the_network(event: Any, kind: Any, healthy: int) -> None:
    rng = np.random.default_rng(SEED)
    for x, fault_ohm in zip(rng.uniform(0.05, 0.95, 5), 10 ** rng.uniform(-3, 0, 5), strict=True):
        external = nodal(event, None, healthy, x, np.inf)
        assert external[3:] == pytest.approx(external[:3], abs=1e-12)
        ends = end_phasors(
            event,
            kind,
            external[None, :3].astype(complex),
            np.array([healthy]),
            np.array([x]),
            np.array([1j * X]),
            np.array([1j * X_EXT]),
            np.array([fault_ohm]),
        )
        wanted = nodal(event, kind, healthy, x, fault_ohm)
        assert np.concatenate(ends[:2], axis=1)[0] == pytest.approx(wanted, abs=1e-9)
        cleared = nodal(event, kind, healthy, x, fault_ohm, outside=1e9j)
        assert ends[2][0] == pytest.approx(cleared[:3], abs=1e-7)


# --- in time ------------------------------------------------------------------

N = 16
T = np.arange(-1600, 3200) / 16000  # internal fault at 0
LASTS = np.full(N, 9.0)


def machine(rng: np.random.Generator) -> Decrement:
    return Decrement(
        subtransient_reactance_pu=rng.uniform(0.1, 0.25, N),
        transient_reactance_pu=rng.uniform(0.26, 0.4, N),
        synchronous_reactance_pu=rng.uniform(0.8, 2.0, N),
        negative_sequence_reactance_pu=rng.uniform(0.1, 0.3, N),
        subtransient_time_constant_s=rng.uniform(0.01, 0.06, N),
        transient_time_constant_s=rng.uniform(0.3, 2.0, N),
        armature_time_constant_s=rng.uniform(0.02, 0.3, N),
    )


def drawn(event: Any, rng: np.random.Generator) -> tuple[Decrement, dict[str, Any]]:
    given: dict[str, Any] = {
        "external_reactance_pu": rng.uniform(0.02, 0.2, N),
        "external_resistance_pu": 0.004,
        "voltage_factor": rng.uniform(0.9, 1.1, N),
        "load_current_pu": rng.uniform(0, 1, N),
        "power_factor": 0.9,
        "point_on_wave_rad": rng.uniform(0, 2 * np.pi, N),
        "pair": rng.integers(0, 3, N),
        "omega": OMEGA,
        "rated_current_a": 1.0,
    }
    return machine(rng), given


def both_ends(event: Any, kind: Any, fault_ohm: float, rng: np.random.Generator) -> Any:
    data, given = drawn(event, rng)
    external = through_current(event, data, **given)
    x, whole = rng.uniform(0.05, 0.95, N), 1j * np.asarray(data.subtransient_reactance_pu)
    ends = [
        end_phasors(
            event,
            kind,
            stage,
            given["pair"],
            x,
            whole,
            1j * given["external_reactance_pu"],
            np.full(N, fault_ohm),
        )
        for stage in external.stages
    ]
    neutral, line, alone = zip(*ends, strict=True)
    armature_s = np.asarray(data.armature_time_constant_s)
    return data, given, TwoEnds(external, neutral, line, alone, armature_s, external.direct_s)


@pytest.mark.parametrize("event", KINDS)
@pytest.mark.parametrize("kind", KINDS)
def test_until_it_evolves_it_is_the_external_fault(event: Any, kind: Any) -> None:
    rng = np.random.default_rng(SEED)
    after_s = rng.uniform(0.0, 0.08, N)
    data, given, ends = both_ends(event, kind, 0.05, rng)
    made, early = ends.at(T, OMEGA, after_s, LASTS), T < 0
    for s in range(N):
        one = {key: np.atleast_1d(np.broadcast_to(v, N)[s]) for key, v in given.items()}
        one |= {key: given[key] for key in ("omega", "rated_current_a")}
        alone = Decrement(**{key: np.atleast_1d(v[s]) for key, v in vars(data).items()})
        wanted = through_fault(event, T + after_s[s], alone, clearing_time_s=9.0, **one)[0]
        assert made[s, :3, early] == pytest.approx(wanted[:, early].T, abs=1e-9)
        assert made[s, 3:, early] == pytest.approx(wanted[:, early].T, abs=1e-9)
        begins = through_fault(
            event, np.array([0.0, after_s[s]]), alone, clearing_time_s=9.0, **one
        )
        at_0 = made[s][:, T.searchsorted(0.0)]
        assert at_0 == pytest.approx(np.tile(begins[0][:, 1], 2), abs=1e-9)  # continuous


@pytest.mark.parametrize("event", KINDS)
def test_through_a_boundless_resistance_nothing_evolves(event: Any) -> None:
    rng = np.random.default_rng(SEED)
    _, _, ends = both_ends(event, event, 1e12, rng)
    ends = replace(ends, neutral_s=np.full(N, 0.1), line_s=np.full(N, 0.1))
    cleared_s = rng.uniform(0.06, 0.15, N)
    made = ends.at(T, OMEGA, np.full(N, 0.05), cleared_s)
    longer, late = ends.external.at(T + 0.05, OMEGA)[0], T >= 0
    # the DC component that has begun outside goes on as one that begins here
    gone = ends.external.direct_s[:, None, None]
    start = (np.asarray(ends.external.before) - ends.external.stages[0]).real[..., None]
    direct = start * np.exp(-0.05 / gone) * (np.exp(-T / gone) - np.exp(-T / 0.1))
    wanted = longer - direct
    late = late & (cleared_s[:, None] > T + 0.05)
    for end in (made[:, :3], made[:, 3:]):
        for s in range(N):
            assert end[s][:, late[s]] == pytest.approx(wanted[s][:, late[s]], abs=1e-8)
    assert np.abs(made[:, :3] - made[:, 3:]).max() < 1e-8  # cleared or not


def test_the_external_fault_ends_at_zeros_and_the_internal_one_goes_on() -> None:
    rng = np.random.default_rng(SEED)
    cleared_s = rng.uniform(0.06, 0.12, N)
    for event in KINDS:
        for kind in KINDS:
            _, _, ends = both_ends(event, kind, 0.02, rng)
            lasting = ends.at(T, OMEGA, np.full(N, 0.05), LASTS)
            made = ends.at(T, OMEGA, np.full(N, 0.05), cleared_s)
            before = cleared_s[:, None] > T + 0.05
            for s in range(N):
                assert (made[s] == lasting[s])[:, before[s]].all()
            line, inside = made[:, 3:], made[:, :3] - made[:, 3:]
            ended = (line[..., 1:] == 0) & (line[..., :-1] != 0) & (T[1:] > 0)
            steepest = np.abs(np.diff(line, axis=-1))[..., T[1:] < 0.01].max()
            assert np.abs(line[..., :-1][ended]).max() < 1.1 * steepest  # at a zero
            # no jump: a sinusoid moves by 2 % of its peak a step
            assert np.abs(np.diff(inside, axis=-1)).max() < 0.05 * np.abs(inside).max()
            assert np.abs(inside[..., T > 0.19]).max() > 0.1


@pytest.mark.parametrize("kind", KINDS)
def test_phases_sum_to_zero(kind: Any) -> None:
    """Clear of earth: the three phases sum to 0 at each end, before and after the external fault is
    cleared."""
    rng = np.random.default_rng(SEED)
    for event in KINDS:
        _, _, ends = both_ends(event, kind, 0.02, rng)
        for clearing_s in (LASTS, np.full(N, 0.08)):
            made = ends.at(T, OMEGA, np.full(N, 0.03), clearing_s)
            assert np.abs(made.reshape(N, 2, 3, T.size).sum(axis=2)).max() < 1e-9


def test_a_bolted_fault_is_two_circuits_integrated() -> None:
    """Each with its own EMF, resistance and inductance, from the current that flows when the
    internal fault joins them."""
    x, whole_s, outside_s, angle, after_s = 0.4, 0.12, 0.05, 0.8, 0.033
    whole = X / (OMEGA * whole_s) + 1j * X
    outside = X_EXT / (OMEGA * outside_s) + 1j * X_EXT
    z_n, z_l = x * whole, (1 - x) * whole + outside

    def time_s(ohm: complex) -> float:
        return float(ohm.imag / (OMEGA * ohm.real))

    def integrated(ohm: complex, emf: float, start: float, since: float, t: Array) -> Array:
        def slope(at: float, current: Any) -> Any:
            drive = emf * np.cos(OMEGA * at + angle)
            return OMEGA * (drive - ohm.real * current) / ohm.imag

        end = float(t[-1])
        found = solve_ivp(slope, (since, end), [start], t_eval=t, rtol=1e-10, atol=1e-12)
        return np.asarray(found.y[0])

    t = np.linspace(0.0, 0.15, 400)
    phasor: Complex = np.array([[E * np.exp(1j * angle) / (z_n + z_l), 0.0, 0.0]])
    never = np.full(1, np.inf)
    external = Fading(
        stages=(phasor,) * 3, fast_s=never, slow_s=never, direct_s=np.array([time_s(z_n + z_l)])
    )
    factors = end_factors(x, whole, outside, 0.0, 1)
    neutral, line = ((factor * phasor,) * 3 for factor in factors)
    seconds = np.array([time_s(z_n)]), np.array([time_s(z_l)])
    both = TwoEnds(external, neutral, line, neutral, *seconds)
    ends = both.at(t, OMEGA, np.array([after_s]), LASTS[:1])[0]
    joined = integrated(z_n + z_l, E, 0.0, 0.0, np.array([0.0, after_s]))[-1]
    for place, ohm, emf in ((0, z_n, x * E), (3, z_l, (1 - x) * E)):
        wanted = integrated(ohm, emf, joined, after_s, after_s + t)
        assert ends[place] == pytest.approx(wanted, abs=1e-6)
