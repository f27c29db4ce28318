"""Cautions: each is given where it is due and only there, with its numbers."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.study.checks import CAUTIONS, Caution, cautions
from tests.made.branches import BRANCHES
from tests.made.studies import REMOVE, study_with
from tests.unit.montecarlo.secondary.test_nameplate import ORDINARY


def texts(changes: dict[str, Any]) -> dict[str, str]:
    return {caution.key: caution.text for caution in cautions(study_with(changes))}


def test_the_minimal_study_leaves_only_its_assumptions_and_undamped_faults_to_say() -> None:
    key = "external_events.{}.external_resistance_pu".format
    undamped = [key("near_fault"), key("far_fault")]
    standing = ["internal_faults.position", "internal_faults.shares"]
    assert [caution.key for caution in cautions(study_with())] == [*undamped, *standing]
    damped = study_with(dict.fromkeys(undamped, 0.01))
    assert [caution.key for caution in cautions(damped)] == standing


CLASS_P = {
    "ct.knee_voltage_v": REMOVE,
    "ct.knee_current_a": REMOVE,
    "ct.class": "5P20",
    "ct.rated_burden_va": 15,
}
BIASED_WITH_GATE = {
    "scheme.kind": "biased",
    "scheme.gates": [{"name": "angle", "start": "angle", "within_degrees": 90.0}],
    "candidates": {"phase_pickup_a": [0.1], "first_slope": [0.1], "gate": ["none"]},
    "network.x_over_r": 30,
}
HAS_GATE = {"phase_pickup_a": 0.1, "first_slope": 0.1, "gate": "angle"}
UNIT_CONNECTED = {"earthing.resistance_ohm": 900.0}  # E/R = 7.06 A
EXISTING = {
    "candidates.existing": {"phase_pickup_a": 0.1, "earth_pickup_a": 0.033},
    "relay.step_a": 0.02,
}

WINDING = {
    "slots": 288,
    "pole_pairs": 24,
    "pitch": 5,
    "branches": 2,
    "turns_per_coil": 3,
    "layout": "alternate",
    "leakage_reactance_pu": 0.1,
}
DEPENDABILITY = {
    "dependability": {
        "proof_test_years": 2,
        "parts": [{"name": "relay", "paths": ["phase_elements"], "dangerous_per_year": 0.01}],
    }
}
DUE: list[tuple[dict[str, Any], str, str]] = [
    (
        BRANCHES
        | {"winding.group_unbalance_percent": 0.0, "winding.circulating_percent": 0.0}
        | {"scheme.kind": "core_balance"}
        | {"candidates": {"phase_pickup_a": [0.1]}}
        | {"internal_faults.shares": {"earth": 0.8, "inter_turn": 0.2}},
        "winding.group_unbalance_percent",
        "The groups of branches share all currents alike",
    ),
    (
        DEPENDABILITY | {"dependability.parts.relay.dangerous_per_year": 1e-7},
        "dependability.parts.relay.dangerous_per_year",
        "1e-07 a year is one failure in 1e+07 years. Was it given per hour?",
    ),
    (
        {"earthing.resistance_ohm": 6000},
        "earthing.resistance_ohm",
        "above 1/(3wC) = 5305 ohm (C = 0.2 uF per phase)",
    ),
    (
        {"machine.stator_capacitance_f": 0},
        "machine.stator_capacitance_f",
        "No capacitance to earth is given",
    ),
    (
        {"earthing.current_limit_a": 1, "earthing.resistance_ohm": REMOVE},
        "earthing.current_limit_a",
        "6351 ohm is above 1/(3wC) = 5305 ohm",
    ),
    (
        {
            "earthing.transformer_ratio": 60,
            "earthing.secondary_resistance_ohm": 2,
            "earthing.resistance_ohm": REMOVE,
        },
        "earthing.secondary_resistance_ohm",
        "7200 ohm is above 1/(3wC) = 5305 ohm",
    ),
    (
        {"earthing.temperature_rise_k": 800, "earthing.temperature_coefficient_per_k": 1e-4},
        "earthing.temperature_rise_k",
        "heats by up to 800 K. The limit for short duty is 760 K",
    ),
    (
        {"machine.winding_exponent": 1},
        "machine.winding_exponent",
        "2 (ampere-turns squared) is the better law",
    ),
    # Z_w = j(0.2 + 0.2 + 0.08)/3 * 11²/25 = 0.774 ohm
    (
        {"earthing.resistance_ohm": 2},
        "machine.winding_exponent",
        "impedance of 0.774 ohm is not small compared with 2 ohm of the earth return",
    ),
    (
        {
            "scheme.kind": "biased",
            "candidates": {"phase_pickup_a": [0.1], "first_slope": [0.1], "delay_s": [0.0, 0.1]},
        },
        "candidates.delay_s",
        "trips once 1 step of 0.71 ms above its setting",
    ),
    (
        {"scheme.gates": [{"name": "angle", "start": "angle", "within_degrees": 90.0}]},
        "scheme.gates.angle",
        "No candidate has this gate",
    ),
    (
        BIASED_WITH_GATE | {"candidates.existing": HAS_GATE},
        "scheme.gates.angle.stays_s",
        "0 s is less than one cycle, 0.02 s",
    ),
    (
        BIASED_WITH_GATE | {"candidates.high_set_pickup_a": [0.1, 5.0]},
        "candidates.high_set_pickup_a",
        "0.1 A is not above the phase pick-up of 0.1 A",
    ),
    (UNIT_CONNECTED, "earthing.resistance_ohm", "as on a unit-connected machine"),
    (
        UNIT_CONNECTED,
        "candidates",
        "needs 30 A primary. A bolted earth fault at the terminals gives the CTs 7.06 A",
    ),
    # 3 * 314.16 * 0.65e-6 * 6350.9 = 3.89 A
    (
        {"machine.terminal_capacitance_f": 0.45e-6, "candidates.earth_pickup_a": [0.002, 0.1]},
        "candidates.earth_pickup_a",
        "feeds up to 3.89 A. This is above the lowest earth pick-up of 0.002 A secondary = 3 A",
    ),
    (
        {"machine.line_voltage_v": 110, "machine.rated_power_va": 25e4},
        "machine.line_voltage_v",
        "110 V is unusual",
    ),
    ({"machine.voltage_factor": 1.2}, "machine.voltage_factor", "is 1.2 ... 1.2"),
    ({"machine.frequency_hz": 40}, "machine.frequency_hz", "40 Hz is not a usual"),
    (
        {"machine.subtransient_time_constant_s": 1.0, "machine.transient_time_constant_s": 0.5},
        "machine.subtransient_time_constant_s",
        "T''d = 1 s is not below T'd = 0.5 s",
    ),
    (
        {"machine.transient_reactance_pu": {"dist": "uniform", "low": 0.2, "high": 0.4}},
        "machine.subtransient_reactance_pu",
        "as high as 0.22 pu while transient_reactance_pu is as low as 0.2 pu",
    ),
    (
        {"load.current_pu": {"dist": "uniform", "low": 0.2, "high": 1.3}},
        "load.current_pu",
        "reaches 1.3 pu",
    ),
    ({"load.current_pu": 0}, "load.current_pu", "The load is always 0"),
    # 25e6/(sqrt(3) * 11e3) = 1312 A
    ({"ct.primary_a": 1000}, "ct.primary_a", "1312 A is 1.3 times the CT's 1000 A"),
    (
        {"ct.line_end": {"primary_a": 3000, "secondary_a": 2}},
        "ct.line_end.primary_a",
        "is 0.44 times the CT's 3000 A",
    ),
    (
        {"relay.rated_current_a": 5},
        "relay.rated_current_a",
        "The relay is rated 5 A, the CTs 1 A secondary",
    ),
    ({"ct.knee_current_a": 0}, "ct.knee_current_a", "The CTs are ideal"),
    ({"ct.remanence_percent": 0}, "ct.remanence_percent", "No core has remanence"),
    (
        {"ct.turns_ratio_error_percent": 0},
        "ct.turns_ratio_error_percent",
        "exactly their rated ratio",
    ),
    (CLASS_P, "ct.knee_factor", "The knees are exactly alike"),
    (
        {"ct.line_end": {"class": "5P20", "rated_burden_va": 15}},
        "ct.line_end.knee_factor",
        "exactly alike",
    ),
    (
        {
            "ct.knee_voltage_v": REMOVE,
            "ct.knee_current_a": REMOVE,
            "ct.excitation_points": ORDINARY,
            "ct.excitation_misfit_max_percent": 20,
        },
        "ct.excitation_misfit_max_percent",
        "by 17.9 % RMS",
    ),
    (
        {"ct.remanence_model": "shifted_curve"},
        "ct.remanence_model",
        "remanence_bound_percent only limits remanence_percent",
    ),
    (
        {"ct.second_line_end": {}},
        "ct.second_line_end",
        "No scheme uses these CTs. The table changes no result.",
    ),
    (
        {"relay.pickup_error_percent": 1},
        "relay.pickup_error_percent",
        "the same pick-up error of 1 %",
    ),
    (
        EXISTING,
        "candidates.existing.earth_pickup_a",
        "not on a step of the relay. The nearest step is 0.04 A",
    ),
    (
        EXISTING | {"relay.range_a": [0.02, 0.2], "candidates.existing.phase_pickup_a": 0.3},
        "candidates.existing.phase_pickup_a",
        "The existing 0.3 A cannot be set on this relay",
    ),
    (
        CLASS_P | {"ct.turns_ratio_error_percent": REMOVE},
        "ct.turns_ratio_error_percent",
        "0.5 % either way was assumed, the limit of class 5P20",
    ),
    # X2 = 0.2, X_ext = 0.4, T_a = 0.15 s: 0.15 (0.2 + 0.4)/0.2
    (
        {},
        "external_events.far_fault.external_resistance_pu",
        "decays with 450 ms at the centre of the inputs, slower than at the terminals (T_a = 150"
        " ms)",
    ),
    (
        {"ct.remanence_percent": 0.7},
        "ct.remanence_percent",
        "It reaches 0.7 %. Usual is 1 to 100 %",
    ),
    (
        {"external_events.far_fault.clearing_time_s": 1.5},
        "external_events.far_fault.clearing_time_s",
        "reaches 1.5 s",
    ),
    (
        {"internal_faults.earth_fault_resistance_ohm": REMOVE},
        "internal_faults.earth_fault_resistance_ohm",
        "Every earth fault is bolted",
    ),
    (
        {"study.installations": 128},
        "study.samples",
        "512 samples on 128 installations are 4 events per installation",
    ),
    (
        {"backup": {"neutral_current": {"pickup_a": 300.0, "delay_s": 1.0}}},
        "backup.neutral_current",
        "needs 300 A in the neutral. A bolted earth fault at the terminals gives at most 300 A",
    ),  # 299.6 A
    (
        {"external_events.far_fault.kind": "three_phase"},
        "external_events",
        "The only kind of external event is three_phase",
    ),
    (
        {
            "scheme.kind": "mine",
            "candidates": {"earth_pickup_a": [0.05]},
            "scheme.custom": [
                {
                    "name": "mine",
                    "elements": [{"leg": "a", "setting": "earth"}],
                    "legs": [{"name": "a", "cts": ["neutral_end.L1", "line_end.L1"]}],
                }
            ],
        },
        "scheme.custom[0].legs[0].cts",
        '"line_end.L1" should be "-line_end.L1"',
    ),
    (
        {
            "internal_faults.shares": {"earth": 0.9, "evolving": 0.1},
            "internal_faults.evolving": {
                "event": "near_fault",
                "after_s": 0.04,
                "kind": "three_phase",
            },
        },
        "internal_faults.evolving",
        "no published figure",
    ),
]


@pytest.mark.parametrize(("changes", "key", "words"), DUE)
def test_a_caution_is_given_with_its_numbers(changes: dict[str, Any], key: str, words: str) -> None:
    found = [caution.text for caution in cautions(study_with(changes)) if caution.key == key]
    assert any(words in text for text in found), found


def test_every_check_is_shown_here() -> None:
    more: list[dict[str, Any]] = [{}, {"policy.p_false_max": 1e-3}]
    studies = [study_with(changes) for changes in (*(due for due, _, _ in DUE), *more)]
    given = {check.__name__ for study in studies for check in CAUTIONS if any(check(study))}
    assert given == {check.__name__ for check in CAUTIONS}


def test_a_caution_is_one_line_and_a_sentence() -> None:
    for changes, _, _ in DUE:
        for caution in cautions(study_with(changes)):
            assert isinstance(caution, Caution)
            assert len(caution.text.splitlines()) == 1
            assert caution.text.endswith((".", "?"))


def test_only_what_every_study_assumes_stands_in_all_of_them() -> None:
    told = [caution for changes, _, _ in DUE for caution in cautions(study_with(changes))]
    assert {caution.key for caution in told if caution.standing} == {
        "internal_faults.position",
        "internal_faults.shares",
    }


@pytest.mark.parametrize(
    ("policy", "due"),
    [
        (
            {"p_false_max": 0.006},
            False,
        ),  # zero of 512 shows 1 - 0.05^(1/512) = 0.00583, of two types less
        ({"p_false_max": 0.004}, True),
        ({"false_per_year_max": 0.0060}, False),  # hypot(0.2, 1) * 0.00583 = 0.00595
        ({"false_per_year_max": 0.0059}, True),
        ({"p_false_max": 0.004, "level": 0.9}, False),
    ],
)
def test_a_limit_that_the_samples_cannot_show_is_told(policy: dict[str, Any], due: bool) -> None:
    key = f"policy.{next(iter(policy))}"
    assert (key in texts({"policy": policy})) is due


def test_no_false_trip_in_n_shows_the_rule_of_three() -> None:
    # Hanley and Lippman-Hand, JAMA 249 (1983), p. 1743: none in n, the 95 % upper limit is
    # close to 3/n.
    one = {"external_events.far_fault.per_year": 0, "study.samples": 3000}
    assert "policy.p_false_max" in texts(one | {"policy.p_false_max": 0.99e-3})
    assert "policy.p_false_max" not in texts(one | {"policy.p_false_max": 1e-3})


def test_frequencies_that_are_distributions_are_no_fixed_weights() -> None:
    rate = {"dist": "lognormal", "median": 0.2, "sigma": 0.5, "truncate": [0.01, 10]}
    some = texts({"external_events.near_fault.per_year": rate})["internal_faults.shares"]
    assert "plain numbers, 2 of 3" in some
    every = {f"external_events.{name}.per_year": rate for name in ("near_fault", "far_fault")}
    assert (
        "plain numbers"
        not in texts(every | {"internal_faults.per_year": rate})["internal_faults.shares"]
    )


def test_the_capacitive_limit_is_that_of_the_textbook() -> None:
    # NPTEL, Power System Protection and Switchgear, lecture 29: 15.75 kV, 0.25 uF a phase, 50
    # Hz, R = 1/(6 pi f C): 4244.1 ohm (printed 4246 with pi = 3.14).
    machine = {"machine.stator_capacitance_f": 0.25e-6, "machine.line_voltage_v": 15750}
    for resistance, due in ((4244.2, True), (4244.0, False)):
        found = cautions(study_with(machine | {"earthing.resistance_ohm": resistance}))
        assert any("1/(3wC) = 4244 ohm" in caution.text for caution in found) is due
