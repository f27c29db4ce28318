"""The list of every key of a study file as Markdown, for the README; made from the fields
themselves."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from montecarlo.plant.events.base import Event
from montecarlo.quantities import Distribution, meaning_of, tables_of
from montecarlo.quantities.fields import Quantity
from montecarlo.secondary.completion import NEEDED
from montecarlo.secondary.ct import CtOverride, CtPlaces
from montecarlo.study import renamed
from montecarlo.study.description import Study

HEAD = """\
# Every key of a study file

A key with an entry under *varies by* takes a number or a distribution; the entry is the default of
`varies`. The others are always plain. This page is made from the program
(`python -m montecarlo.study.reference`), and a test keeps it so.

"""


RENAMED = """\
## Renamed keys, columns, files and commands

An old key or command is refused, and the new one is named. Files without a suffix are tables with
their figures.

| what | old | new |
|---|---|---|"""

# What is said of a section before its keys
SAID = {
    "[[scheme.custom]]": """\
A scheme is legs and elements. A leg is a relay circuit: the currents of its CTs add up in it. An
element stands in a leg, measures its current and compares it with a pick-up.

*Polarity.* P1 of every CT points to the earth electrode, P2 to the network: P1 of `neutral_end`
to the star point, P1 of `line_end` to the winding, P1 of `neutral_conductor` to the earthing. A
current from P1 to P2 leaves S1 (IEC 61869-2) and counts as positive in the leg. A minus before a
place means that S1 and S2 of that CT are exchanged at the leg. A CT that is mounted the other way
round has the other sign.

*Balance.* A current that only passes the machine must cancel in every leg that has an element. In
a phase leg that is `"neutral_end.L1", "-line_end.L1"`. The neutral CT carries the sum of the
neutral end's three currents. An earth fault outside comes in through it and leaves at the line
end, so a restricted earth fault leg is `"neutral_conductor", "-line_end.L1", "-line_end.L2",
"-line_end.L3"`. All signs of a leg may be turned at once: an element measures a magnitude.
`check` puts unit currents through every leg and names the sign that is wrong.
`biased_and_ref_13_8kv.toml` is a worked study.
""",
    "[candidates]": """\
Each grid of currents has five keys, of which a study gives one: in secondary amperes (`_a`), or
as a share of a rated current. `_relay_percent` and `_relay_pu` take shares of
`relay.rated_current_a`, `_machine_percent` and `_machine_pu` of the machine's rated current.
These become secondary amperes while the file is read. A share of the machine's current passes the
line-end CTs on its way.
""",
}
AT_EVERY_PLACE = "must be given, here or in the table of every place whose CTs a scheme uses"
WIDTHS = {"one": "", "ct": "; one value per CT", "element": "; one value per element"}


def input_reference() -> str:
    """The page of keys in Markdown: a table a section with key, unit, what a distribution varies
    by, default, meaning.

    Returns
    -------
    str
    """
    sections = [_section(model, title) for model, title in _tables(Study, "")]
    return HEAD + "\n\n".join([*sections, _renamed()]) + "\n"


def _tables(model: type[BaseModel], path: str) -> Iterator[tuple[type[BaseModel], str]]:
    for name, field in model.model_fields.items():
        listed = "tuple" in str(field.annotation)
        for inner in tables_of(field.annotation):
            title = f"[[{path}{name}]]" if listed else f"[{path}{name}]"
            if issubclass(inner, Event):
                yield inner, title + " kind = " + " or ".join(f'"{word}"' for word in _words(inner))
            elif inner is not CtOverride:
                yield inner, title
                yield from _tables(inner, f"{path}{name}.")


def _words(event: type[Event]) -> tuple[str, ...]:
    return get_args(event.model_fields["kind"].annotation)


def _section(model: type[BaseModel], title: str) -> str:
    rows = [_row(model, key, field) for key, field in model.model_fields.items()]
    head = ("| key | unit | varies by | default | meaning |", "|---|---|---|---|---|")
    said = [SAID[title]] if title in SAID else []
    return "\n".join([f"## `{title}`", "", *said, *head, *rows])


def _renamed() -> str:
    """Every word of an earlier version beside the word of now."""
    values = {f'{key} = "{old}"': f'{key} = "{new}"' for (key, old), new in renamed.VALUES.items()}
    tables = {
        "key": renamed.KEYS,
        "value": values,
        "column": renamed.COLUMNS,
        "file": renamed.FILES,
        "command": renamed.COMMANDS,
    }
    rows = [
        f"| {what} | `{old}` | `{new}` |"
        for what, names in tables.items()
        for old, new in names.items()
    ]
    return "\n".join([RENAMED, *rows])


def _row(model: type[BaseModel], key: str, field: FieldInfo) -> str:
    meaning = meaning_of(field)
    assert meaning is not None, key
    varies, text = "", meaning.text
    if isinstance(meaning, Quantity):
        varies = meaning.varies
        text += WIDTHS[meaning.width]
    default = AT_EVERY_PLACE if model is CtPlaces and key in NEEDED else _default(field)
    cells = (f"`{key}`", meaning.unit, varies, default, text.replace("|", "\\|"))
    return f"| {' | '.join(cells)} |"


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "must be given"
    if field.default is None or isinstance(field.default, BaseModel):
        return "none"
    value = field.default
    return f"{value}" if isinstance(value, Distribution) else f"{value!r}".replace("|", "\\|")


if __name__ == "__main__":
    print(input_reference(), end="")
