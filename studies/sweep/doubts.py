"""What speaks against a chosen setting, in words: kinds of event and ends of ranges."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from montecarlo.frames.doubts import Doubt, DoubtKind, EventDoubt
from montecarlo.quantities.wording import listed
from montecarlo.study.candidates import End
from studies.report.blocks import Block, Caution, Paragraph
from studies.report.catalogue import capital
from studies.report.numbers import percent, with_limits
from studies.report.words import AXIS_WORDS, axis_unit


def doubts_text(doubts: Sequence[Doubt], number: int) -> list[Block]:
    """A sentence or two each, of candidate `number`."""
    return [_block(some, number) for some in _together(doubts)]


def of_each(
    doubts: Mapping[str, tuple[int, Sequence[Doubt]]], called: Callable[[str], str] = str
) -> list[Block]:
    """The same of several choices by name, each with its candidate's number; alike ones in one.
    `called`: a name in words."""
    alike: dict[tuple[int, tuple[Doubt, ...]], list[str]] = {}
    for name, (number, mine) in doubts.items():
        for some in _together(mine):
            alike.setdefault((number, some), []).append(f'"{called(name)}"')
    return [_block(some, number, f"{listed(names)}: ") for (number, some), names in alike.items()]


def cautions(doubts: Sequence[Block]) -> list[Block]:
    """Those that nobody may miss."""
    return [doubt for doubt in doubts if isinstance(doubt, Caution)]


def to_note(doubts: Sequence[Block]) -> list[Block]:
    """The others."""
    return [doubt for doubt in doubts if not isinstance(doubt, Caution)]


def _together(doubts: Sequence[Doubt]) -> list[tuple[Doubt, ...]]:
    """What is said together: each kind of event alone, ends of ranges in one."""
    ends = tuple(doubt for doubt in doubts if isinstance(doubt, End))
    events = [(doubt,) for doubt in doubts if isinstance(doubt, EventDoubt)]
    return [*events, ends] if ends else [*events]


def _block(doubts: tuple[Doubt, ...], number: int, of: str = "") -> Block:
    first = doubts[0]
    if isinstance(first, EventDoubt):
        return Caution(f"{of}{_event(first, number)}")
    ends = [_end(doubt) for doubt in doubts if isinstance(doubt, End)]
    ranges = "a range" if len(ends) == 1 else f"{len(ends)} ranges"
    return Paragraph(
        f"{of}No. {number} stands at the end of {ranges}. {' '.join(ends)} Nothing beyond was"
        " judged: extend the grid."
    )


def _event(doubt: EventDoubt, number: int) -> str:
    limits = {"value": doubt.value, "value_low": doubt.low, "value_high": doubt.high}
    found = with_limits(limits, "value", 3)
    mix = f"{percent(doubt.share)} of the external events"
    if doubt.why is DoubtKind.TRIPS_OFTEN:
        return (
            f"no. {number} trips falsely on {found} of the {doubt.event} events, more than"
            f" {percent(doubt.limit)}. These are {mix}, so the total hides it. Look for a wrong CT"
            " or sign in the scheme before this setting is used."
        )
    return (
        f"{doubt.event} causes {found} of the false trips of no. {number}, and is {mix}. The"
        " inputs of this event decide the result."
    )


def _end(end: End) -> str:
    label, unit = AXIS_WORDS[end.axis].label, axis_unit(end.axis)
    word = "lowest" if end.lowest else "highest"
    return (
        f"{capital(label)} {end.value:g}{unit} is the {word} of {end.low:g} to {end.high:g}{unit}."
    )
