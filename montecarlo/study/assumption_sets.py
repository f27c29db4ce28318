"""Assumption sets of a study: the same file with some keys changed, each read through the same
door."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import deepcopy
from typing import Any, Protocol

from montecarlo.errors import StudyError
from montecarlo.quantities.frozen import thawed
from montecarlo.quantities.wording import LABEL, fit_for_label, listed, shown
from montecarlo.study.description import Study

# What happens and what the installation is; candidates, scheme, relay and samples are the same in
# every assumption set.
CHANGEABLE = (
    "machine",
    "winding",
    "network",
    "load",
    "states",
    "earthing",
    "ct",
    "internal_faults",
    "external_events",
)

AS_STATED = "as stated"  # the study without changes, the first of all assumption sets
# Kinds that run the file several times; their lists have the same names.
COMPOSED = ("alternatives", "earthing_options")
ALONE = "setting_sweep"  # what is asked of one of these runs
MOST = 20

Studies = tuple[tuple[str, Study], ...]
Parse = Callable[[dict[str, Any]], Study]


class Changed(Protocol):
    """An entry of a file that changes some of its keys."""

    @property
    def name(self) -> str: ...

    @property
    def changes(self) -> Mapping[str, Any]: ...


def read_assumption_sets(study: Study, table: Mapping[str, Any], parse: Parse) -> Studies:
    """The study in each of `policy.assumption_sets`, by changing the table as the file has it.

    Parameters
    ----------
    study : Study
    table : mapping
        Of the file.
    parse : callable
        Table in, study out.

    Returns
    -------
    tuple of (str, Study)

    Raises
    ------
    StudyError
        An assumption set makes no sound study.
    """
    stripped = alone(table)
    del stripped["policy"]["assumption_sets"]
    faults = []
    if study.study.compare_remanence_models:
        faults = [
            "study.compare_remanence_models: true together with policy.assumption_sets; make the"
            ' other model an assumption set, changes = { "ct.remanence_model" = ... }, or take'
            " one of the two out"
        ]
    return read_changed(
        "policy.assumption_sets", study.policy.assumption_sets, stripped, CHANGEABLE, parse, faults
    )


def alone(table: Mapping[str, Any]) -> dict[str, Any]:
    """A copy of a file's table; of a kind that runs the file several times, as one of these runs
    has it.

    Parameters
    ----------
    table : mapping

    Returns
    -------
    dict
    """
    copied = deepcopy(dict(table))
    kind = copied["study"]["kind"]
    if kind in COMPOSED:
        copied.pop(kind, None)
        copied["study"]["kind"] = ALONE
    return copied


def read_changed(
    where: str,
    entries: Sequence[Changed],
    table: Mapping[str, Any],
    changeable: tuple[str, ...],
    parse: Parse,
    faults: Sequence[str] = (),
) -> Studies:
    """The study with each entry of a list, by changing keys of a table that has no such list any
    more.

    Parameters
    ----------
    where : str
        Key of the list.
    entries : sequence of Changed
    table : mapping
    changeable : tuple of str
        The tables whose keys may change.
    parse : callable
        Table in, study out.
    faults : sequence of str
        Already found; told first.

    Returns
    -------
    tuple of (str, Study)

    Raises
    ------
    StudyError
        All faults.
    """
    found: list[tuple[str, Study]] = []
    every = [*_name_faults(where, entries), *faults]
    for index, entry in enumerate(entries):
        place, changed = f"{where}[{index}]", deepcopy(dict(table))
        changes = thawed(entry.changes)
        texts = [_change(changed, key, changes[key], changeable) for key in changes]
        wrong = [text for text in texts if text]
        every += [f"{place}.changes: {text}" for text in wrong]
        if not wrong:
            try:
                found.append((entry.name, parse(changed)))
            except StudyError as error:
                every += [f"{place}: {fault}" for fault in error.faults]
    if every:
        raise StudyError(*every)
    return tuple(found)


def _name_faults(where: str, entries: Sequence[Changed]) -> Iterator[str]:
    names = [entry.name for entry in entries]
    what = where.rpartition(".")[2].removesuffix("s").replace("_", " ")
    if not len(names) <= MOST:
        yield (
            f"{where}: {len(names)}, must be at most {MOST}, each a run of its own; leave some out"
        )
    for index, entry in enumerate(entries):
        place = f"{where}[{index}]"
        if entry.name in ("", AS_STATED) or entry.name in names[:index]:
            yield (
                f"{place}.name: {shown(entry.name)} is used or reserved; give each {what} its own"
                " name"
            )
        elif not fit_for_label(entry.name):
            yield f"{place}.name: {shown(entry.name)}, {LABEL}"
        if not entry.changes:
            yield (
                f"{place}.changes: {{}} is empty; give at least one key and its value, or take the"
                f" {what} out"
            )


def _change(table: dict[str, Any], key: str, value: Any, changeable: tuple[str, ...]) -> str:
    """Sets a dotted key of the table; what is wrong with it, if anything. Events go by their
    names."""
    *path, last = key.split(".")
    if not path or path[0] not in changeable:
        return (
            f"{shown(key)}: must be a whole key in quotes that begins with"
            f' {listed(changeable, "or")}, as "ct.remanence_percent"'
        )
    node: Any = table
    for part in path:
        if isinstance(node, list):
            node = next(
                (item for item in node if isinstance(item, dict) and item.get("name") == part), None
            )
        elif isinstance(node, dict):
            node = node.setdefault(part, {})
        if not isinstance(node, (dict, list)):
            return (
                f"{shown(key)}: there is no table {shown(part)} to change; name a key of this study"
            )
    if not isinstance(node, dict):
        return (
            f"{shown(key)}: names a whole list; name the event and its key, as"
            ' "external_events.name.key"'
        )
    node[last] = value
    return ""
