"""The main job against textbooks: each worked example as a whole study, ideal CTs, bolted faults,
no spread.

The examples, with their sources, stand in `studies/verify/published/winding.py`. Faults are
spread evenly along the winding, so p_missed is the printed unprotected fraction. Where the example
asks for the resistor, the printed one is the input. Phase pick-ups are given as the example has
them; where it names no CT, a 1000/5 one carries them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo import run_study
from montecarlo.estimates.verdicts import Verdict
from studies.earthing.frames import run_options
from studies.verify.published.whole import READING_PERCENT, missed_percent
from studies.verify.published.winding import EXAMPLES, WindingExample
from tests.made.studies import REMOVE, study_with

NO_SPREAD: dict[str, Any] = {
    "study.samples": 16,
    "study.installations": 16,
    "study.earth_fault_samples": 16,
    "load.current_pu": 0.0,
    "machine.subtransient_reactance_pu": 1e-2,
    "machine.transient_reactance_pu": 2e-2,
    "machine.negative_sequence_reactance_pu": 1e-2,
    "machine.zero_sequence_reactance_pu": 1e-2,
    "machine.winding_exponent": 1,
    "machine.stator_capacitance_f": REMOVE,
    "ct.turns_ratio_error_percent": 0.0,
    "ct.knee_voltage_v": 1000.0,
    "ct.knee_current_a": 0.0,
    "ct.winding_resistance_ohm": 0.5,
    "ct.lead_resistance_ohm": 0.0,
    "ct.remanence_percent": 0.0,
    "scheme": {"kind": "per_phase"},
    "relay": {"rated_current_a": 5.0, "phase_burden_ohm": 0.0},
    "internal_faults.shares": {"earth": 1.0},
    "internal_faults.earth_fault_resistance_ohm": REMOVE,
    "candidates": {"phase_pickup_a": [1.0]},
}


def run_row(
    line_v: float,
    primary_pickup_a: float,
    resistor_ohm: float,
    *,
    power_va: float = 10e6,
    ratio: tuple[float, float] = (1000.0, 5.0),
    reactance_pu: float = 0.005,
    winding_ohm: float = 0.0,
    **more: Any,
) -> Any:
    """The study of a row. A row without winding reactance gets one too small to be seen in the
    printed digits."""
    same = {
        f"machine.{name}": reactance_pu
        for name in (
            "subtransient_reactance_pu",
            "negative_sequence_reactance_pu",
            "zero_sequence_reactance_pu",
        )
    }
    changes = (
        NO_SPREAD
        | {"machine.transient_reactance_pu": reactance_pu}
        | same
        | {
            "machine.rated_power_va": power_va,
            "machine.line_voltage_v": line_v,
            "machine.winding_resistance_ohm": winding_ohm,
            "earthing.resistance_ohm": resistor_ohm,
            "ct.primary_a": ratio[0],
            "ct.secondary_a": ratio[1],
            "candidates.phase_pickup_a": [primary_pickup_a * ratio[1] / ratio[0]],
        }
        | more
    )
    return run_study(study_with(changes), workers=1)


ROWS = [pytest.param(one, id=f"{one.source}, {one.place}") for one in EXAMPLES]


def run_example(one: WindingExample, **more: Any) -> Any:
    given = {"reactance_pu": one.reactance_pu} if one.reactance_pu else {}
    return run_row(
        one.line_v,
        one.pickup_a,
        one.resistor_ohm,
        power_va=one.power_va,
        ratio=one.ratio,
        winding_ohm=one.winding_ohm,
        **given,
        **more,
    )


def digit_of(one: WindingExample) -> float:
    """What the printed digits leave open of the per cent; the resistors are rounded."""
    return one.digit if one.asked == "percent" else READING_PERCENT


@pytest.mark.parametrize("one", ROWS)
def test_a_worked_example_as_a_study(one: WindingExample) -> None:
    row = run_example(one).candidates.iloc[0]
    assert 100 * row["p_missed"] == pytest.approx(one.percent, abs=digit_of(one))
    assert 100 * (1 - row["protected_median"]) == pytest.approx(one.percent, abs=digit_of(one))
    # nothing is uncertain
    assert row["p_missed_low"] == pytest.approx(row["p_missed"], abs=1e-12)
    assert row["missed_line_end_law"] == pytest.approx(row["p_missed"] ** 2, rel=1e-9)
    assert missed_percent(one) == pytest.approx(
        100 * row["p_missed"], abs=0.01
    )  # the study of `statorodds verify`


SCHEMES: dict[str, dict[str, Any]] = {
    "restricted_earth_fault": {"ct.neutral_conductor": {}, "relay.earth_burden_ohm": 0.0},
    "two_phase_one_earth": {"candidates.phase_pickup_a": [50.0]},
    "biased": {"candidates.first_slope": [0.0]},
    "biased_restricted_earth_fault": {  # released by far less than the pick-up
        "ct.neutral_conductor": {},
        "relay.earth_burden_ohm": 0.0,
        "scheme.bias_current": "residual_pair",
        "scheme.gates": [{"name": "free", "start": "no_neutral_current", "start_pu": 0.001}],
        "candidates.first_slope": [0.0],
        "candidates.earth_gate": ["free"],
    },
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", SCHEMES)
@pytest.mark.parametrize("one", ROWS)
def test_the_same_on_other_schemes(one: WindingExample, kind: str) -> None:
    """The formula knows nothing of the scheme: the element that sees the earth fault is set to the
    printed pick-up."""
    changes = {"scheme": {"kind": kind}} | SCHEMES[kind]
    if kind != "biased":
        changes = (
            {"candidates.phase_pickup_a": REMOVE}
            | changes
            | {"candidates.earth_pickup_a": [one.pickup_a * one.ratio[1] / one.ratio[0]]}
        )
    row = run_example(one, **changes).candidates.iloc[0]
    assert 100 * row["p_missed"] == pytest.approx(one.percent, abs=digit_of(one))


# Exact identities (derived), base 6.6 kV, 6 ohm, 150 A primary, bolted, position uniform.
X0 = 150 * 6 / (6600 / np.sqrt(3))


def test_independent_zero_mean_tolerances_leave_the_mean_where_it_was() -> None:
    result = run_row(
        6600,
        150.0,
        6.0,
        **{
            "study.samples": 1024,
            "study.installations": 1024,
            "study.earth_fault_samples": 4096,
            "earthing.resistance_ohm": {
                "nominal": 6.0,
                "tolerance_percent": 10,
                "shape": "uniform",
            },
            "relay.pickup_error_percent": {
                "dist": "uniform",
                "low": -5.0,
                "high": 5.0,
                "shared": True,
            },
        },
    )
    row = result.candidates.iloc[0]
    half = (row["p_missed_high"] - row["p_missed_low"]) / 2
    assert 0 < half < 3e-4 * X0  # 4,096 faults counted: 0.055 X0
    assert abs(row["p_missed"] - X0) < 3 * half  # another seed fails once in 80,000
    assert row["installation_missed_p95"] > X0 * 1.05


def test_discrete_positions_are_summed() -> None:
    places = {"dist": "discrete", "values": [0.1, 0.236, 0.5, 1.0], "weights": [0.1, 0.2, 0.3, 0.4]}
    row = run_row(6600, 150.0, 6.0, **{"internal_faults.position": places}).candidates.iloc[0]
    assert row["p_missed"] == pytest.approx(0.3, abs=1e-12)  # 0.236 < X0 = 0.23619 < 0.5
    assert np.isnan(row["missed_line_end_law"])


# --- the same as options of earthing ------------------------------------------

TIMES = {"breaker_time_s": 0.1, "field_decay_time_constant_s": 2.0, "undetected_time_s": 60.0}


def alike() -> list[list[WindingExample]]:
    """Examples of one book that differ in the resistor alone."""
    groups: dict[Any, list[WindingExample]] = {}
    for one in EXAMPLES:
        groups.setdefault((one.source, one.line_v, one.pickup_a, one.ratio), []).append(one)
    return [group for group in groups.values() if len(group) > 1]


def test_three_books_have_several_resistors() -> None:
    assert [len(group) for group in alike()] == [2, 3, 2]


@pytest.mark.slow
@pytest.mark.parametrize("group", [pytest.param(group, id=group[0].place) for group in alike()])
def test_resistors_of_a_worked_example_as_options(group: list[WindingExample]) -> None:
    """Printed fractions, and in closed form (derived) the resistor's energy: I = xE/R, so that over
    x the mean of R I^2 t is E^2/R ((1 - x0^3) t_seen + x0^3 t_unseen)/3, each t with the breaker's
    time and half the decay."""
    small = {
        f"machine.{name}": 0.005
        for name in (
            "subtransient_reactance_pu",
            "transient_reactance_pu",
            "negative_sequence_reactance_pu",
            "zero_sequence_reactance_pu",
        )
    }
    first = group[0]
    options = run_options(
        study_with(
            NO_SPREAD
            | small
            | {
                "study.kind": "earthing_options",
                "study.earth_fault_samples": 256,
                "fault_energy": TIMES,
                "machine.rated_power_va": 10e6,
                "machine.line_voltage_v": first.line_v,
                "ct.primary_a": first.ratio[0],
                "ct.secondary_a": first.ratio[1],
                "candidates.phase_pickup_a": [first.pickup_a * first.ratio[1] / first.ratio[0]],
                "policy.p_false_max": 1.0,
                "policy.ignore_knee_rule": True,
                "earthing_options": [
                    {"name": f"{one.resistor_ohm:g} ohm", "resistance_ohm": one.resistor_ohm}
                    for one in group
                ],
            }
        ),
        workers=1,
    )
    emf = first.phase_v
    for row, one in zip(options.table.to_dict("records"), group, strict=True):
        ohm = one.resistor_ohm
        assert 100 * row["p_missed"] == pytest.approx(one.percent, abs=digit_of(one))
        assert 100 * (1 - row["protected_median"]) == pytest.approx(one.percent, abs=digit_of(one))
        assert row["terminal_fault_a_median"] == pytest.approx(
            emf / ohm, rel=1e-3
        )  # a little winding reactance
        assert row["terminal_displacement_median"] == pytest.approx(1.0, rel=1e-3)
        x0, seen, unseen = one.pickup_a * ohm / emf, 0.02 + 0.1 + 1.0, 60 + 0.1 + 1.0
        mean = emf**2 / ohm * ((1 - x0**3) * seen + x0**3 * unseen) / 3
        assert row["resistor_energy_j_mean"] == pytest.approx(
            mean, rel=0.01
        )  # 2,048 places, a step at x0
        assert row["fault_energy_j_mean"] == 0  # a bolted fault takes no heat
    gaps = options.differences.query("quantity == 'p_missed'")
    missed = options.table.set_index("option")["p_missed"]
    for gap in gaps.to_dict("records"):
        assert gap["difference"] == pytest.approx(
            missed[gap["option"]] - missed[gap["minus"]], abs=1e-12
        )
        assert gap["verdict"] is Verdict.APART
