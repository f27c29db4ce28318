"""Internal faults in time as they begin: with the DC offset of their currents, and evolving."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from montecarlo.engine import inception, primary
from montecarlo.engine.block import Block
from montecarlo.engine.count import run_chunk
from montecarlo.engine.inception import in_parts, internal_fault
from montecarlo.engine.job import Job
from montecarlo.engine.path import measured
from montecarlo.engine.sizes import designs
from montecarlo.engine.space import concerns
from montecarlo.engine.waves import external_event, scene_of
from montecarlo.sampling.stratum import EVOLVING, PHASE_PHASE_EARTH, Stratum
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.circuits import measurement
from montecarlo.study.description import Study
from montecarlo.study.strata import event_of
from studies.drivers.columns import ANGLE, STATE, columns_of
from tests.made.studies import study_with

PAIR, THREE = Stratum("internal.phase_phase"), Stratum("internal.three_phase")
OFFSET = {
    "internal_faults.dc_offset": True,
    "network.reactance_pu": 0.4,
    "network.x_over_r": {"dist": "uniform", "low": 10, "high": 60},
    "study.samples": 64,
}
FOLLOWS: dict[str, Any] = {
    "internal_faults.shares": {"earth": 0.5, "phase_phase": 0.3, "evolving": 0.2},
    "internal_faults.phase_fault_resistance_ohm": 0.01,
    "internal_faults.evolving": {
        "event": "near_fault",
        "after_s": {"dist": "uniform", "low": 0.005, "high": 0.08},
        "kind": "phase_phase",
    },
    "study.samples": 64,
}


def block_of(stratum: Stratum, changes: dict[str, Any]) -> Block:
    study = study_with(changes)
    job = Job(study, candidate_lattices(study), *designs(study))
    return Block(job, job.design_of(stratum).chunks(stratum)[:16])


# --- with the DC offset -------------------------------------------------------


def at_zero(block: Block) -> tuple[Any, Any, Any, int]:
    """Window times with both sides of t = 0, currents, and the place of the later side."""
    window, waves, before = internal_fault(block)
    times = np.insert(window.times(), 2 * window.lead, 0.0)
    return times, waves.wave, before, 2 * window.lead + 1


@pytest.mark.parametrize("stratum", [PAIR, THREE])
def test_faults_between_phases_are_rl_circuits(stratum: Stratum) -> None:
    """L di/dt + R i = v from the load's current on, integrated; v drives the lasting current."""
    block = block_of(stratum, OFFSET)
    times, wave, _, start = at_zero(block)
    assert wave[..., start] == pytest.approx(wave[..., start - 1], rel=1e-9, abs=1e-6)
    turn = np.exp(2j * np.pi * block.uniform("point_on_wave"))[:, None]
    lasts = np.sqrt(2) * primary.lasting(block) * turn
    seconds = (
        block.samples["machine.armature_time_constant_s"],
        block.samples["network.x_over_r"] / block.omega,
    )
    t = times[start:]
    for s, place in ((0, 1), (3, 2), (5, 3), (8, 5)):
        time_s = float(seconds[place // 3][s])
        drive = lasts[s, place] * (1 / time_s + 1j * block.omega)

        def slope(at: float, i: Any, drive: Any = drive, time_s: float = time_s) -> Any:
            return (drive * np.exp(1j * block.omega * at)).real - i / time_s

        found = solve_ivp(
            slope, (0, t[-1]), [wave[s, place, start]], t_eval=t, rtol=1e-9, atol=1e-6
        )
        assert found.y[0] == pytest.approx(wave[s, place, start:], abs=1e-3)


def test_what_returns_through_earth_jumps() -> None:
    """What the two phases carry alike is the earth fault's: a sinusoid from 0 on."""
    block = block_of(PHASE_PHASE_EARTH, OFFSET)
    times, wave, _, start = at_zero(block)
    turn = np.exp(2j * np.pi * block.uniform("point_on_wave"))[:, None]
    lasts = np.sqrt(2) * primary.lasting(block) * turn
    t = times[start:]
    healthy, rows = block.phase_number(), np.arange(len(block))
    for end in (0, 3):
        one, other = (end + (healthy + k) % 3 for k in (1, 2))
        common = wave[rows, one, start:] + wave[rows, other, start:]
        phasor = (lasts[rows, one] + lasts[rows, other])[:, None]
        assert common == pytest.approx((phasor * np.exp(1j * block.omega * t)).real, abs=1e-6)
        apart = wave[rows, one] - wave[rows, other]
        assert apart[:, start] == pytest.approx(apart[:, start - 1], abs=1e-6)


def test_with_short_decays_phasors_and_time_agree() -> None:
    """The same samples; the largest quantity that is held for 0.1 s, when offset is long gone.
    Most agree to 1e-5; remanence may still show in one."""
    short = {
        "machine.armature_time_constant_s": 0.001,
        "network.reactance_pu": 0.4,
        "network.x_over_r": 0.31,
        "candidates.delay_s": [0.1],
        "candidates.stabilising_resistance_ohm": [0],
        "study.samples": 512,
        "internal_faults.phase_fault_resistance_ohm": {
            "dist": "lognormal",
            "median": 3.0,
            "sigma": 2.0,
        },
    }
    by_phasors = block_of(PAIR, short)
    in_time = block_of(PAIR, short | {"internal_faults.dc_offset": True})
    (one,), (other,) = ([*measured(block).by_circuit.values()] for block in (by_phasors, in_time))
    ratio = other.quantity / one.quantity
    within = (one.quantity > 0.05) & (one.quantity < 1.0)  # of rated secondary current
    assert within.sum() > 200
    assert np.abs(ratio[within] - 1).max() < 0.01
    tallies = [run_chunk(block.job, block.chunks) for block in (by_phasors, in_time)]
    p = [tally.lattices[0].total.sum(axis=0).ravel() / 512 for tally in tallies]
    assert p[1] == pytest.approx(p[0], abs=1.5 / 512)  # one near a setting


# --- evolving -----------------------------------------------------------------


def test_the_external_fault_begins_when_it_should() -> None:
    block = block_of(EVOLVING, FOLLOWS)
    after_s = block.samples["internal_faults.evolving.after_s"]
    window, waves, before = internal_fault(block)
    t, wave = window.times(), waves.wave
    load = (np.sqrt(2) * before[..., None] * np.exp(1j * block.omega * t)).real
    for s in range(len(block)):
        early = t < -after_s[s]
        assert wave[s][:, early] == pytest.approx(load[s][:, early], abs=1e-6)
        outside = (t >= -after_s[s]) & (t < 0)
        assert wave[s, :3, outside] == pytest.approx(wave[s, 3:, outside], abs=1e-6)
    assert (t < -after_s.max() - 0.02).any()  # a cycle that settles the cores
    differ = np.abs(wave[:, :3, t > 0.02] - wave[:, 3:, t > 0.02]).max(axis=(1, 2))
    assert (differ > 100).all()


def test_through_a_great_resistance_it_is_the_external_fault() -> None:
    """Currents of the event itself, of the same samples, until its DC component is seen to have
    another time constant at the neutral end."""
    changes = FOLLOWS | {"internal_faults.phase_fault_resistance_ohm": 1e9}
    block = block_of(EVOLVING, changes)
    window, waves, _ = internal_fault(block)
    event = event_of(block.study, EVOLVING)
    scene, _ = scene_of(block, event)
    for s, after_s in enumerate(block.samples["internal_faults.evolving.after_s"]):
        t = window.times() + after_s
        kept = window.times() < 0.004
        alone = event.currents(scene, t)[s][:, kept]
        made = waves.wave[s][:, kept]
        assert made[3:] == pytest.approx(alone, abs=1e-5)
        assert made[:3] == pytest.approx(alone, rel=0.02, abs=0.01 * np.abs(alone).max())


def test_samples_do_not_depend_on_those_beside_them(monkeypatch: pytest.MonkeyPatch) -> None:
    block = block_of(EVOLVING, FOLLOWS)
    whole = [*measured(block).by_circuit.values()]
    few = block.only(np.arange(7, 31))
    for one, other in zip(whole, measured(few).by_circuit.values(), strict=True):
        np.testing.assert_array_equal(one.quantity[7:31], other.quantity)
    monkeypatch.setattr(inception, "POINTS", 100_000)
    assert len([*in_parts(block)]) > 1
    for one, other in zip(whole, measured(block).by_circuit.values(), strict=True):
        np.testing.assert_array_equal(one.quantity, other.quantity)


def test_the_machine_is_on_the_network_while_a_fault_evolves() -> None:
    alone = FOLLOWS | {"states.breaker_open_share": 1.0}
    assert (block_of(EVOLVING, alone).samples["load.current_pu"] > 0).all()
    assert (block_of(PAIR, alone).samples["load.current_pu"] == 0).all()
    columns = columns_of(study_with(alone), EVOLVING)
    assert ANGLE in columns.widths
    assert STATE not in columns.widths


def test_it_has_the_inputs_of_the_event_that_it_follows() -> None:
    study = study_with(FOLLOWS)
    near, after = (
        "external_events.near_fault.external_reactance_pu",
        ("internal_faults.evolving.after_s"),
    )
    assert {near, after} <= keys_of(study, EVOLVING)
    assert not keys_of(study, PAIR) & {near, after}
    assert after not in keys_of(study, Stratum("external.near_fault"))
    assert not [key for key in keys_of(study, EVOLVING) if "far_fault" in key]


def keys_of(study: Study, stratum: Stratum) -> set[str]:
    inputs = Job(study, (), *designs(study)).inputs
    return {item.key for item in inputs if concerns(study, item, stratum)}


def test_a_window_that_does_not_repeat_settles_its_cores_itself() -> None:
    """An external event with one cycle before it that is passed twice, and with two that are passed
    once: the same load, so the same pick-ups."""
    block = block_of(Stratum("external.near_fault"), {"study.samples": 64})
    circuit = block.circuits[0]
    wanted = measurement(block.study, block.scheme(circuit))
    found = []
    for cycles, repeats in ((1, True), (2, False)):
        window, waves, before = external_event(block, cycles_before=cycles)
        flux = block.solved(circuit, before).flux
        window = replace(window, repeats=repeats)
        found.append(block.in_time(circuit, window, waves, flux, wanted).pickup)
    assert found[1] == pytest.approx(found[0], rel=1e-8)
