"""Validation errors in the study's own words: key path, value, limit, cure; one line a fault."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from montecarlo.errors import MOST_FAULTS
from montecarlo.plant.events.base import Event
from montecarlo.plant.events.kinds import KINDS, kind_of
from montecarlo.quantities import Distribution, meaning_of, tables_of
from montecarlo.quantities.wording import bare, listed, one_line, shown
from montecarlo.study.description import Study

MOST_REPEATS = 100  # of one key's faults that say the same


def reworded(error: ValidationError, table: Mapping[str, Any]) -> list[str]:
    """The faults of a table that is no `Study`.

    Parameters
    ----------
    error : ValidationError
    table : mapping
        Of the file.

    Returns
    -------
    list of str
        In the order of the fields, each once; as many as are told, and one.
    """
    found: dict[str, None] = {}
    # a list of 100,000 wrong values is one fault
    repeats: Counter[tuple[int | str, ...]] = Counter()
    for item in error.errors(include_url=False):
        key = item["loc"][:2]
        if repeats[key] > MOST_REPEATS:
            continue
        before = len(found)
        lines = _Place(table, item["loc"]).lines(item)
        found.update(dict.fromkeys(map(one_line, lines)))
        repeats[key] += len(found) == before
        if len(found) > MOST_FAULTS:
            break
    return list(found)


def join(path: str, key: object) -> str:
    """The path of a key inside a table.

    Parameters
    ----------
    path : str
        Empty at the top.
    key : object

    Returns
    -------
    str
    """
    return f"{path}.{bare(key)}" if path else bare(key)


class _Place:
    """Where in the file, and at which field of which table, an error stands.

    The walk follows file and types together and ends at the first thing that is not a table or a
    list of tables: items of lists and branches of alternatives below it are reported with the
    field."""

    def __init__(self, data: Any, location: tuple[int | str, ...]) -> None:
        self.path, self.data = "", data
        self.section: type[BaseModel] = Study  # whose keys come next
        self.field: FieldInfo | None = None  # of the key; None at a table's own level
        self.missing = self.unknown = False
        self.branch = False  # whether the next part names the alternative taken, not a key
        for part in location:
            if not self._step(part):
                break

    def _step(self, part: int | str) -> bool:
        """One part further; False at the end of the walk."""
        if isinstance(part, int):
            if (
                self.field is None
                or not isinstance(self.data, (list, tuple))
                or not tables_of(self.field.annotation)
            ):
                return False
            self.path += _item(self.data, part)
            self.data, self.field = self.data[part], None
            if issubclass(self.section, Event):
                self.section, self.branch = kind_of(self.data) or Event, True
            return True
        if self.branch:
            self.branch = False
            return True
        leaf = self.field is not None and not tables_of(self.field.annotation)
        if leaf or part == "[key]" or not isinstance(self.data, Mapping):
            return False
        self.path, self.field = join(self.path, part), self.section.model_fields.get(part)
        self.missing, self.unknown = part not in self.data, self.field is None
        self.data = self.data.get(part)
        if self.field is not None and (inner := tables_of(self.field.annotation)):
            self.section = inner[0]
        return not self.unknown and not self.missing

    def lines(self, error: Mapping[str, Any]) -> Iterator[str]:
        context = error.get("ctx", {})
        if error["type"] == "quantity":
            for key, text in context["faults"]:
                yield f"{self.path}{'.' + key if key else ''}: {text}"
        elif error["type"] == "union_tag_not_found" and isinstance(self.data, Mapping):
            yield from self._without_kind(self.data)
        elif self.unknown:
            yield f"{self.path}: unknown; {self._suggestion(str(error['loc'][-1]))}"
        elif self.missing:
            yield f"{self.path}: missing; give {self._expected()}"
        elif error["type"] == "value_error":
            yield f"{self.path}: {context['error']}"
        else:
            yield f"{self.path or 'study'}: {shown(self.data)}; expected {self._expected()}"

    def _without_kind(self, event: Mapping[str, Any]) -> Iterator[str]:
        """An event of no known kind: its kind, and what would be wrong whatever the kind."""
        words = listed(map(shown, KINDS), "or")
        if "kind" in event:
            yield f"{self.path}.kind: {shown(event['kind'])}; expected {words}"
        else:
            yield f"{self.path}.kind: missing; give {words}"
        known = dict.fromkeys(key for kind in KINDS.values() for key in kind.model_fields)
        for key in event:
            if key not in known:
                near = get_close_matches(str(key), known, 1)
                cure = f"did you mean {near[0]}?" if near else "take it out"
                yield f"{join(self.path, key)}: unknown; {cure}"

    def _suggestion(self, key: str) -> str:
        known = list(self.section.model_fields)
        kinds = [shown(word) for word, kind in KINDS.items() if key in kind.model_fields]
        if kinds and issubclass(self.section, Event):
            return f"not a key of this kind of event, only of {listed(kinds)}"
        homes = dict.fromkeys(
            f"[[{name}]]" if get_origin(field.annotation) is tuple else f"[{name}]"
            for name, field in Study.model_fields.items()
            for section in tables_of(field.annotation)
            if key in section.model_fields
        )
        if homes:
            return f"it belongs in {listed(homes, 'or')}"
        if near := get_close_matches(key, known, 1):
            return f"did you mean {near[0]}?"
        return f"known here: {', '.join(known)}"

    def _expected(self) -> str:
        if self.field is None:
            return f"a table with {', '.join(self.section.model_fields)}"
        meaning = meaning_of(self.field)
        return _kind(self.field.annotation) + (f": {meaning.label}" if meaning else "")


def _item(items: Any, index: int) -> str:
    """[2] (from 0, as the file lists them), or .name where the item has a name of its own."""
    names = [item.get("name") if isinstance(item, Mapping) else None for item in items]
    name = names[index]
    if isinstance(name, str) and name.isidentifier() and names.count(name) == 1:
        return f".{name}"
    return f"[{index}]"


PLAIN_KINDS: dict[Any, str] = {
    float: "a number",
    int: "a whole number",
    str: "a text",
    bool: "true or false",
    Distribution: "a number or a distribution",
}


def _kind(annotation: Any) -> str:
    """What a value of this type is, in words."""
    origin, args = get_origin(annotation), get_args(annotation)
    if annotation in PLAIN_KINDS:
        return PLAIN_KINDS[annotation]
    if origin is Annotated:
        return _kind(args[0])
    if origin is Literal:
        return listed(map(shown, args), "or")
    if origin in (Union, UnionType):
        kinds = [_kind(part) for part in args if part is not type(None)]
        return listed((kind.replace(f", each {kinds[0]}", " of these") for kind in kinds), "or")
    if origin in (list, tuple):
        items = [part for part in args if part is not Ellipsis]
        if tables_of(items[0]):
            return "a list of tables, each under its own [[...]]"
        many = f" of {len(items)}" if origin is tuple and Ellipsis not in args else ""
        return f"a list{many}, each {_kind(items[0])}"
    return "a table"
