"""Scenarios of a study: the same file with some keys changed, each read through the same door."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from typing import Any

from montecarlo.errors import StudyError
from montecarlo.quantities.wording import listed, shown
from montecarlo.study.description import Study

__all__ = ["AS_STATED", "CHANGEABLE", "read_scenarios"]

# What happens and what the plant is; candidates, scheme, relay and samples are the same in every scenario.
CHANGEABLE = ("machine", "network", "load", "states", "earthing", "ct", "internal_faults", "external_events")

AS_STATED = "as stated"                                    # the study without changes, the first of all scenarios
MOST_SCENARIOS = 20

Scenarios = tuple[tuple[str, Study], ...]


def read_scenarios(study: Study, table: Mapping[str, Any], parse: Callable[[dict[str, Any]], Study]) -> Scenarios:
    """Name and study of each of `policy.scenarios`, by changing the table as the file has it. Raises StudyError."""
    found: list[tuple[str, Study]] = []
    faults: list[str] = list(_name_faults(study))
    for index, scenario in enumerate(study.policy.scenarios):
        place, changed = f"policy.scenarios[{index}]", deepcopy(dict(table))
        del changed["policy"]["scenarios"]
        wrong = [text for key, value in scenario.changes.items() if (text := _change(changed, key, value))]
        faults += [f"{place}.changes: {text}" for text in wrong]
        if not wrong:
            try:
                found.append((scenario.name, parse(changed)))
            except StudyError as error:
                faults += [f"{place}: {fault}" for fault in error.faults]
    if faults:
        raise StudyError(*faults)
    return tuple(found)


def _name_faults(study: Study) -> Iterator[str]:
    names = [scenario.name for scenario in study.policy.scenarios]
    if not len(names) <= MOST_SCENARIOS:
        yield f"policy.scenarios: {len(names)}, must be at most {MOST_SCENARIOS}, each a run of its own; leave some out"
    for index, scenario in enumerate(study.policy.scenarios):
        place = f"policy.scenarios[{index}]"
        if scenario.name in ("", AS_STATED) or scenario.name in names[:index]:
            yield f"{place}.name: {shown(scenario.name)} is used or reserved; give each scenario its own name"
        if not scenario.changes:
            yield f"{place}.changes: {{}} is empty; give at least one key and its value, or take the scenario out"
    if names and study.study.compare_remanence_models:
        yield ("study.compare_remanence_models: true together with policy.scenarios; make the other model a scenario, "
               "changes = { \"ct.remanence_model\" = ... }, or take one of the two out")


def _change(table: dict[str, Any], key: str, value: Any) -> str:
    """Sets a dotted key of the table; what is wrong with it, if anything. Events go by their names."""
    *path, last = key.split(".")
    if not path or path[0] not in CHANGEABLE:
        return (f"{shown(key)}: must be a whole key in quotes that begins with {listed(CHANGEABLE, 'or')}, as "
                "\"ct.remanence_percent\"")
    node: Any = table
    for part in path:
        if isinstance(node, list):
            node = next((item for item in node if isinstance(item, dict) and item.get("name") == part), None)
        elif isinstance(node, dict):
            node = node.setdefault(part, {})
        if not isinstance(node, (dict, list)):
            return f"{shown(key)}: there is no table {shown(part)} to change; name a key of this study"
    if not isinstance(node, dict):
        return f"{shown(key)}: names a whole list; name the event and its key, as \"external_events.name.key\""
    node[last] = value
    return ""
