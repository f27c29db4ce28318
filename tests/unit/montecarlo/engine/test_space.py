"""The space of rare false trips: its columns, and the symmetries that fold it. The laws of the
samples must stay."""

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.path import measured
from montecarlo.engine.sizes import designs
from montecarlo.engine.space import ANGLE, HALF_WAVE, TURN, space_of
from montecarlo.engine.waves import scene_of
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.candidates import candidate_lattices
from tests.made.studies import REMOVE, study_with

REMANENCE, RATIO = "ct.remanence_percent", "ct.turns_ratio_error_percent"
NEAR = Stratum("external.near_fault")
NO_LOAD = {"load.current_pu": 0.0, "scheme.kind": "per_phase", "candidates.earth_pickup_a": REMOVE}


def block_of(study, name, u):
    job = Job(study, candidate_lattices(study), *designs(study))
    return Block(
        job,
        Chunk(Stratum(f"external.{name}"), 0, 0, 0, 0),
        space_of(study, Stratum(f"external.{name}")).points(u),
    )


def pickups_of(study, name, u):
    """Of one element per phase on the first circuit, (n, 3) [A]."""
    block = block_of(study, name, u)
    judged = next(iter(measured(block).by_circuit.values()))
    return block.per_setting(block.circuits[0], judged.quantity[:, :, 0, 0])


def test_columns_are_those_of_the_event_and_of_the_installation():
    space = space_of(study_with(), Stratum("external.near_fault"))
    assert "external_events.near_fault.external_reactance_pu" in space.first
    assert not [
        key
        for key in space.first
        if key.startswith(("internal_faults", "external_events.far_fault"))
    ]
    assert not [key for key in space.first if key.endswith("per_year")]
    assert space.dims == sum(space.widths.values())
    assert space.widths[REMANENCE] == 6
    assert space.widths["ct.lead_resistance_ohm"] == 1  # shared


def test_an_input_tied_to_one_that_matters_is_a_column_too():
    study = study_with(
        {
            "correlations": [
                {"between": ["load.current_pu", "machine.subtransient_reactance_pu"], "rho": 0.5}
            ]
        },
        load={
            "current_pu": {"dist": "uniform", "low": 0.2, "high": 1.0, "varies": "installation"},
            "power_factor": 0.9,
        },
    )
    samples = block_of(
        study,
        "near_fault",
        np.random.default_rng(1).standard_normal((4096, space_of(study, NEAR).dims)),
    ).samples
    found = np.corrcoef(samples["load.current_pu"], samples["machine.subtransient_reactance_pu"])[
        0, 1
    ]
    # 6/pi asin(rho/2) of two uniform laws; 4 sigma
    assert found == pytest.approx(0.48, abs=0.06)


@pytest.mark.parametrize("name", ["near_fault", "far_fault"])
def test_every_draw_keeps_its_law(name):
    # Kolmogorov distance of 20,000 uniforms: above 0.014 once in 1,300 for each of 16
    space = space_of(study_with(), Stratum(f"external.{name}"))
    points = space.points(np.random.default_rng(2).standard_normal((20_000, space.dims)))
    columns = [
        points.of(ANGLE, 1),
        points.of(REMANENCE, 6),
        points.of(RATIO, 6),
        points.of("relay.pickup_error_percent", 4),
    ]
    for column in np.concatenate(columns, axis=1).T:
        assert np.abs(np.sort(column) - (np.arange(20_000) + 0.5) / 20_000).max() < 0.014
    thirds = np.bincount((3 * points.of("drawn.phase", 1)[:, 0]).astype(int))
    assert np.abs(thirds - 20_000 / 3).max() < 4.5 * (20_000 * 2 / 9) ** 0.5
    together = np.corrcoef(np.concatenate(columns, axis=1).T)
    assert np.abs(together - np.eye(len(together))).max() < 5 / 20_000**0.5


def test_angle_and_phase_are_independent():
    space = space_of(study_with(), Stratum("external.far_fault"))
    points = space.points(np.random.default_rng(3).standard_normal((60_000, space.dims)))
    cells = np.floor(6 * points.of(ANGLE, 1)[:, 0]) * 3 + np.floor(
        3 * points.of("drawn.phase", 1)[:, 0]
    )
    counts = np.bincount(cells.astype(int), minlength=18)
    assert ((counts - 60_000 / 18) ** 2).sum() / (
        60_000 / 18
    ) < 52  # chi-squared of 17: once in 50,000


@pytest.mark.parametrize("name", ["near_fault", "far_fault"])
def test_turns_and_half_waves_are_symmetries_of_a_symmetric_installation(name):
    study = study_with(NO_LOAD)
    space = space_of(study, Stratum(f"external.{name}"))
    u = np.random.default_rng(4).standard_normal((64, space.dims))
    u[:, space.first[TURN]], u[:, space.first[HALF_WAVE]] = -2, -2
    still = pickups_of(study, name, u)
    turned, other = u.copy(), u.copy()
    turned[:, space.first[TURN]] = 0  # by one phase
    other[:, space.first[HALF_WAVE]] = 2
    assert pickups_of(study, name, turned) == pytest.approx(np.roll(still, 1, axis=1), rel=1e-6)
    assert pickups_of(study, name, other) == pytest.approx(still, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "order"), [("near_fault", [[0, 1, 2]]), ("far_fault", [[0, 1, 2], [0, 2, 1]])]
)
def test_images_are_symmetries_of_a_symmetric_installation(name, order):
    study = study_with(NO_LOAD)
    space = space_of(study, Stratum(f"external.{name}"))
    u = np.random.default_rng(5).standard_normal((64, space.dims))
    u[:, space.first[TURN]] = -2
    still = pickups_of(study, name, u)
    for image, columns in zip(space.images, order, strict=True):
        assert image.of(image.of(u)) == pytest.approx(u, abs=0)
        assert pickups_of(study, name, image.of(u)) == pytest.approx(still[:, columns], rel=1e-4)


def test_tails_stay_inside_the_open_interval():
    study = study_with()
    space = space_of(study, NEAR)
    for far in (-12.0, 12.0):
        samples = block_of(study, "near_fault", np.full((2, space.dims), far)).samples
        assert all(np.isfinite(values).all() for values in samples.values())


def test_what_the_event_does_not_read_changes_nothing():
    spread = {"dist": "uniform", "low": 0.5, "high": 1.0}
    one, other = (
        study_with(NO_LOAD),
        study_with(
            NO_LOAD
            | {
                "external_events.far_fault.external_reactance_pu": spread,
                "internal_faults.earth_fault_resistance_ohm": 7.0,
                "external_events.near_fault.per_year": spread,
            }
        ),
    )
    u = np.random.default_rng(6).standard_normal((16, space_of(one, NEAR).dims))
    assert space_of(other, NEAR).dims == u.shape[1]
    assert np.array_equal(pickups_of(one, "near_fault", u), pickups_of(other, "near_fault", u))


@pytest.mark.parametrize("kind", ["three_phase", "out_of_phase_closing", "motor_start"])
def test_balanced_events_single_out_no_phase(kind):
    own = {
        "three_phase": {"external_reactance_pu": 0.1, "clearing_time_s": 0.1},
        "out_of_phase_closing": {
            "angle_deg": 120,
            "external_reactance_pu": 0.1,
            "clearing_time_s": 0.1,
        },
        "motor_start": {"motor_rating_pu": 0.3, "run_up_time_s": 3.0},
    }[kind]
    study = study_with(external_events=[{"name": "it", "kind": kind, "per_year": 1, **own}])
    assert study.external_events[0].balanced
    block = block_of(study, "it", np.zeros((1, space_of(study, Stratum("external.it")).dims)))
    scene, window = scene_of(block, study.external_events[0])
    waves = [
        study.external_events[0].currents(replace(scene, phase=np.array([k])), window.times())
        for k in range(3)
    ]
    assert np.array_equal(waves[0], waves[1])
    assert np.array_equal(waves[0], waves[2])
