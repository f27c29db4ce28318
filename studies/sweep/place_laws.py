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


def place_sentences(frame: pd.DataFrame, number: int) -> Iterator[str]:
    """Of place_laws.csv: between which values the missed faults of a setting lie, and whether
    another law would choose another setting."""
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
        "The place of earth faults along the winding is an assumption. If their density is off by"
        f" up to a factor of {factor:g} anywhere, {' to '.join(ends)} of the faults stay uncleared."
    )
    yield from _order(frame[frame["role"] == BEST].to_dict("records"))


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


def _order(better: list[Row]) -> Iterator[str]:
    """Laws under which another setting would be chosen."""
    if not better:
        return
    cases = listed(f"no. {row['candidate']} with {law_words(row)}" for row in better[:MOST_NAMED])
    more = " and other laws in place_laws.csv" if len(better) > MOST_NAMED else ""
    yield f"Another allowed setting leaves significantly fewer uncleared: {cases}{more}."


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
