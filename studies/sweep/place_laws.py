"""What the law of the fault's place makes of missed faults: sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.place_laws import FACTORS, Kind
from montecarlo.frames.place_laws import BEST
from montecarlo.quantities.wording import listed
from studies.report.blocks import Block, Table
from studies.report.numbers import bare, digits_of, percent

if TYPE_CHECKING:
    import pandas as pd

Row = Mapping[str, Any]
MOST_NAMED = 2
LEAST = 1e-4  # of a probability that is written out
DIGITS = digits_of("p_missed")
KEYS = ["law", "factor", "exponent", "flat_share"]
CAPTION = "Missed faults under other laws of the place of earth faults"


def place_range(frame: pd.DataFrame, number: int) -> Iterator[str]:
    """Of place_laws.csv: between which values the missed faults of a setting lie."""
    own = frame[frame["candidate"] == number] if len(frame) else frame
    if not len(own):
        return
    factor = FACTORS[0]
    low, high = (
        float(own.loc[(own["law"] == kind.value) & (own["factor"] == factor), "p_missed"].iloc[0])
        for kind in (Kind.LEAST, Kind.MOST)
    )
    ends = percent(low, DIGITS).removesuffix(" %"), percent(high, DIGITS)
    yield (
        f"If the density of earth faults is off by up to a factor of {factor:g} anywhere along the"
        f" winding, {' to '.join(ends)} of the faults stay uncleared."
    )


def place_table(frame: pd.DataFrame) -> list[Block]:
    """A row a law, a column a setting; nothing without earth faults."""
    if not len(frame):
        return []
    shown = frame[frame["role"] != BEST]
    settings = shown[["role", "candidate"]].drop_duplicates().itertuples(index=False)
    columns = {f"{role}, no. {number}": number for role, number in settings}
    by_law = shown.groupby(KEYS, sort=False, dropna=False)
    rows = []
    for _, group in by_law:
        missed = group.set_index("candidate")["p_missed"]
        cells = (_missed(float(missed[number])) for number in columns.values())
        rows.append((law_words(group.iloc[0].to_dict()), *cells))
    notes = (
        "% of the faults in scope left uncleared; only earth faults move",
        "within a factor: at no place is the density farther from the assumed one, up or down",
    )
    align = "<" + ">" * len(columns)
    return [Table(("law of the place", *columns), tuple(rows), align, CAPTION, notes=notes)]


def _missed(p: float) -> str:
    """In per cent; what is too small to matter is not written out."""
    return bare(p, DIGITS) if p >= LEAST or p == 0 else f"< {bare(LEAST)}"


def other_choices(frame: pd.DataFrame) -> Iterator[str]:
    """Laws under which another setting would be chosen: one for each of the first such settings."""
    better = frame[frame["role"] == BEST].to_dict("records") if len(frame) else []
    if not better:
        return
    first = {row["candidate"]: law_words(row) for row in reversed(better)}
    named = [*dict.fromkeys(row["candidate"] for row in better)][:MOST_NAMED]
    cases = listed(f"no. {number} ({first[number]})" for number in named)
    yield (
        f"The law of the place changes which allowed setting leaves fewest: {cases}."
        " place_laws.csv has all laws."
    )


def law_words(row: Row) -> str:
    """What a law is."""
    if row["law"] == Kind.AGEING.value:
        if row["exponent"] == 0:
            return "all places alike"
        flat = f", {percent(row['flat_share'])} of them at any place" if row["flat_share"] else ""
        return f"voltage ageing, exponent {row['exponent']:g}{flat}"
    if row["law"] == Kind.STATED.value:
        return "as assumed"
    side = "near" if row["law"] == Kind.MOST.value else "far from"
    return f"more faults {side} the neutral, within a factor of {row['factor']:g}"
