"""Who clears a fault, in sentences: by which path, how often nobody, what failures change, and what
a fault burns until then."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from montecarlo.frames.clearing import NOBODY, PART, PATH, RATE_WORDS, ClearingFrames
from montecarlo.frames.damage import ALL, FAILED, UNSEEN
from montecarlo.quantities.wording import listed
from studies.clearing.words import PATH_WORDS
from studies.report.numbers import figures, in_unit, percent, with_limits
from studies.report.words import input_name, plural

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.study.description import AnnualCost

MOST_INPUTS = 3  # in the sentence; the table has all


def clearing_text(found: ClearingFrames) -> Iterator[str]:
    """Of one setting in service.

    Parameters
    ----------
    found : ClearingFrames

    Yields
    ------
    str
    """
    rows = found.who_clears()
    yield from _who(rows[rows["type"] == ALL], RATE_WORDS[found.stated])
    yield from _failures(found, rows)
    yield from _tests(found.tests(), found.clearing.study.policy.least_annual_cost)
    yield from _damage(found)


def _who(rows: pd.DataFrame, stated: str) -> Iterator[str]:
    own = rows[rows["failure_rates"] == stated].set_index("path")
    parts = [
        f"{PATH_WORDS[str(path)]} {percent(row['p'], 3)}"
        for path, row in own.iterrows()
        if path != NOBODY and row["p"] > 0
    ]
    nobody = own.loc[NOBODY]
    yield (
        f"Internal faults within the scheme's scope are cleared first by {listed(parts)}."
        f" Nobody clears {with_limits(nobody, 'p', 3)}, {nobody['per_year']:.2g} a year."
    )


def _failures(found: ClearingFrames, rows: pd.DataFrame) -> Iterator[str]:
    """What the parts' failures add, and with rates that are off."""
    table = found.dependability()
    if not len(table):
        return
    nobody = rows[(rows["type"] == ALL) & (rows["path"] == NOBODY)].set_index("failure_rates")["p"]
    words = [percent(nobody[word], 3) for word in ("none", "as stated", "a third", "three times")]
    yield (
        f"If no part failed, nobody would clear {words[0]}. With the stated rates it is"
        f" {words[1]}, with a third of them {words[2]}, with three times as many {words[3]}."
    )
    parts = table[table["what"] == PART]
    worst = parts.loc[parts["p_failure"].idxmax()]
    yield (
        f"The part most likely to fail on demand is the {str(worst['name']).replace('_', ' ')}:"
        f" {percent(worst['p_failure'])} on average over the time between tests."
        " This is no probability for a given day."
    )
    if (a_year := found.unwanted_per_year()) > 0:
        yield f"Parts trip by themselves {a_year:.2g} times a year, false trips of events aside."
    yield " ".join(_paths(table[table["what"] == PATH]))


def _paths(rows: pd.DataFrame) -> Iterator[str]:
    """What each path misses as an element, and with its failures."""
    for row in rows.to_dict("records"):
        yield (
            f"{_capital(PATH_WORDS[str(row['name'])])} alone would miss"
            f" {percent(row['p_missed_element'], 3)}, with failures of parts"
            f" {percent(row['p_missed_both'], 3)}."
        )


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _tests(table: pd.DataFrame, cost: AnnualCost | None) -> Iterator[str]:
    if not len(table):
        return
    said = [
        f"{_years(row['proof_test_years'])} {percent(row['p_nobody'], 3)}"
        for row in table.to_dict("records")
    ]
    yield f"Faults that nobody clears, by the time between tests: {listed(said)}."
    if cost is not None:
        best = table.loc[table["cost_per_year"].idxmin()]
        damage = "Damage, faults" if cost.damage is not None else "Faults"
        yield (
            f"{damage} that nobody clears and tests cost least with tests every"
            f" {_years(best['proof_test_years'])}: {figures(best['cost_per_year'], 3)}"
            f" {cost.unit} a year."
        )


def _years(years: float) -> str:
    return f"{years:g} {plural('year', years)}"


def _damage(found: ClearingFrames) -> Iterator[str]:
    table = found.damage()
    if not len(table):
        return
    given = found.clearing.study.damage
    assert given is not None
    every = table.set_index("path")
    yield mean_damage(every.loc[ALL], given.reference_a)
    yield (
        f"{percent(every.loc[ALL, 'after_opening_share'])} of it comes after the breaker has"
        f" opened. {percent(_part(every, NOBODY))} of it comes from faults that nobody clears"
        f"{_why(every)}."
    )
    zones = [
        f"{row['zone']} {with_limits(row, 'p', 3)}" for row in found.zones().to_dict("records")
    ]
    if zones:
        yield f"Zones of damage of earth faults: {listed(zones)}."
    yield (
        "An arc would melt at most"
        f" {figures(every.loc[ALL, 'iron_median_cm3'], 2)} cm3 of iron in the median fault and"
        f" {figures(every.loc[ALL, 'iron_p95_cm3'], 2)} cm3 in one of twenty. That is an upper"
        " bound and an order of magnitude: all heat would go into the iron."
    )


def inputs_text(frame: pd.DataFrame) -> Iterator[str]:
    """Which inputs, off by their half-widths, change the mean damage most.

    Parameters
    ----------
    frame : DataFrame
        damage_inputs.csv.

    Yields
    ------
    str
        Nothing where no input changes it.
    """
    apart = frame[(frame["damage_change_s_low"] > 0) | (frame["damage_change_s_high"] < 0)]
    first = apart.drop_duplicates("input").head(MOST_INPUTS).to_dict("records")
    if not first:
        return
    said = listed(
        f"{input_name(str(row['input']))} {row['way']} by {in_unit(row['by'], str(row['unit']))}"
        f" ({_signed(row['damage_change_share'])})"
        for row in first
    )
    yield f"A half-width off, these inputs change the mean damage most. {_capital(said)}."


def _signed(share: float) -> str:
    return f"{'+' if share > 0 else '-'}{percent(abs(share))}"


def _part(every: pd.DataFrame, path: str) -> float:
    whole = float(every.loc[ALL, "mean_s"])
    return float(every.loc[path, "mean_s"]) / whole if whole else 0.0


def _why(every: pd.DataFrame) -> str:
    """Why nobody clears them, where parts may fail."""
    if FAILED not in every.index:
        return ""
    unseen, failed = (percent(_part(every, name)) for name in (UNSEEN, FAILED))
    return f": {unseen} as no path sees them, {failed} as parts have failed"


def mean_damage(row: Any, reference_a: float) -> str:
    """The mean damage as seconds of the reference current.

    Parameters
    ----------
    row : mapping
        Of damage.csv.
    reference_a : float (A)

    Returns
    -------
    str
    """
    mean, low, high = (figures(row[f"mean_s{end}"], 3) for end in ("", "_low", "_high"))
    return (
        f"An earth fault does as much damage as {reference_a:g} A in {mean} s on average ({low} to"
        f" {high}). In the median fault it is {figures(row['median_s'], 2)} s, in one of twenty"
        f" {figures(row['p95_s'], 2)} s."
    )
