"""Shapes of a drawing with their places, in mm from the upper left corner, and nothing of a
library that draws."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import Literal

Point = tuple[float, float]
MM_OF_POINT = 25.4 / 72
WIDE = 0.56  # mean width of a letter over the size of the font; of the fonts that are tried


class Role(Enum):
    """What a shape stands for: its colour and weight follow."""

    PRIMARY = "primary conductor"
    SECONDARY = "secondary conductor"
    SUSPECT = "what the wiring check names"
    NOTE = "explanation"


@dataclass(frozen=True)
class Shape:
    """`name`: of what it stands for, as "CT neutral_end.L1"; empty where that is told elsewhere."""

    name: str
    role: Role


@dataclass(frozen=True)
class Line(Shape):
    """Through points, one after the other."""

    points: tuple[Point, ...]


@dataclass(frozen=True)
class Box(Shape):
    """A rectangle about its middle."""

    middle: Point
    width: float
    height: float
    filled: bool = False


@dataclass(frozen=True)
class Circle(Shape):
    """About its middle."""

    middle: Point
    radius: float
    filled: bool = False


@dataclass(frozen=True)
class Text(Shape):
    """One line of text; `place`: the point that `across` and `up` refer to."""

    text: str
    place: Point
    points: float
    across: Literal["left", "center", "right"] = "left"
    up: Literal["top", "center", "bottom"] = "center"
    bold: bool = False


@dataclass(frozen=True)
class Drawing:
    """All shapes on a sheet."""

    width: float
    height: float
    shapes: tuple[Shape, ...]

    def named(self, start: str) -> Iterator[Shape]:
        """Shapes whose name begins so."""
        return (shape for shape in self.shapes if shape.name.startswith(start))


def text_width(text: str, points: float) -> float:
    """About as wide as it is drawn. [mm]"""
    return WIDE * points * MM_OF_POINT * len(text)


def line_height(points: float) -> float:
    """From one line of text to the next. [mm]"""
    return 1.25 * points * MM_OF_POINT
