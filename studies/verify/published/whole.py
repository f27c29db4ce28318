"""The same worked examples as whole studies: ideal CTs, bolted earth faults spread evenly along the
winding, nothing uncertain, so that p_missed is the unprotected part."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from studies.verify.published.row import Published
from studies.verify.published.winding import EXAMPLES, WindingExample

if TYPE_CHECKING:
    from montecarlo.study.description import Study

__all__ = ["UNSEEN_PU", "example_study", "missed_percent", "rows"]

UNSEEN_PU = (
    0.005  # winding reactance where the book has none: too small to be seen in the digits given
)
READING_PERCENT = 0.1  # of the fraction, where the book rounds the resistor


def example_study(example: WindingExample) -> Study:
    """A worked example as a study: one candidate, set to its pick-up; an external fault so far away
    that nothing can operate on it.

    Parameters
    ----------
    example : WindingExample

    Returns
    -------
    Study
    """
    from montecarlo.study.read import parse_study

    reactance = example.reactance_pu or UNSEEN_PU
    table: dict[str, Any] = {
        "study": {
            "title": f"{example.source}, {example.place}",
            "kind": "setting_sweep",
            "seed": 1,
            "samples": 16,
            "plants": 16,
            "earth_fault_samples": 16,
            "rare_samples": 0,
        },
        "machine": {
            "rated_power_va": example.power_va,
            "line_voltage_v": example.line_v,
            "subtransient_reactance_pu": reactance,
            "transient_reactance_pu": max(2e-2, reactance),
            "synchronous_reactance_pu": 1.0,
            "negative_sequence_reactance_pu": reactance,
            "zero_sequence_reactance_pu": reactance,
            "winding_exponent": 1,
            "winding_resistance_ohm": example.winding_ohm,
            "subtransient_time_constant_s": 0.04,
            "transient_time_constant_s": 1.0,
            "armature_time_constant_s": 0.15,
        },
        "load": {"current_pu": 0.0, "power_factor": 0.9},
        "earthing": {"resistance_ohm": example.resistor_ohm},
        "ct": {
            "primary_a": example.ratio[0],
            "secondary_a": example.ratio[1],
            "knee_voltage_v": 1000.0,
            "knee_current_a": 0.0,
            "winding_resistance_ohm": 0.5,
            "lead_resistance_ohm": 0.0,
        },
        "scheme": {"kind": "per_phase"},
        "relay": {"rated_current_a": 5.0, "phase_burden_ohm": 0.0},
        "internal_faults": {"per_year": 1.0, "shares": {"earth": 1.0}},
        "external_events": [
            {
                "name": "far",
                "kind": "three_phase",
                "per_year": 1.0,
                "external_reactance_pu": 100.0,
                "clearing_time_s": 0.1,
            }
        ],
        "candidates": {
            "phase_pickup_a": [example.pickup_a * example.ratio[1] / example.ratio[0]],
            "delay_s": [0],
        },
        "policy": {"p_false_max": 1.0, "ignore_knee_rule": True},
    }
    return parse_study(table, Path())


def missed_percent(example: WindingExample) -> float:
    """p_missed of the example's study. [%]

    Parameters
    ----------
    example : WindingExample

    Returns
    -------
    float
    """
    from montecarlo.frames.result import run_study

    return 100 * float(run_study(example_study(example), workers=1).candidates["p_missed"].iloc[0])


def rows() -> Iterator[Published]:
    """The book's resistor is given throughout, so that every example has a fraction.

    Yields
    ------
    Published
    """
    for one in EXAMPLES:
        tolerance = one.digit if one.asked == "percent" else READING_PERCENT
        yield Published(
            one.source,
            one.place,
            "p_missed of earth faults",
            "%",
            one.percent,
            missed_percent(one),
            tolerance,
            one.kind,
        )
