"""The same worked examples as whole studies: ideal CTs, bolted earth faults spread evenly along the
winding, nothing uncertain, so that p_missed is the unprotected part."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from studies.verify.published.row import Published
from studies.verify.published.winding import EXAMPLES, WindingExample

if TYPE_CHECKING:
    from montecarlo.study.description import Study

# Winding reactance where the book has none: too small to be seen in the digits given.
UNSEEN_PU = 0.005
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

    text = resources.files(__package__).joinpath("whole.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    table["study"]["title"] = f"{example.source}, {example.place}"
    reactance = example.reactance_pu or UNSEEN_PU
    table["machine"] |= {
        "rated_power_va": example.power_va,
        "line_voltage_v": example.line_v,
        "subtransient_reactance_pu": reactance,
        "transient_reactance_pu": max(2e-2, reactance),
        "negative_sequence_reactance_pu": reactance,
        "zero_sequence_reactance_pu": reactance,
        "winding_resistance_ohm": example.winding_ohm,
    }
    table["earthing"] = {"resistance_ohm": example.resistor_ohm}
    primary_a, secondary_a = example.ratio
    table["ct"] |= {"primary_a": primary_a, "secondary_a": secondary_a}
    table["candidates"]["phase_pickup_a"] = [example.pickup_a * secondary_a / primary_a]
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
