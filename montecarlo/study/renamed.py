"""Words of earlier versions and the words of now: a study file with an old key, and an old command,
get the new one named."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

CANDIDATES = "candidates."
EXISTING = ("candidates.present.", "candidates.existing.")  # has the keys of a candidate

# Keys with their path, by the path
KEYS = {
    "variants": "alternatives",
    "study.plants": "installations",
    "scheme.pilots": "leads",
    "states.open_pilot_per_year": "open_ct_circuit_per_year",
    "states.open_pilot_counts": "open_ct_circuit_counts",
    "candidates.present": "existing",
    "candidates.slope1": "first_slope",
    "candidates.slope2": "second_slope",
    "candidates.slope_break_a": "turning_point_a",
    "policy.scenarios": "assumption_sets",
}

# Values, by their key
VALUES = {
    ("kind", "variants"): "alternatives",
    ("varies", "plant"): "installation",
}

COLUMNS = {
    "present": "existing",
    "slope1": "first_slope",
    "slope2": "second_slope",
    "slope_break_a": "turning_point_a",
    "covered_median": "protected_median",
    "covered_p05": "protected_p05",
    "covered_p95": "protected_p95",
    "blind": "unprotected",
    "plant": "installation",
    "plant_missed_p95": "installation_missed_p95",
    "plant_false_p95": "installation_false_p95",
    "plants_above_limit": "installations_above_limit",
    "unreachable_per_year": "outside_scope_per_year",
    "open_pilot_operates_share": "open_ct_circuit_operates_share",
    "scenario": "assumption_set",
    "worst_scenario": "worst_assumption_set",
    "variant": "alternative",
    "p_missed_updated": "p_missed_weighed",
    "p_false_updated": "p_false_weighed",
}

FILES = {
    "coverage": "protected_winding",
    "blind_zone": "unprotected_winding",
    "schemes_coverage": "schemes_protected_winding",
    "coverage_against_energy": "protection_against_energy",
    "plants.npz": "installations.npz",
    "scenarios.csv": "assumption_sets.csv",
    "scenario_choices.csv": "assumption_set_choices.csv",
    "variants": "alternatives",
    "variant_differences.csv": "alternative_differences.csv",
}

COMMANDS = {"doctor": "selfcheck", "update": "measured"}


def now_called(old: str, new: str) -> str:
    """What is said of an old word.

    Parameters
    ----------
    old : str
        With its path.
    new : str

    Returns
    -------
    str
    """
    return f"{old}: is now called {new}"


def old_words(table: Mapping[str, Any]) -> Iterator[str]:
    """A line for each old key or value in a study file.

    Parameters
    ----------
    table : mapping
        As the file has it, no deeper than the reader allows.

    Yields
    ------
    str
    """
    yield from _inside("", "", table)


def _inside(path: str, shape: str, node: Any) -> Iterator[str]:
    """`shape`: the path without places in lists."""
    from montecarlo.quantities.wording import bare  # the command line reads this file too

    if isinstance(node, list):
        for place, item in enumerate(node):
            yield from _inside(f"{path}[{place}]", shape, item)
    elif isinstance(node, Mapping):
        for key, value in node.items():
            below, kept = (f"{start}.{bare(key)}".lstrip(".") for start in (path, shape))
            yield from _renamed(below, kept, key, value)
            if key != "changes":  # read with the study that they make
                yield from _inside(below, kept, value)


def _renamed(place: str, shape: str, key: str, value: Any) -> Iterator[str]:
    """What is said of one key and its value; `shape`: its path without places in lists."""
    for before in EXISTING:
        if shape.startswith(before):
            shape = CANDIDATES + shape.removeprefix(before)
    if shape in KEYS:
        yield now_called(place, KEYS[shape])
    if isinstance(value, str) and (key, value) in VALUES:
        yield now_called(f'{place}: "{value}"', f'"{VALUES[key, value]}"')
