"""Figures are drawn when they are asked for, and none twice."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from studies.protocol import Drawn, printed_early
from studies.report.look import Printed, blank, say

EARLY = Printed("<svg/>", b"png", "what it says")


def figure(calls: list[str], name: str) -> Any:
    calls.append(name)
    made, ax = blank(60)
    ax.set_xlabel("current, A")
    say(made, f"words of {name}")
    return made


def recipes(calls: list[str]) -> dict[str, Any]:
    return {name: partial(figure, calls, name) for name in ("one", "two")}


def no_memory() -> Any:
    raise MemoryError


def test_names_need_no_drawing() -> None:
    calls: list[str] = []
    drawn = Drawn(recipes(calls))
    assert [*drawn] == ["one", "two"]
    assert len(drawn) == 2
    assert [*drawn.only(["two", "three"])] == ["two"]
    assert [*drawn.after({"zero": no_memory})] == ["zero", "one", "two"]
    assert calls == []


def test_what_is_printed_is_printed_once() -> None:
    calls: list[str] = []
    drawn = Drawn(recipes(calls))
    first = drawn.printed("one")
    assert drawn.printed("one") is first
    assert first.svg.rstrip().endswith("</svg>")
    assert first.png is not None
    assert first.png.startswith(b"\x89PNG")
    assert first.words == drawn.words("one") == "words of one"
    assert calls == ["one"]
    assert drawn.printed("two", png=False).png is None


def test_what_was_printed_early_is_not_drawn() -> None:
    calls: list[str] = []
    drawn = Drawn(recipes(calls), {"one": EARLY}).after({})
    assert drawn.printed("one") is EARLY
    assert drawn.words("one") == "what it says"
    assert calls == []


def test_an_early_figure_is_the_later_one() -> None:
    early = printed_early(recipes([]))
    drawn = Drawn(recipes([]))
    assert early == {name: drawn.printed(name) for name in drawn}


def test_too_little_memory_for_early_figures_leaves_them_for_later() -> None:
    assert printed_early({**recipes([]), "large": no_memory}) == {}
    with pytest.raises(MemoryError):
        Drawn({"large": no_memory}).printed("large")
