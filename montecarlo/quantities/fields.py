"""What a field of a study table carries: unit, meaning, physical range; and the table's own
rules."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic import (
    BaseModel,
    ConfigDict,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationInfo,
    field_validator,
)
from pydantic.fields import FieldInfo
from pydantic_core import core_schema

from montecarlo.quantities.distribution import Distribution, Varies
from montecarlo.quantities.frozen import frozen
from montecarlo.quantities.reading import read_distribution, refusal
from montecarlo.quantities.wording import shown

Width = Literal["one", "ct", "element"]
# stands in a field's JSON Schema for the definition that study_schema() adds
DISTRIBUTION = {"distribution": True}


class Section(BaseModel):
    """A table of the study file: typed, frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    @field_validator("*", mode="before")
    @classmethod
    def _list_for_tuple(cls, value: Any, info: ValidationInfo) -> Any:
        """A file has lists only; strict types would refuse one where the field is a tuple."""
        annotation = cls.model_fields[info.field_name or ""].annotation
        takes_tuple = any(get_origin(k) is tuple for k in (annotation, *get_args(annotation)))
        return tuple(value) if isinstance(value, list) and takes_tuple else value

    @field_validator("*", mode="after")
    @classmethod
    def _frozen(cls, value: Any) -> Any:
        return frozen(value) if isinstance(value, (dict, list)) else value


@dataclass(frozen=True)
class Meaning:
    """Unit and meaning of a field; every field of every table has one."""

    unit: str
    text: str

    @property
    def label(self) -> str:
        """Meaning with the unit in brackets."""
        return f"{self.text} [{self.unit}]" if self.unit else self.text


def meaning_of(field: FieldInfo) -> Meaning | None:
    """What a field says of itself, on the field or inside the union that `| None` makes.

    Parameters
    ----------
    field : FieldInfo

    Returns
    -------
    Meaning or None
    """
    for item in (*field.metadata, *_metadata(field.annotation)):
        if isinstance(item, Meaning):
            return item
    return None


def _metadata(annotation: Any) -> Iterator[Any]:
    yield from getattr(annotation, "__metadata__", ())
    for part in get_args(annotation):
        yield from _metadata(part)


def tables_of(annotation: Any) -> list[type[BaseModel]]:
    """The tables that a field holds: itself, behind `| None`, or as the items of a list.

    Parameters
    ----------
    annotation : type annotation

    Returns
    -------
    list of type
    """
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [table for part in get_args(annotation) for table in tables_of(part)]


def word(text: str) -> Meaning:
    """Meaning of a field that is a name, a choice or a switch: `Annotated[str, word("...")]`.

    Parameters
    ----------
    text : str

    Returns
    -------
    Meaning
    """
    return Meaning("", text)


@dataclass(frozen=True)
class Ranged(Meaning):
    """A range that no value may leave; `above` excludes low itself."""

    low: float = -math.inf
    high: float = math.inf
    above: bool = False

    @property
    def limits(self) -> str:
        """The range in words."""
        limits = []
        if self.low > -math.inf:
            limits.append(f"{'above' if self.above else 'at least'} {self.low:g}")
        if self.high < math.inf:
            limits.append(f"at most {self.high:g}")
        return self.with_unit(f"must be {' and '.join(limits)}")

    @property
    def cure(self) -> str:
        """The range and what to give, for a value outside."""
        return f"{self.limits}; give such a value: {self.text}"

    def with_unit(self, text: str) -> str:
        """The text with the unit behind it, if there is one.

        Parameters
        ----------
        text : str

        Returns
        -------
        str
        """
        return f"{text} {self.unit.strip('-')}".rstrip()

    def told(self, value: float) -> str:
        """A value in its unit.

        Parameters
        ----------
        value : float

        Returns
        -------
        str
        """
        return self.with_unit(f"{value:g}")

    def holds(self, value: float) -> bool:
        """Whether a value lies in the range.

        Parameters
        ----------
        value : float

        Returns
        -------
        bool
        """
        return (value > self.low if self.above else value >= self.low) and value <= self.high

    @property
    def bounds(self) -> dict[str, float]:
        """The range in the words of JSON Schema."""
        bounds = {}
        if self.low > -math.inf:
            bounds["exclusiveMinimum" if self.above else "minimum"] = self.low
        if self.high < math.inf:
            bounds["maximum"] = self.high
        return bounds


@dataclass(frozen=True)
class Quantity(Ranged):
    """Unit, meaning and physical range of a field: `Annotated[Distribution, Quantity("ohm", "...",
    low=0)]`.

    low, high: the physical range, which no drawn value may leave (`above=True` excludes low
    itself). usual: where the centre must lie, wide enough for any real installation: catches a
    wrong unit prefix. varies: per installation or per event unless the file says otherwise. width:
    one value, one a CT, one an element."""

    usual: tuple[float, float] = (-math.inf, math.inf)
    varies: Varies = "installation"
    width: Width = "one"

    def check(self, value: Distribution) -> Distribution:
        """The distribution, if every draw is possible and its centre likely.

        Parameters
        ----------
        value : Distribution

        Returns
        -------
        Distribution
            The same.

        Raises
        ------
        PydanticCustomError
            What is wrong with it.
        """
        if faults := self._range_faults(value) or self._other_faults(value):
            raise refusal(*faults)
        return value

    def _range_faults(self, value: Distribution) -> list[str]:
        low, high = value.support()
        faults = []
        if not (value.stays_above(self.low) if self.above else low >= self.low):
            faults.append(self.told(low))
        if not high <= self.high:
            faults.append(self.told(high))
        if not faults:
            return []
        if value.is_number:
            return [f"{faults[0]}, {self.cure}"]
        if value.is_continuous:
            cure = "cut it with truncate = [low, high]"
        else:
            cure = "take that value out"
        return [f"can be {' and '.join(faults)}, {self.limits}; {cure}"]

    def _other_faults(self, value: Distribution) -> list[str]:
        faults = []
        if not self.usual[0] <= value.centre() <= self.usual[1]:
            faults.append(
                f"{self.told(value.centre())} is outside {self.usual[0]:g} ... "
                f"{self.told(self.usual[1])}, the widest range seen in practice; "
                "is the unit prefix right?"
            )
        if value.shared and self.width == "one":
            faults.append("shared has no meaning here: this is one value already; take shared out")
        return faults

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        def read(value: object, info: core_schema.ValidationInfo) -> Distribution:
            folder: Path | None = (info.context or {}).get("folder")
            return self.check(read_distribution(value, folder))

        as_table: Callable[[Distribution], object] = Distribution.as_table
        return core_schema.with_info_plain_validator_function(
            read,
            serialization=core_schema.plain_serializer_function_ser_schema(
                as_table, when_used="json"
            ),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [{"type": "number"} | self.bounds, DISTRIBUTION]}


@dataclass(frozen=True)
class Plain(Ranged):
    """Unit, meaning and range of a field that is always a plain number (a base, a ratio, a
    count)."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        def read(value: object, inner: Callable[[object], float]) -> float:
            if isinstance(value, bool):  # equal to 1 or 0, and so a member of Literal[1, 2]
                raise refusal(f"{shown(value)} is not a number; give the {self.label}")
            return self.check(inner(value))

        return core_schema.no_info_wrap_validator_function(read, handler(source))

    def check(self, value: float) -> float:
        """The number, if it lies in the range.

        Parameters
        ----------
        value : float

        Returns
        -------
        float
            The same.

        Raises
        ------
        PydanticCustomError
            It does not.
        """
        if not self.holds(value):
            told = self.with_unit(shown(value).removesuffix(".0"))
            raise refusal(f"{told}, {self.cure}")
        return value

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return handler(schema) | self.bounds
