"""The built-in schemes, written as a study's own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

PHASES = ("L1", "L2", "L3")
Table = dict[str, Any]


def leg(name: str, *cts: str, **more: Any) -> Table:
    return {"name": name, "cts": list(cts)} | more


def element(of: str, setting: str, **more: Any) -> Table:
    return {"leg": of, "setting": setting} | more


def phase_leg(phase: str, **more: Any) -> Table:
    return leg(phase, f"neutral_end.{phase}", f"-line_end.{phase}", **more)


def line_ends(sign: str, end: str = "line_end") -> list[str]:
    return [f"{sign}{end}.{phase}" for phase in PHASES]


def _per_phase(watched: tuple[str, str]) -> Table:
    return {
        "legs": [phase_leg(phase, stabilising=True) for phase in PHASES],
        "elements": [element(phase, "phase") for phase in PHASES],
    }


def _biased(watched: tuple[str, str]) -> Table:
    return {
        "legs": [phase_leg(phase) for phase in PHASES],
        "elements": [
            element(phase, "phase", bias_cts=[f"neutral_end.{phase}", f"line_end.{phase}"])
            for phase in PHASES
        ],
    }


def _two_phase_one_earth(watched: tuple[str, str]) -> Table:
    """The leg without an element has the 0.1 ohm that stand in the others of the tests' study."""
    legs = [phase_leg(phase, resistance_ohm=0.0 if phase in watched else 0.1) for phase in PHASES]
    return {
        "legs": [
            *legs,
            leg("earth", *line_ends("", "neutral_end"), *line_ends("-"), stabilising=True),
        ],
        "elements": [
            element("earth", "earth"),
            *(element(phase, "phase") for phase in sorted(watched)),
        ],
    }


def _restricted_earth_fault(watched: tuple[str, str]) -> Table:
    return {
        "legs": [leg("earth", "neutral_conductor", *line_ends("-"), stabilising=True)],
        "elements": [element("earth", "earth")],
    }


def _split_phase(watched: tuple[str, str]) -> Table:
    return {
        "legs": [leg(phase, f"group_1.{phase}", f"-group_2.{phase}") for phase in PHASES],
        "elements": [element(phase, "phase") for phase in PHASES],
    }


def _core_balance(watched: tuple[str, str]) -> Table:
    return {
        "legs": [leg(phase, f"core_balance.{phase}") for phase in PHASES],
        "elements": [element(phase, "phase") for phase in PHASES],
    }


def _neutral_to_neutral(watched: tuple[str, str]) -> Table:
    return {"legs": [leg("link", "star_link")], "elements": [element("link", "earth")]}


def _rebuilt(build: Callable[[tuple[str, str]], Table]) -> Callable[[tuple[str, str]], Table]:
    return lambda watched: {"name": "mine"} | build(watched)


REBUILT = {
    "per_phase": _rebuilt(_per_phase),
    "two_phase_one_earth": _rebuilt(_two_phase_one_earth),
    "biased": _rebuilt(_biased),
    "restricted_earth_fault": _rebuilt(_restricted_earth_fault),
    "split_phase": _rebuilt(_split_phase),
    "core_balance": _rebuilt(_core_balance),
    "neutral_to_neutral": _rebuilt(_neutral_to_neutral),
}
