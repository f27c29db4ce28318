"""What speaks against a chosen setting, in words: kinds of event and ends of ranges."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from montecarlo.frames.doubts import Doubt, EventDoubt, Why
from montecarlo.quantities.wording import listed
from montecarlo.study.candidates import End
from studies.report.look import percent, with_limits
from studies.report.words import AXIS_WORDS, axis_unit

__all__ = ["doubts_text", "of_each"]


def doubts_text(doubts: Sequence[Doubt], number: int) -> Iterator[str]:
    """A sentence or two each, of candidate `number`."""
    for doubt in doubts:
        if isinstance(doubt, EventDoubt):
            yield _event(doubt, number)
    if ends := [doubt for doubt in doubts if isinstance(doubt, End)]:
        yield (
            f"No. {number} is chosen at the end of these ranges: {'; '.join(map(_end, ends))}. "
            "Extend them: nothing beyond was judged."
        )


def of_each(doubts: Mapping[str, tuple[int, Sequence[Doubt]]]) -> Iterator[str]:
    """The same of several choices by name, each with its candidate's number; alike ones in one."""
    said: dict[str, list[str]] = {}
    for name, (number, mine) in doubts.items():
        for text in doubts_text(mine, number):
            said.setdefault(text, []).append(f'"{name}"')
    for text, names in said.items():
        yield f"{listed(names)}: {text}"


def _event(doubt: EventDoubt, number: int) -> str:
    found = with_limits(
        {"value": doubt.value, "value_low": doubt.low, "value_high": doubt.high}, "value", 3
    )
    mix = f"{percent(doubt.share)} of the external events"
    if doubt.why is Why.TRIPS_OFTEN:
        return (
            f"Caution: no. {number} trips falsely in {found} of the events {doubt.event}, "
            f"more than {percent(doubt.limit)}. They are {mix}, so that the total hides it. "
            "Look for a wrong CT or sign in the scheme before this setting is used."
        )
    return (
        f"Caution: of the false trips of no. {number} {doubt.event} makes {found}, more than half, "
        f"at {mix}. Its inputs decide p_false."
    )


def _end(end: End) -> str:
    label, unit = AXIS_WORDS[end.axis].label, axis_unit(end.axis)
    word = "lowest" if end.lowest else "highest"
    return f"{label} {end.value:g}{unit}, the {word} of {end.low:g} to {end.high:g}{unit}"
