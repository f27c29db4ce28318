"""What speaks against a chosen setting, in words: kinds of event and ends of ranges."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from montecarlo.frames.doubts import Doubt, DoubtKind, EventDoubt
from montecarlo.quantities.wording import listed
from montecarlo.study.candidates import End
from studies.report.blocks import Block, Caution, Paragraph
from studies.report.numbers import percent, with_limits
from studies.report.words import AXIS_WORDS, axis_unit

BEYOND = "No setting beyond an end was judged: extend the grid there."

SOME_ENDS = 2  # that one sentence can name


def doubts_text(doubts: Sequence[Doubt], number: int) -> list[Block]:
    """A sentence or two each, of candidate `number`."""
    found = [_block(some, number) for some in _together(doubts)]
    return [Paragraph(f"{one.text} {BEYOND}") if _of_ends(one) else one for one in found]


def of_each(
    doubts: Mapping[str, tuple[int, Sequence[Doubt]]], called: Callable[[str], str] = str
) -> list[Block]:
    """The same of several choices by name, each with its candidate's number; alike ones in one.
    `called`: a name in words."""
    alike: dict[tuple[int, tuple[Doubt, ...]], list[str]] = {}
    for name, (number, mine) in doubts.items():
        for some in _together(mine):
            alike.setdefault((number, some), []).append(f'"{called(name)}"')
    found = [_block(some, number, names) for (number, some), names in alike.items()]
    return [*found, *([Paragraph(BEYOND)] if any(map(_of_ends, found)) else [])]


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


def _of_ends(block: Caution | Paragraph) -> bool:
    return isinstance(block, Paragraph)


def _block(
    doubts: tuple[Doubt, ...], number: int, names: Sequence[str] = ()
) -> Caution | Paragraph:
    """`names`: whose doubts these are, where there are several choices."""
    of, first = f"{listed(names)}: " if names else "", doubts[0]
    if isinstance(first, EventDoubt):
        return Caution(f"{of}{_event(first, number)}")
    ends = [_end(doubt) for doubt in doubts if isinstance(doubt, End)]
    head = f"{of}no. {number}" if of else f"No. {number}"
    if len(ends) > SOME_ENDS:
        return Paragraph(f"{head} stands at ends of the grid. They are {listed(ends)}.")
    return Paragraph(f"{head} stands at an end of the grid: {', '.join(ends)}.")


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
        f"{found} of the false trips of no. {number} come from {doubt.event}. This event makes up"
        f" {mix}. Its inputs decide the result."
    )


def _end(end: End) -> str:
    label, unit = AXIS_WORDS[end.axis].label, axis_unit(end.axis)
    word = "lowest" if end.lowest else "highest"
    return f"{label} {end.value:g}{unit} ({word})"
