"""Schemes between groups of branches in whole blocks and runs: ideal CTs measure what the groups
differ by, and nothing else."""

from __future__ import annotations

import os
from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from montecarlo import run_study, sample_frames
from montecarlo.engine import groups
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.path import Measured, solve
from montecarlo.engine.progress import silent
from montecarlo.engine.rounds import Drawn, in_rounds
from montecarlo.engine.run import run
from montecarlo.engine.sizes import designs
from montecarlo.engine.sums import of_classes
from montecarlo.engine.winding import Along
from montecarlo.engine.workers import workers_of
from montecarlo.estimates.choose import gather_all
from montecarlo.estimates.conditional import winding_nodes
from montecarlo.plant.turns.catalogue import CLASSES, WITHIN_PHASE
from montecarlo.quantities import Array
from montecarlo.relays.schemes import OF_GROUPS
from montecarlo.sampling.stratum import EARTH, INTER_TURN, LOAD, Side, Stratum
from montecarlo.study.candidates import candidate_lattices
from tests.made.branches import BRANCHES, WINDING
from tests.made.studies import study_with

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
IDEAL: dict[str, Any] = {
    "ct.turns_ratio_error_percent": 0.0,
    "ct.knee_current_a": 0.0,
    "relay.pickup_error_percent": 0.0,
    "relay.measure": "fundamental",
}
SMALL: dict[str, Any] = BRANCHES | {
    "winding": WINDING
    | {"slots": 72, "pole_pairs": 4, "pitch": 7, "leakage_reactance_pu": 0.12}
    | {"group_unbalance_percent": {"dist": "uniform", "low": -0.5, "high": 0.5}}
    | {"circulating_percent": 0.0},
    "study.seed": SEED,
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "scheme.kind": [*OF_GROUPS],
    "study.kind": "scheme_comparison",
    "candidates": {"phase_pickup_a": [0.05], "earth_pickup_a": [0.05]},
    "internal_faults.shares": {"earth": 0.5, "phase_phase": 0.1, "inter_turn": 0.4},
}
N = 1500.0


def block_of(stratum: Stratum, changes: dict[str, Any]) -> Block:
    study = study_with(SMALL | changes)
    job = Job(study, candidate_lattices(study), *designs(study))
    return Block(job, job.design_of(stratum).chunks(stratum)[0])


def measured(block: Block) -> dict[str, Array]:
    """What the elements of each scheme measure, (n, elements). [A]"""
    found = solve(block)
    assert isinstance(found, Measured)
    return {
        circuit.scheme: judged.quantity[:, :, 0, 0] for circuit, judged in found.by_circuit.items()
    }


def test_ideal_groups_that_share_alike_see_no_load_and_no_event() -> None:
    none = {"winding.group_unbalance_percent": 0.0} | IDEAL
    for stratum in (LOAD, Stratum.of(Side.EXTERNAL, "near_fault")):
        for quantity in measured(block_of(stratum, none)).values():
            assert np.abs(quantity).max() < 1e-9


def test_a_standing_difference_is_measured_as_it_is() -> None:
    """u I + c, halved in neither scheme of phases; the link carries half of the three's sum."""
    block = block_of(LOAD, IDEAL | {"winding.circulating_percent": 2.0})
    unbalance, constant = groups.unbalance(block), groups.circulating(block)
    wanted = unbalance * block.load_primary[:, 3:6] + constant
    found = measured(block)
    for scheme in ("split_phase", "core_balance"):
        assert found[scheme] == pytest.approx(np.abs(wanted) / N, rel=1e-9)
    link = np.abs(wanted.sum(axis=1)) / 2 / N
    assert found["neutral_to_neutral"][:, 0] == pytest.approx(link, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("stratum", [LOAD, INTER_TURN, Stratum.of(Side.EXTERNAL, "near_fault")])
def test_a_fundamental_measurement_rejects_the_third_harmonic(stratum: Stratum) -> None:
    with_it = IDEAL | {"winding.link_third_harmonic_percent": 10.0}
    for scheme, quantity in measured(block_of(stratum, IDEAL)).items():
        other = measured(block_of(stratum, with_it))[scheme]
        assert other == pytest.approx(quantity, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("stratum", [LOAD, Stratum.of(Side.EXTERNAL, "near_fault")])
@pytest.mark.parametrize("measure", ["rms", "peak"])
def test_the_third_harmonic_of_the_link_is_measured(stratum: Stratum, measure: str) -> None:
    """Alone, by phasors and in time: h in the link, two thirds of it between the groups."""
    alone = {"winding.group_unbalance_percent": 0.0, "winding.link_third_harmonic_percent": 10.0}
    found = measured(block_of(stratum, IDEAL | alone | {"relay.measure": measure}))
    link = 0.1 * 25e6 / np.sqrt(3) / 11e3 / N
    close = 5e-3 if measure == "peak" else 1e-6  # steps in time miss the crest
    assert found["neutral_to_neutral"] == pytest.approx(link, rel=close)
    for scheme in ("split_phase", "core_balance"):
        assert found[scheme] == pytest.approx(2 / 3 * link, rel=close)


@pytest.mark.parametrize("measure", ["rms", "peak"])
def test_phasors_and_time_agree_on_a_standing_difference_with_third_harmonic(measure: str) -> None:
    """Both groups carry the event's current alike: in time stands what phasors have."""
    both = IDEAL | {"winding.group_unbalance_percent": 0.0, "winding.circulating_percent": 2.0}
    both |= {"winding.link_third_harmonic_percent": 5.0, "relay.measure": measure}
    both |= {"winding.circulating_angle_deg": 30.0, "winding.link_third_harmonic_angle_deg": 75.0}
    in_time = measured(block_of(Stratum.of(Side.EXTERNAL, "near_fault"), both))["core_balance"]
    lasting = measured(block_of(LOAD, both))["core_balance"]
    close = 3e-3 if measure == "peak" else 1e-6
    assert in_time[0].max() == pytest.approx(lasting[0].max(), rel=close)


@pytest.mark.parametrize("kind", ["phase_phase", "three_phase"])
def test_an_event_leaves_the_standing_difference_of_its_current(kind: str) -> None:
    """The same in time: what both groups carry cancels, and the fundamental of u I is left."""
    event = {
        "name": "close_in",
        "kind": kind,
        "per_year": 0.1,
        "external_reactance_pu": 0.2,
        "clearing_time_s": 0.1,
    }
    shared = {"winding.group_unbalance_percent": 0.5} | IDEAL | {"external_events": [event]}
    found = measured(block_of(Stratum.of(Side.EXTERNAL, "close_in"), shared))
    assert found["split_phase"] == pytest.approx(found["core_balance"], rel=1e-6)
    assert found["neutral_to_neutral"].max() < 1e-9  # the three sum to nothing
    rated = 25e6 / np.sqrt(3) / 11e3
    assert 1.5 < found["core_balance"].max() * N / (0.005 * rated) < 6.0


def test_a_fault_between_turns_is_its_difference() -> None:
    none = {"winding.group_unbalance_percent": 0.0} | IDEAL
    block = block_of(INTER_TURN, none)
    current = groups.turn_faults(block.study.winding).currents(  # type: ignore[arg-type]
        groups.which_contact(block),
        reactance_pu=block.samples["machine.subtransient_reactance_pu"],
        leakage_pu=0.12,
        coupling=block.samples["winding.coil_leakage_coupling"],
    )
    error = 1 + block.samples["internal_faults.turns.current_error_percent"][:, None] / 100
    rated = 25e6 / np.sqrt(3) / 11e3 / 2
    wanted = np.abs(current.difference) * error * rated
    found = measured(block)
    for scheme in ("split_phase", "core_balance"):
        assert found[scheme] == pytest.approx(wanted / N, rel=1e-9, abs=1e-12)
    assert np.abs(error - 1).max() > 0.2
    faults = groups.turn_faults(block.study.winding).contacts  # type: ignore[arg-type]
    which = groups.which_contact(block)
    first, second = (faults.coils.branch[each[which]] for each in (faults.first, faults.second))
    through = current.fault * (second - first)  # where the two branches lie in both groups
    link = np.abs(current.difference.sum(axis=1) / 2 + through) * error[:, 0] * rated
    assert found["neutral_to_neutral"][:, 0] == pytest.approx(link / N, rel=1e-9, abs=1e-12)


def test_an_earth_fault_takes_its_place_of_the_groups() -> None:
    """x of its current, which goes with x itself (derived for the fundamental field)."""
    none = {"winding.group_unbalance_percent": 0.0} | IDEAL | {"scheme.kind": "core_balance"}
    none |= {"study.kind": "setting_sweep", "candidates": {"phase_pickup_a": [0.05]}}
    block = block_of(EARTH, none)
    found = solve(block)
    assert isinstance(found, Along)
    (by_place,) = found.by_phasors.values()  # (n, nodes, elements, 1, 1)
    nodes = winding_nodes(by_place.shape[1] - 1)
    most = by_place[..., 0, 0].max(axis=2)
    whole = most[:, -1:]
    assert (whole > 0.01).all()
    assert most[:, 8] / whole[:, 0] == pytest.approx(nodes[8] ** 2, rel=0.05)


def test_p_missed_all_counts_every_fault_by_its_share() -> None:
    result = run_study(
        study_with(SMALL | {"scheme.kind": ["biased", "core_balance"]} | BIAS), workers=1
    )
    shares = {"earth": 0.5, "phase_phase": 0.1, "inter_turn": 0.4}
    for number, row in result.candidates.set_index("candidate").iterrows():
        rows = result.by_type
        of_type = rows[(rows["candidate"] == number) & (rows["side"] == "internal")]
        p = of_type.set_index("type")["p"]
        assert row["p_missed_all"] == pytest.approx(sum(shares[k] * p[k] for k in shares))
        counted = (0.5 * p["earth"] + 0.1 * p["phase_phase"]) / 0.6
        assert row["p_missed"] == pytest.approx(counted)
        assert row["p_missed_all_low"] <= row["p_missed_all"] <= row["p_missed_all_high"]
        if row["scheme"] == "biased":
            assert p["inter_turn"] == 1.0


def test_p_missed_counts_them_where_the_study_says_so() -> None:
    counted = {"internal_faults.turns.count_in_p_missed": True}
    both = SMALL | {"scheme.kind": ["biased", "core_balance"]} | BIAS
    result = run_study(study_with(both | counted), workers=1)
    assert result.candidates["p_missed"].tolist() == pytest.approx(
        result.candidates["p_missed_all"].tolist()
    )
    assert (result.candidates["outside_scope_per_year"] == 0).all()


def test_without_such_a_scheme_nobody_sees_them() -> None:
    alone = SMALL | {"scheme.kind": "biased", "study.kind": "setting_sweep"} | BIAS
    result = run_study(study_with(alone), workers=1)
    rows = result.candidates
    assert rows["p_missed_all"].to_numpy() == pytest.approx(0.4 + 0.6 * rows["p_missed"].to_numpy())
    assert "inter_turn" not in set(result.by_type["type"])


# --- by class -----------------------------------------------------------------

WEIGHTED: dict[str, Any] = {
    "scheme.kind": ["biased", "split_phase", "core_balance"],
    "candidates": {"phase_pickup_a": [0.005, 0.01, 0.05, 0.1], "first_slope": [0.1]},
}
EXPONENT = "internal_faults.turns.voltage_exponent"


def test_contacts_are_drawn_by_their_weights() -> None:
    """Shares of the classes among 4,096 independent uniforms, five standard deviations: seldom
    beyond by chance, one in a million."""
    study = study_with(SMALL | {EXPONENT: 0.4})
    n = 4096
    u = np.random.default_rng(SEED).random(n)
    block = SimpleNamespace(study=study, uniform=lambda _: u)
    drawn = groups.class_of(block)  # type: ignore[arg-type]
    for name, share in groups.class_shares(study).items():
        assert 0.05 < share < 0.7
        five = 5 * np.sqrt(share * (1 - share) / n)
        assert np.mean(drawn == CLASSES.index(name)) == pytest.approx(share, abs=five)
    every = groups.contact_weights(study)
    which = groups.which_contact(block)  # type: ignore[arg-type]
    most = np.flatnonzero(every * (groups.turn_faults(study.winding).contacts.kind > 0) > 0)  # type: ignore[arg-type]
    assert set(which.tolist()) <= set(most.tolist())


def test_classes_make_up_what_is_missed_between_turns() -> None:
    """Weighted by the samples of each; a scheme that sees none misses all of each."""
    result = run_study(study_with(SMALL | WEIGHTED | {EXPONENT: 0.4}), workers=1)
    rows, by_type = result.turn_faults_missed, result.by_type
    whole = by_type[by_type["type"] == "inter_turn"].set_index("candidate")
    some = 0
    for number, own in rows.groupby("candidate"):
        assert own["class"].tolist() == [*WITHIN_PHASE]
        assert own["share"].sum() == pytest.approx(1, abs=1e-12)
        assert own["samples"].sum() == whole.loc[number, "samples"]
        joint = (own["p_missed"] * own["samples"]).sum() / own["samples"].sum()
        assert joint == pytest.approx(whole.loc[number, "p"], abs=1e-12)
        assert (own["p_missed_low"] <= own["p_missed"]).all()
        assert (own["p_missed"] <= own["p_missed_high"]).all()
        assert (own["p_missed_high"] <= 1).all()
        some += own["p_missed"].nunique() > 1
        if result.candidates.set_index("candidate").loc[number, "scheme"] == "biased":
            assert (own["p_missed"] == 1).all()
    assert some  # a pick-up sees one class oftener than another


def test_kept_samples_say_which_class_is_missed() -> None:
    """Counted from each sample's critical pick-ups, by its class."""
    study = study_with(SMALL | WEIGHTED)
    first = run(study, workers=1).first
    rows = sample_frames(study, ["internal.inter_turn"])["internal.inter_turn"]
    for at, setting in enumerate(first.settings):
        if setting.scheme != "core_balance":
            continue
        columns = [name for name in rows if name.startswith("critical_pickup_a[core_balance")]
        seen = (rows[columns] > setting.phase_pickup_a).any(axis=1)
        standing = [name for name in rows if name.startswith("load_pickup_a[core_balance")]
        missed = ~seen | (rows[standing] > setting.phase_pickup_a).any(axis=1)
        for name in WITHIN_PHASE:
            mine = rows["fault_class"] == name
            found = first.turn_classes[name]
            assert found.trials.sum() == mine.sum()
            assert found.total[at].sum() == missed[mine].sum()


def test_circuits_that_are_left_out_keep_their_classes() -> None:
    """After a round, of those that stay and of those that go."""
    study = study_with(SMALL | WEIGHTED | {"study.samples": 2048})
    job = Job(study, candidate_lattices(study), *designs(study))

    def decide(number: int, _: Drawn) -> Sequence[int]:
        return [1] if number == 1 else []

    found = in_rounds(job, workers_of(1), silent, decide)
    for drawn in (found.whole, *found.left_out.values()):
        gathered = gather_all(study, drawn.lattices, drawn.tallies)[INTER_TURN]
        classes = of_classes(drawn.tallies)
        assert np.array_equal(sum(one.total for one in classes.values()), gathered.total)
        assert np.array_equal(sum(one.trials for one in classes.values()), gathered.trials)
    assert len(found.whole.lattices) == len(job.lattices) - 1


BIAS: dict[str, Any] = {"candidates": {"phase_pickup_a": [0.05, 0.1], "first_slope": [0.1]}}
