"""Through faults as waveforms: the textbook formula without load, the load state before, limits,
interruption."""

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from montecarlo.plant.decrement import Decrement, fault_current_rms
from montecarlo.plant.events.through_fault import through_fault

OMEGA, RATED = 100 * np.pi, 2500.0
MACHINE = Decrement(
    subtransient_reactance_pu=0.2,
    transient_reactance_pu=0.3,
    synchronous_reactance_pu=1.1,
    negative_sequence_reactance_pu=0.21,
    subtransient_time_constant_s=0.04,
    transient_time_constant_s=1.1,
    armature_time_constant_s=0.15,
)
T = np.arange(-160, 1600) / 8000  # two fundamental cycles of load, ten of fault
KINDS = ("three_phase", "phase_phase")


def event(
    kind,
    t=T,
    machine=MACHINE,
    *,
    external=0.1,
    resistance=0.0,
    voltage=1.0,
    load=0.0,
    power_factor=0.85,
    angle=0.7,
    pair=0,
    clearing=1e9,
):
    return through_fault(
        kind,
        t,
        machine,
        external_reactance_pu=external,
        external_resistance_pu=resistance,
        voltage_factor=voltage,
        load_current_pu=load,
        power_factor=power_factor,
        point_on_wave_rad=angle,
        pair=pair,
        clearing_time_s=clearing,
        omega=OMEGA,
        rated_current_a=RATED,
    )


# --- the AC component ---------------------------------------------------------


def test_behind_a_large_reactance_only_that_is_left():
    for kind, factor in (("three_phase", 1.0), ("phase_phase", np.sqrt(3) / 2)):
        far = fault_current_rms(kind, np.array([0.0, 0.1, 100.0]), 1.0, MACHINE, 1e6)
        assert far == pytest.approx(factor * 1e-6 * np.ones(3), rel=2e-6)


def test_time_constants_between_short_and_open_circuit():
    assert MACHINE.decay_times_s(0.0) == pytest.approx((0.04, 1.1))
    # open circuit (from memory): T''do = T''d X'd/X''d, T'do = T'd Xd/X'd
    assert MACHINE.decay_times_s(1e9) == pytest.approx((0.04 * 1.5, 1.1 * 1.1 / 0.3))
    assert MACHINE.outside_pu("phase_phase", 0.1) == pytest.approx(0.21 + 0.1 + 0.1)
    assert MACHINE.direct_current_time_s(0.0, 0.0, OMEGA) == pytest.approx(0.15)
    damped = MACHINE.direct_current_time_s(0.1, 0.02, OMEGA)
    assert damped == pytest.approx(0.31 / (OMEGA * (0.21 / (OMEGA * 0.15) + 0.02)))


def test_phase_phase_starts_at_root_three_over_both_sequences():
    at = np.array([0.0, 1e4])
    rms = fault_current_rms("phase_phase", at, 1.05, MACHINE, 0.1)
    assert rms == pytest.approx(np.sqrt(3) * 1.05 / np.array([0.2 + 0.21 + 0.2, 1.1 + 0.21 + 0.2]))
    assert fault_current_rms("three_phase", at, 1.05, MACHINE, 0.1) == pytest.approx(
        [1.05 / 0.3, 1.05 / 1.2]
    )


def test_arrays_of_machines_broadcast_against_times():
    many = Decrement(
        **{name: np.array([[value], [1.1 * value]]) for name, value in vars(MACHINE).items()}
    )
    out = fault_current_rms("phase_phase", np.array([0.0, 0.1, 0.2]), 1.0, many, 0.1)
    assert out[0] == pytest.approx(
        fault_current_rms("phase_phase", np.array([0.0, 0.1, 0.2]), 1.0, MACHINE, 0.1)
    )
    assert out.shape == (2, 3)


# --- without load: the textbook waveform --------------------------------------


def textbook(kind, t, emf, external, angle):
    rms = fault_current_rms(kind, t, emf, MACHINE, external) * RATED
    first = fault_current_rms(kind, 0.0, emf, MACHINE, external) * RATED
    decay = np.exp(-t / MACHINE.direct_current_time_s(external, 0.0, OMEGA))
    return np.sqrt(2) * (rms * np.sin(OMEGA * t + angle) - first * decay * np.sin(angle))


def test_unloaded_three_phase_fault():
    out = event("three_phase", voltage=1.03, angle=0.4)[0]
    assert abs(out[:, T < 0]).max() == 0
    for p in range(3):
        expected = textbook("three_phase", T[T >= 0], 1.03, 0.1, 0.4 - 2 * np.pi / 3 * p)
        assert out[p, T >= 0] == pytest.approx(expected, abs=1e-8 * RATED)


@pytest.mark.parametrize("pair", [0, 1, 2])
def test_unloaded_phase_phase_fault(pair):
    out = event("phase_phase", voltage=1.03, angle=0.4, pair=pair)[0]
    # the EMF between the next phase and the one after it lags that of the healthy phase by 90
    # degrees
    expected = textbook("phase_phase", T[T >= 0], 1.03, 0.1, 0.4 - 2 * np.pi / 3 * pair - np.pi / 2)
    assert out[(pair + 1) % 3, T >= 0] == pytest.approx(expected, abs=1e-8 * RATED)
    assert out[(pair + 2) % 3] == pytest.approx(-out[(pair + 1) % 3])
    assert abs(out[pair]).max() == 0


# --- with load ----------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_load_before_the_fault(kind):
    out = event(kind, load=0.6, power_factor=0.8, angle=0.4, pair=1)[0][:, T < 0]
    for p in range(3):
        expected = (
            np.sqrt(2)
            * 0.6
            * RATED
            * np.cos(OMEGA * T[T < 0] + 0.4 - 2 * np.pi / 3 * p - np.arccos(0.8))
        )
        assert out[p] == pytest.approx(expected, abs=1e-9 * RATED)


def amplitude(wave, t):
    """Peak of the fundamental over whole cycles."""
    return abs(2 * np.mean(wave * np.exp(-1j * OMEGA * t), axis=-1))


def test_emf_behind_each_reactance_at_load():
    load = 0.8 * (0.85 - 1j * np.sqrt(1 - 0.85**2))
    quiet = vars(MACHINE) | {"armature_time_constant_s": 1e-5}  # no DC component to look at
    cycle = np.arange(160) / 8000
    for times, x, t in (
        ((1e6, 1e9), 0.2, cycle),
        ((1e-5, 1e9), 0.3, 1 + cycle),
        ((1e-5, 1e-5), 1.1, 1 + cycle),
    ):
        machine = Decrement(
            **quiet
            | {
                "subtransient_time_constant_s": times[0],
                "transient_time_constant_s": times[1],
            }
        )
        for kind, seen, factor in (
            ("three_phase", x + 0.1, 1.0),
            ("phase_phase", x + 0.1 + 0.31, np.sqrt(3)),
        ):
            out = event(kind, 0.01 + t, machine, load=0.8, pair=0)[0]
            faulted = out[1] if kind == "three_phase" else (out[1] - out[2]) / 2
            expected = np.sqrt(2) * RATED * factor * abs(1.0 + 1j * x * load) / seen
            assert amplitude(faulted, t) == pytest.approx(expected, rel=1e-5)


def test_healthy_phase_keeps_its_load():
    out = event("phase_phase", load=0.6, pair=1)[0]
    shifted = event("phase_phase", T - 0.08, load=0.6, pair=1)[
        0
    ]  # four cycles earlier, half before 0
    assert out[1] == pytest.approx(shifted[1], abs=1e-9 * RATED)


# --- interruption -------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_the_first_phase_ends_at_its_zero_and_the_others_together(kind):
    rng = np.random.default_rng(7)
    clearing, angle, load = (
        rng.uniform(0.03, 0.1, 40),
        rng.uniform(0, 2 * np.pi, 40),
        rng.uniform(0.1, 1, 40),
    )
    pair = rng.integers(0, 3, 40)
    cut = event(kind, angle=angle, load=load, pair=pair, clearing=clearing)
    whole = event(kind, angle=angle, load=load, pair=pair)
    assert abs(cut.sum(axis=1)).max() < 1e-9 * RATED
    step = abs(np.diff(whole)).max()
    for made, before, clearing_s in zip(cut, whole, clearing, strict=True):
        first = np.flatnonzero((made != before).any(axis=0))[0]
        assert T[first] > clearing_s
        ended, *rest = np.flatnonzero(made[:, first] == 0)
        if rest:  # all within one step
            assert abs(before[:, first]).max() < step
            continue
        assert not made[ended, first:].any()
        assert before[ended, first - 1] * before[ended, first] <= 0
        after = before[:, np.searchsorted(T, clearing_s) : first]
        assert ((after > 0).all(axis=1) | (after < 0).all(axis=1)).all()

        out, back = np.delete(made, ended, axis=0)
        last = first + np.flatnonzero(out[first:] == 0)[0]
        assert (out[first:] == -back[first:]).all()
        assert not out[last:].any()
        half = (np.diff(np.delete(before, ended, axis=0), axis=0) / -2)[0]
        assert out[first:last] == pytest.approx(half[first:last], abs=1e-9 * RATED)
        assert half[last - 1] * half[last] <= 0
        assert abs(np.diff(made[:, first - 2 : last + 2])).max() < 2 * step  # nothing jumps


def test_an_interruption_is_two_phases_integrated():
    """Behind X without resistance or decay: the first phase to pass 0 opens, and the voltage
    between the other two drives their current through both."""
    lasting = Decrement(
        **vars(MACHINE)
        | dict.fromkeys(("subtransient_reactance_pu", "transient_reactance_pu"), 0.2)
        | {"synchronous_reactance_pu": 0.2, "armature_time_constant_s": 1e9}
    )
    t = np.arange(-100, 20000) / 2e5
    own = {"machine": lasting, "external": 0.1, "angle": 0.4}
    made = event("three_phase", t, clearing=0.045, **own)[0]
    inductance_h = 0.3 / OMEGA / RATED  # per volt of phase voltage
    emf = np.sqrt(2) * np.cos(OMEGA * t + 0.4 - np.arange(3)[:, None] * 2 * np.pi / 3)
    first = int(min(np.argmax((made == 0) & (t > 0.045), axis=1)))
    ended = int(np.flatnonzero(made[:, first] == 0)[0])
    out, back = (ended + 1) % 3, (ended + 2) % 3
    drive = (emf[out] - emf[back]) / (2 * inductance_h)
    wanted = made[out, first] + cumulative_trapezoid(drive[first:], t[first:], initial=0.0)
    last = first + int(np.argmax(wanted * wanted[0] < 0))
    assert last < t.size - 1
    assert made[out, first : last - 1] == pytest.approx(wanted[: last - 1 - first], abs=0.1)
    assert made[back, first:last] == pytest.approx(-made[out, first:last])
    assert not made[:, last + 1 :].any()


def test_a_phase_without_a_zero_may_end_with_another():
    """Their half difference has less offset; it too goes on once the AC component has decayed."""
    offset = Decrement(**vars(MACHINE) | {"armature_time_constant_s": 1e4})
    own = {"machine": offset, "external": 0.0, "angle": np.pi / 2}
    whole = event("three_phase", **own)[0, 0, T > 0.005]
    assert (whole < 0).all() or (whole > 0).all()
    assert not event("three_phase", clearing=0.005, **own)[0, :, -1].any()
    assert event("three_phase", clearing=0.06, **own)[0, 0, T > 0.06].all()


def test_clearing_beyond_the_window_changes_nothing():
    assert (event("three_phase", clearing=T[-1]) == event("three_phase")).all()


@pytest.mark.parametrize("t", [T[T < 0], T[T > 0], T[(T >= 0)][::7], np.array([-1.0, 0.0, 0.3])])
@pytest.mark.parametrize("kind", KINDS)
def test_any_increasing_times(kind, t):
    # the value at a time does not depend on the other times (nothing interrupted)
    inside = np.isin(t, T)
    assert event(kind, t, load=0.5)[..., inside] == pytest.approx(
        event(kind, load=0.5)[..., np.isin(T, t)], abs=1e-9 * RATED
    )
    assert np.isfinite(event(kind, t, load=0.5, clearing=0.05)).all()


@pytest.mark.parametrize("kind", KINDS)
def test_arrays_equal_numbers(kind):
    rng = np.random.default_rng(3)
    drawn = {
        "external": rng.uniform(0, 0.2, 5),
        "resistance": rng.uniform(0, 0.05, 5),
        "load": rng.uniform(0, 1, 5),
        "angle": rng.uniform(0, 6, 5),
        "pair": np.array([0, 1, 2, 1, 0]),
        "clearing": rng.uniform(0.02, 0.1, 5),
        "power_factor": rng.uniform(0.7, 1, 5),
        "voltage": rng.uniform(0.9, 1.1, 5),
    }
    machine = Decrement(
        **{name: value * rng.uniform(0.9, 1.1, 5) for name, value in vars(MACHINE).items()}
    )
    many = event(kind, machine=machine, **drawn)
    for k in range(5):
        one = event(
            kind,
            machine=Decrement(**{name: value[k] for name, value in vars(machine).items()}),
            **{name: value[k] for name, value in drawn.items()},
        )
        assert many[k] == pytest.approx(one[0], abs=1e-9 * RATED)
