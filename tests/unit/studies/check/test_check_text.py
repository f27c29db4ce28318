"""The text of `check`: published hand calculations inside it, every input and setting listed, 100
columns."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo import read_study
from montecarlo.quantities import Distribution
from montecarlo.relays.schemes import Axis
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit
from montecarlo.study.grids import Range
from studies.check.text import MOST_SHOWN, checked
from studies.nominal.desk import Desk
from studies.nominal.operating import operating_a
from studies.nominal.text import hand_calculation, reach
from studies.report.blocks import Paragraph, Table
from studies.report.terminal import WIDTH, lines
from tests.made.said import check_text, words
from tests.made.starter import STARTER
from tests.made.studies import REMOVE, study_with

CONFIGS = sorted((Path(__file__).parents[4] / "configs").glob("*.toml"))
DIFFERENT = ("all_events_11kv", "schemes_11kv", "transformer_earthed_13_8kv")

LARGE = {
    "machine.rated_power_va": 160e6,
    "machine.line_voltage_v": 15750.0,
    "ct.primary_a": 8000.0,
    "ct.secondary_a": 5.0,
    "relay.rated_current_a": 5.0,
}  # 5865 A


def text_with(changes: dict[str, Any]) -> str:
    return words(checked(study_with(changes)).text)


# --- published and hand-worked values -----------------------------------------


def test_stability_of_a_printed_example() -> None:
    # NPTEL, Power System Protection and Switchgear, lecture 28: 200 MW, 13.8 kV, pf 0.9, 12 x
    # full load, CT 10000/5, R_ct 1.5, lead 0.3 ohm, 10 % of 5 A, relay 1 VA at pick-up = 4 ohm:
    # 55.78 A; V_s 100.4 V; R_st 196.8 ohm; V_k >= 200.8 V.
    text = words(
        hand_calculation(
            Desk(
                study_with(
                    {
                        "machine.rated_power_va": 200e6 / 0.9,
                        "machine.line_voltage_v": 13800.0,
                        "ct.primary_a": 10000.0,
                        "machine.subtransient_reactance_pu": 0.08,
                        "ct.secondary_a": 5.0,
                        "ct.winding_resistance_ohm": 1.5,
                        "ct.lead_resistance_ohm": 0.3,
                        "ct.knee_voltage_v": 210.0,
                        "relay.rated_current_a": 5.0,
                        "relay.earth_burden_ohm": 4.0,
                        "candidates.earth_pickup_a": [0.5],
                        "external_events.near_fault.external_reactance_pu": 1 / 12 - 0.08,
                    }
                )
            )
        )
    )
    assert "i_f = 55.78 A secondary" in text
    assert "55.78 A x (1.5 + 0.3) ohm = 100.4 V" in text
    # 100.4 V / 0.5 A - 4 ohm
    assert re.search(r"earth 0\.5 A +4 +196\.8 ", text)
    assert "V_k >= 2 V_s: 200.8 V with one-way leads" in text
    assert "the CTs have 210 V: met with one-way leads only" in text


def test_the_winding_that_a_backup_leaves_by_hand() -> None:
    # 25 A x 21.2 ohm = 530 V, 4 % of 6351 V = 254 V
    text = text_with(
        {
            "earthing.resistance_ohm": 21.2,
            "backup": {
                "neutral_current": {"pickup_a": 25.0, "delay_s": 1.0},
                "neutral_voltage": {"pickup_percent": 4, "delay_s": 1.0},
            },
        }
    )
    assert "neutral current I R_N / E = 25 A x 21.2 ohm / 6351 V = 8.3 %" in text
    assert "neutral voltage V / E = 254 V / 6351 V = 4 %" in text
    assert "[backup.neutral_current]" in text
    assert "Back-up" not in text_with({})


def test_a_backup_that_nothing_operates_leaves_all_of_the_winding() -> None:
    assert "= all of it" in text_with(
        {"backup": {"neutral_current": {"pickup_a": 500.0, "delay_s": 1.0}}}
    )


def test_unprotected_fraction_of_a_printed_example() -> None:
    # Mehta & Mehta, Principles of Power System, Ex 22.3: 10 MVA, 6.6 kV, CT 1000/5, R 6 ohm,
    # relay 0.75 A: 23.62 %.
    text = words(
        hand_calculation(
            Desk(
                study_with(
                    {
                        "machine.rated_power_va": 10e6,
                        "machine.line_voltage_v": 6600.0,
                        "ct.primary_a": 1000.0,
                        "ct.secondary_a": 5.0,
                        "earthing.resistance_ohm": 6.0,
                        "candidates.earth_pickup_a": [0.75],
                    }
                )
            )
        )
    )
    assert "0.75 A x 200 x 6 ohm / 3811 V = 23.62 %" in text


def test_capacitive_rule_of_a_printed_example() -> None:
    # NPTEL, same course, lecture 29: 15.75 kV, 0.25 uF a phase, 50 Hz: 4244.1 ohm (printed 4246
    # with pi = 3.14).
    text = words(hand_calculation(Desk(study_with({"machine.stator_capacitance_f": 0.25e-6}))))
    assert "1 / (3 x 314.2 1/s x 0.25 uF) = 4244 ohm" in text
    assert "21.2 ohm: kept" in text
    above = {"machine.stator_capacitance_f": 0.25e-6, "earthing.resistance_ohm": 5000.0}
    assert "5000 ohm: not kept" in text_with(above)
    hybrid = {"machine.stator_capacitance_f": 0.25e-6, "earthing.switch_time_s": 0.1}
    text = text_with(hybrid | {"earthing.high_resistance_ohm": 5000.0})
    assert "the neutral has 5000 ohm after the trip: not kept" in text
    assert "5000 ohm after the trip is above 1/(3wC) = 4244 ohm" in text


def test_a_setting_in_four_bases() -> None:
    # 160 MVA, 15.75 kV: 5865 A; CT 8000/5: 8 % of 5 A = 0.40 A = 640 A primary = 0.109 pu.
    # Worked by hand.
    text = check_text(study_with({**LARGE, "candidates.phase_pickup_a": [0.4]}))
    assert ["phase", "0.4", "640", "8", "0.1091"] in [line.split() for line in text.splitlines()]
    assert "% of 5 A pu of 5865 A" in words(text)


def test_balancing_resistance_and_its_spill() -> None:
    kept = {"relay.phase_burden_ohm": 1.0, "scheme.phase_stabilising_ohm": 200.0}
    assert "1 + 200 = 201 ohm. The study takes it equal" in text_with(kept)
    text = text_with(kept | {"scheme.balancing_resistance_ohm": 190.0})
    assert re.search(
        r"The study has 190 ohm\. Spill in the earth circuit at 190 ohm: [\d.]+ mA with 0 ohm",
        text,
    )
    assert "201 ohm: no spill" in text_with(kept | {"scheme.balancing_resistance_ohm": 201.0})
    assert "98 % of its values in the study lie at" in text_with(
        kept
        | {"scheme.balancing_resistance_ohm": {"dist": "lognormal", "median": 201.0, "sigma": 0.05}}
    )


def test_the_direct_current_of_every_event_goes_with_its_own_time_constant() -> None:
    # T_a (X2 + X_ext)/X2 without resistance, 0.15 s and 0.2 pu: X_ext 0.175 (the median) and
    # 0.4 pu
    assert "near_fault 281 ms far_fault 450 ms" in text_with({})
    # R_a = 0.2/(314.16 * 0.15) = 0.00424 pu; 0.6/(314.16 * (0.00424 + 0.01))
    assert "far_fault 134 ms" in text_with(
        {"external_events.far_fault.external_resistance_pu": 0.01}
    )
    file = next(path for path in CONFIGS if path.stem == "all_events_11kv")
    text, events = words(check_text(read_study(file))), read_study(file).external_events
    assert all(re.search(rf"{event.name} \d+(\.\d+)? ms", text) for event in events)


def test_largest_through_fault_is_taken_over_the_events() -> None:
    text = text_with({"external_events.far_fault.external_reactance_pu": 0.0})
    assert "far_fault with its inputs at the end" in text  # sqrt(3)/0.4 against 1/0.25
    assert "sqrt(3) x 1 / (0.2 + 0.2 + 2 x 0) x 1312 A = 5682 A primary" in text
    only = {"name": "earth_fault", "kind": "phase_earth", "per_year": 1.0, "clearing_time_s": 0.1}
    text = text_with({"external_events": [only]})
    assert "none of the listed, a fault at the terminals with" in text
    assert "1 / 0.2 x 1312 A = 6561 A primary" in text


# --- operating currents -------------------------------------------------------


@pytest.mark.parametrize("axis", ["phase", "earth"])
@pytest.mark.parametrize("ohm", [0.0, 200.0, 1000.0])
def test_phasors_lie_between_ideal_cts_and_the_upper_bound(axis: Axis, ohm: float) -> None:
    desk = Desk(study_with({"relay.phase_burden_ohm": 20.0}))
    path = 20.0 + (ohm + 0.1 if axis == "earth" else 0.0) + 6.0
    for pickup in (0.01, 0.03, 0.05):
        most = desk.turns * (
            pickup + (6 if axis == "earth" else 2) * desk.exciting_a(pickup * path)
        )
        on = Lattice(Circuit("two_phase_one_earth", ohm), None, (pickup,), (pickup,), (0.0,))
        assert desk.turns * pickup < operating_a(desk, on, axis, pickup, 1.05 * most) < most


def test_ideal_cts_operate_at_the_ratio() -> None:
    desk = Desk(study_with({"ct.knee_current_a": 0.0}))
    assert desk.exciting_a(100.0) == 0
    on = Lattice(Circuit("two_phase_one_earth", 500.0), None, (0.1,), (0.02,), (0.0,))
    assert operating_a(desk, on, "earth", 0.02, 40.0) == pytest.approx(30.0, rel=1e-9)


def test_exciting_current_keeps_the_knee() -> None:
    desk = Desk(study_with())
    assert desk.exciting_a(300.0) == pytest.approx(0.03, rel=1e-6)
    assert desk.exciting_a(330.0) == pytest.approx(
        0.045, rel=1e-6
    )  # IEC 61869-2: 10 % more, half as much again
    assert np.isnan(desk.exciting_a(500.0))


# --- what can be seen at all --------------------------------------------------


def test_a_few_amperes_are_never_seen() -> None:
    # 10 A at 15.75 kV over 909 ohm is 6.3 mA at 8000/5: no pick-up of a tenth of an ampere.
    # Worked by hand.
    text = words(
        reach(
            Desk(
                study_with(
                    {
                        **LARGE,
                        "machine.stator_capacitance_f": 0.0,
                        "earthing.resistance_ohm": 909.0,
                        "candidates.phase_pickup_a": [0.4],
                        "candidates.earth_pickup_a": [0.1, 0.2],
                        "candidates.stabilising_resistance_ohm": [0],
                    }
                )
            )
        )
    )
    assert re.search(r"drives at most (10|9\.9\d*) A primary \(at the terminals", text)
    assert "0.00625" in text
    assert "phase elements: the relay circuit then carries 0.006" in text
    assert text.count("can operate on an earth fault of this machine") == 2


def test_only_the_coarse_pickups_are_blind() -> None:
    # 6351 V over 21.2 ohm: 300 A = 0.2 A at 1500/1.
    text = words(
        reach(
            Desk(
                study_with(
                    {
                        "candidates.phase_pickup_a": [0.1, 0.3],
                        "candidates.earth_pickup_a": [0.02, 0.25],
                        "candidates.stabilising_resistance_ohm": [0],
                    }
                )
            )
        )
    )
    assert re.search(
        r"phase elements: the relay circuit then carries 0\.\d+ A\. At 0\.3 A it can never operate",
        text,
    )
    assert re.search(
        r"earth element: the relay circuit then carries 0\.\d+ A\. At 0\.25 A it can never operate",
        text,
    )


def test_everything_that_can_be_seen_is_said_so() -> None:
    assert (
        words(reach(Desk(study_with()))).count("Every pick-up can operate on it") == 1
    )  # earth; 0.2 A of a phase cannot
    assert (
        words(reach(Desk(study_with({"candidates.phase_pickup_a": [0.1]})))).count(
            "Every pick-up can operate on it"
        )
        == 2
    )


def test_a_resistance_that_blinds_is_named() -> None:
    text = words(
        reach(
            Desk(
                study_with(
                    {
                        "candidates.earth_pickup_a": [0.02, 0.12],
                        "candidates.stabilising_resistance_ohm": [0, 3000],
                    }
                )
            )
        )
    )
    assert "when set to 0.12 A with 3000 ohm" in text


# --- the whole text -----------------------------------------------------------


def shown(grid: tuple[float, ...]) -> tuple[float, ...]:
    """Of a long range its ends."""
    long = isinstance(grid, Range) and len(grid) > MOST_SHOWN
    return (grid[0], grid[-1]) if long else grid


@pytest.mark.parametrize(
    "file",
    [
        STARTER,
        *(
            path if path.stem in DIFFERENT else pytest.param(path, marks=pytest.mark.slow)
            for path in CONFIGS
        ),
    ],
    ids=lambda path: path.stem,
)
def test_worked_studies_fit_the_page_and_hide_nothing(file: Path) -> None:
    study = read_study(file)
    text = check_text(study)
    assert max(map(len, text.splitlines())) <= WIDTH
    for item in list_inputs(study):
        section, _, key = item.key.rpartition(".")
        assert f"[{section}]" in text
        assert re.search(rf"^ +{key} ", text, re.MULTILINE), item.key
    for pickup in (
        *shown(study.candidates.phase_pickup_a),
        *shown(study.candidates.earth_pickup_a),
    ):
        assert re.search(rf"^ +(phase|earth)[^\d]* {pickup:g} ", text, re.MULTILINE), pickup
    assert "nan" not in text.lower().split()


def test_inputs_say_how_they_vary_and_where_they_come_from() -> None:
    lines = [line.split() for line in check_text(study_with()).splitlines()]
    assert ["winding_resistance_ohm", "ohm", "fixed", "5"] in lines
    knee = next(line for line in lines if line and line[0] == "knee_voltage_v")
    assert knee[1:5] == ["V", "installation,", "each", "CT"]
    assert "source: assumed" in words(check_text(study_with()))
    lead = next(line for line in lines if line and line[0] == "lead_resistance_ohm")
    assert lead[1:4] == ["ohm", "installation,", "shared"]


def test_an_input_varies_as_the_file_says() -> None:
    table_ = {"dist": "uniform", "low": 0.9, "high": 1.1, "varies": "installation"}
    lines = [
        line.split()
        for line in check_text(study_with({"machine.voltage_factor": table_})).splitlines()
    ]
    assert ["voltage_factor", "pu", "installation"] in [line[:3] for line in lines]


def test_moved_pickups_are_told() -> None:
    assert "0.022 to 0.02 A" in text_with(
        {"relay.step_a": 0.02, "relay.range_a": [0.02, 1.0], "candidates.earth_pickup_a": [0.022]}
    )


def test_the_setting_in_service_is_marked() -> None:
    text = text_with({"candidates.existing": {"phase_pickup_a": 0.15, "earth_pickup_a": 0.04}})
    assert "phase, existing 0.15 225" in text
    assert "earth, existing 0.04 60" in text


def test_a_scheme_without_earth_element_has_no_earth_rows() -> None:
    text = text_with({"scheme.kind": "per_phase", "candidates.earth_pickup_a": REMOVE})
    assert "Balancing" not in text
    assert "earth element" not in text


# --- layout -------------------------------------------------------------------


def test_a_number_and_its_unit_stay_on_one_line() -> None:
    for length in range(60, 110):
        text = Paragraph("x" * length + " is 12.5 ohm of 3 V, 40 % and 5 A")
        assert not any(line.split()[-1] in ("12.5", "3", "40", "5") for line in lines([text]))


def test_a_long_last_column_is_wrapped_under_itself() -> None:
    text = lines([Table(("key", "value"), (("a", "word " * 40), ("bb", "short")), "<<")])
    assert max(map(len, text)) <= WIDTH
    assert all(line.startswith(" " * 7 + "word") for line in text[2:4])


def test_long_tables_of_values_are_shortened() -> None:
    many = Distribution(
        "discrete", {"values": tuple(float(v) for v in range(100)), "weights": (0.01,) * 100}
    )
    assert "100 values" in str(many)


def test_a_scheme_of_one_s_own_is_listed_by_its_legs_and_elements() -> None:
    own = {
        "name": "mine",
        "elements": [{"leg": "first", "setting": "phase"}],
        "legs": [
            {
                "name": "first",
                "cts": ["neutral_end.L1", "-line_end.L1"],
                "resistance_ohm": {"dist": "uniform", "low": 0.1, "high": 0.2},
            }
        ],
    }
    text = text_with(
        {"scheme": {"kind": "mine", "custom": [own]}, "candidates": {"phase_pickup_a": [0.1]}}
    )
    assert (
        "[scheme.custom.mine.legs.first] cts fixed neutral_end.L1, -line_end.L1 resistance_ohm ohm"
        " installation uniform: low 0.1, high 0.2" in text
    )
    assert "[scheme.custom.mine.elements.0] leg fixed first setting fixed phase" in text
    assert "Distribution(" not in text


def test_a_scheme_on_second_cores_has_a_hand_calculation() -> None:
    own = {
        "name": "mine",
        "elements": [{"leg": "first", "setting": "phase"}],
        "legs": [{"name": "first", "cts": ["second_neutral_end.L1", "-second_line_end.L1"]}],
    }
    text = text_with(
        {
            "scheme": {"kind": "mine", "custom": [own]},
            "candidates": {"phase_pickup_a": [0.1]},
            "ct.second_neutral_end": {},
            "ct.second_line_end": {},
        }
    )
    assert re.search(r"phase 0\.1 A - 0\.61 0\.203 % 0\.223 150 150\.7 150 ", text)


@pytest.mark.parametrize(
    ("slope", "current", "restraint"), [(0.3, "mean", 0.15), (0.3, "sum", 0.3), (0.9, "mean", 0.45)]
)
def test_operating_current_of_a_biased_element(
    slope: float, current: str, restraint: float
) -> None:
    """Fed from one end, i_d = i and i_b = i/2 or i: I_0/(1 - s i_b/i), ideal CTs; worked by
    hand."""
    text = text_with(
        {
            "scheme.kind": "biased",
            "scheme.bias_current": current,
            "ct.knee_current_a": 0.0,
            "candidates": {"phase_pickup_a": [0.1], "first_slope": [slope]},
        }
    )
    found = re.search(r"phase 0\.1 A - [\d.]+ [\d.]+ % 0 150 - ([\d.]+)", text)
    assert found is not None
    assert float(found[1]) == pytest.approx(150 / (1 - restraint), rel=2e-3)
    assert f"slope {slope:g}; scheme biased" in text


def test_a_biased_element_that_its_own_bias_holds() -> None:
    text = text_with(
        {
            "scheme.kind": "biased",
            "scheme.bias_current": "sum",
            "candidates": {
                "phase_pickup_a": [0.1],
                "first_slope": [1.2],
                "second_slope": [1.5],
                "turning_point_a": [2.0],
            },
        }
    )
    assert re.search(r"phase 0\.1 A - [\d.]+ [\d.]+ % [\d.]+ 150 - above 3\.?\d*e?\+?\d* ", text)
    assert (
        "first slope 1.2; second slope 1.5; turning point, bias current 2 A; scheme biased" in text
    )


def test_options_of_earthing_stand_by_hand() -> None:
    """30 A primary at 0.02 A and 1500/1: x = 30 R / E, E = 6350.9 V; 1/(3wC) of 0.2 uF is 5305
    ohm."""
    times = {"breaker_time_s": 0.1, "field_decay_time_constant_s": 3.0, "undetected_time_s": 60.0}
    text = check_text(
        study_with(
            {
                "study.kind": "earthing_options",
                "fault_energy": times,
                "earthing_options": [
                    {"name": "as it is"},
                    {"name": "100 A", "current_limit_a": 100},
                    {"name": "1 A", "current_limit_a": 1.0},
                ],
            }
        )
    )
    lines = [line.split() for line in text.splitlines()]
    assert ["as", "it", "is", "21.2", "300", "10", "%", "kept"] in lines
    assert ["100", "A", "63.51", "100", "30", "%", "kept"] in lines
    assert ["1", "A", "6351", "1", "all", "of", "it", "not", "kept"] in lines
    assert "for each of 3 options of earthing" in words(text)
    assert "OPTIONS OF EARTHING" not in check_text(study_with())


def test_a_high_set_is_called_so_among_the_settings() -> None:
    changes = {
        "scheme.kind": "biased",
        "candidates": {
            "phase_pickup_a": [0.1],
            "first_slope": [0.1],
            "second_slope": [0.5],
            "turning_point_a": [1.0],
            "high_set_pickup_a": [7.0],
        },
    }
    text = check_text(study_with(changes)).partition("SETTINGS IN FOUR BASES")[2]
    rows = [line.split()[:2] for line in text.splitlines()[2:5]]
    assert rows == [["phase", "0.1"], ["turning", "point"], ["high-set", "7"]]
