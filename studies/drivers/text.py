"""What a study of drivers says: what to specify and to measure first, then which inputs decide.
Every sentence stays within its intervals."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities.wording import listed
from studies.drivers.effects import DAMAGE, NOBODY, PICKUP, POSITION
from studies.drivers.samples import CENTRE, HALVED
from studies.report.blocks import Block, Lead, Paragraph, Section, Table, items, paragraphs
from studies.report.catalogue import NOTES, capital
from studies.report.notes import to_know, unresolved_sentence
from studies.report.numbers import percent
from studies.report.safety import REVIEW
from studies.report.words import SAME, counted, input_name, scheme_name, setting_text
from studies.sweep.closest import closest_text
from studies.sweep.doubts import cautions, doubts_text, to_note
from studies.sweep.recommendation import worth

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result
    from montecarlo.study.axes import Setting
    from montecarlo.study.description import Study
    from studies.drivers.answers import Drivers

FEW_HITS = 50.0
MOST_LEADING = 3  # inputs of one output; the table has all
OF_EARTH_FAULTS = {
    POSITION: "protected part of the winding",
    DAMAGE: "damage of an earth fault",
    NOBODY: "earth faults that nobody clears",
}
FLOORED = {  # what counts as more than it is
    PICKUP: "Critical pick-ups below a tenth of the finest candidate count as that tenth",
    DAMAGE: "Earth faults without a current count with the least damage of the others",
}
WORDS = {"p_missed": "missed faults", "p_false": "false trips", "cost_per_year": "cost"}


def drivers_text(
    result: Result, found: Drivers, frames: Mapping[str, pd.DataFrame], peak: str
) -> list[Block]:
    """What a finished study of drivers says.

    Parameters
    ----------
    result : Result
    found : Drivers
    frames : mapping of str to DataFrame
        By name of the table.
    peak : str
        A sentence on the peak voltage.

    Returns
    -------
    list of Block
    """
    installation = found.worths
    doubts = doubts_text(result.doubts, result.chosen or 0)
    return [
        Lead(
            (
                _specify(frames["what_if"], installation),
                _measure(result, frames["worth_of_measuring"]),
                *_setting(result, found),
                REVIEW,
            )
        ),
        *cautions(doubts),
        *_leaders(frames["drivers"], _blocking(result.study, found.setting)),
        *paragraphs(
            _assumed(frames["what_if"], installation),
            *closest_text(result.study, result.closest),
        ),
        Section(NOTES, [*to_note(doubts), *items((*_notes(found), *to_know(result), peak))]),
    ]


def _setting(result: Result, found: Drivers) -> Iterator[str]:
    """Which setting is analysed, and what it is worth."""
    number = result.outcome.settings.index(found.setting) + 1
    row = result.candidates.set_index("candidate").loc[number].to_dict()
    which = (
        "These answers hold for the recommended setting"
        if result.chosen
        else "No setting meets the policy; the closest one is analysed instead"
    )
    yield f"{which}: no. {number}, {scheme_name(row['scheme'])}, {setting_text(row)}."
    yield from worth(result.study, row)
    if row["batch"] != 2:
        yield "Both figures are from the selection sample."


# --- Sobol' effects -----------------------------------------------------------


def _blocking(study: Study, setting: Setting) -> str:
    """The name of the setting's gate, if it blocks; else empty."""
    gates = (gate for gate in study.scheme.gates if gate.name == setting.gate)
    return next((gate.name for gate in gates if gate.slope is None), "")


def _leaders(drivers: pd.DataFrame, gate: str = "") -> list[Block]:
    """The inputs that lead, of the winding and of each external event; events in which a blocking
    gate leaves nothing that varies in one sentence."""
    external = drivers["side"] == "external"
    still: list[str] = []
    for kind, some in drivers[external].groupby("type", sort=False):
        if gate and not some["total"].any():
            still.append(str(kind))
    table = _leading_table(drivers[~(external & drivers["type"].isin(still))])
    if not still:
        return table
    names = listed(kind.replace("_", " ") for kind in still)
    words = f"While the gate {gate} blocks, no current varies that could trip in {names}."
    return [*table, Paragraph(f"{words} So no input is named there.")]


def _leading_table(drivers: pd.DataFrame) -> list[Block]:
    rows = [
        (words, _leading(some))
        for output, words in OF_EARTH_FAULTS.items()
        for some in [drivers[drivers["output"] == output]]
        if len(some)
    ]
    rows += [
        (f"currents in the elements, {kind.replace('_', ' ')}", _leading(some))
        for kind, some in drivers[drivers["side"] == "external"].groupby("type", sort=False)
    ]
    notes = (
        "in brackets: total effect as a share of the output's variance, 95 % limits",
        "several inputs in one row do not differ significantly from the first",
    )
    head = ("output", "depends most on")
    return [Table(head, tuple(rows), "<<", notes=notes)] if rows else []


def _leading(rows: pd.DataFrame) -> str:
    """The inputs that no other significantly exceeds, by total effects. rows: of one output, the
    largest first."""
    if not rows["total"].any():
        return "no input: it does not vary"
    best = rows.iloc[0]
    if not best["total_low"] > 0:
        return "no single input that these samples show"
    level = rows[rows["total_high"] >= best["total_low"]]
    shares = [
        f"{input_name(row['input'])} ({_share(row)})"
        for row in level[:MOST_LEADING].to_dict("records")
    ]
    more = len(level) - MOST_LEADING
    return listed([*shares, f"{more} more"] if more > 0 else shares)


def _share(row: Mapping[str, Any]) -> str:
    """Limits of a share of a variance, which lies from 0 to 100 %."""
    low, high = (min(max(100 * row[f"total_{end}"], 0.0), 100.0) for end in ("low", "high"))
    return f"{low:.0f} to {high:.0f} %"


# --- what if ------------------------------------------------------------------


def _specify(what_if: pd.DataFrame, installations: Collection[str]) -> str:
    """Of the inputs that a purchase, a test or a design can narrow."""
    rows = what_if[what_if["input"].isin(installations)]
    if not len(rows):
        return (
            "Specify first: none; no input of the installation changes either probability"
            " significantly."
        )
    if falls := _falls(rows):
        return f"Specify first: {falls}"
    count = rows["input"].nunique()
    which = "it" if count == 1 else "any of them"
    return (
        f"Specify first: none. What-ifs were made of {counted(count, 'input')} of the"
        f" installation. Half the uncertainty of {which} lowers neither probability significantly."
    )


def _assumed(what_if: pd.DataFrame, installations: Collection[str]) -> str:
    """Of what differs from event to event: assumptions of the study, or matters of protection
    outside the zone."""
    falls = _falls(what_if[~what_if["input"].isin(installations)])
    return f"Largest effect of the inputs that differ from event to event: {falls}" if falls else ""


def _falls(rows: pd.DataFrame) -> str:
    """What lowers each probability most: names, then a few sentences on each."""
    each = [
        falls
        for name in ("p_missed", "p_false")
        if len(falls := _halved(rows[rows["quantity"] == name]))
    ]
    names = dict.fromkeys(_name(_largest(falls)["input"]) for falls in each)
    return (
        " ".join([f"{listed(names)}.", *(_lowers(rows, falls) for falls in each)]) if each else ""
    )


def _shown(rows: pd.DataFrame) -> pd.DataFrame:
    """Those that fall by more than their intervals."""
    return rows[(rows["verdict"] != Verdict.ALIKE) & (rows["difference"] < 0)]


def _like(rows: pd.DataFrame, best: pd.Series[Any]) -> str:
    """Whose fall does not differ in size from the largest."""
    others = rows[rows["difference_low"] <= best["difference_high"]]["input"]
    names = listed(_name(key) for key in others if key != best["input"])
    return f" {capital(SAME)} in size: {names}." if names else ""


def _halved(rows: pd.DataFrame) -> pd.DataFrame:
    """The significant falls with an input half as uncertain."""
    return _shown(rows[rows["change"] == HALVED])


def _largest(falls: pd.DataFrame) -> pd.Series[Any]:
    return falls.loc[falls["difference"].idxmin()]


def _lowers(rows: pd.DataFrame, falls: pd.DataFrame) -> str:
    """By how much the input with the largest fall lowers a probability."""
    best = _largest(falls)
    centred = (rows["change"] == CENTRE) & (rows["quantity"] == best["quantity"])
    fixed = rows[centred & (rows["input"] == best["input"])].iloc[0]
    low, high = (0.0 - 100 * best[f"difference_{end}"] for end in ("high", "low"))
    return (
        f"Half the uncertainty of {_name(best['input'])} would lower {WORDS[best['quantity']]} by"
        f" {low:.2g} to {high:.2g} percentage points. Left then: {_left(best)}. Left with this"
        f" input at its centre: {_left(fixed)}.{_like(falls, best)}"
    )


def _left(row: Any) -> str:
    """What is left of a probability; where nothing is seen any more, its limit."""
    if row["p_then"] > 0:
        return f"{100 * row['p_then'] / row['p_now']:.3g} % of them"
    return f"none seen, fewer than {percent(row['p_then_high'])}"


def _name(key: str) -> str:
    """With the event, where it is one's."""
    table, event, *_ = key.split(".")
    of = f" ({event.replace('_', ' ')})" if table == "external_events" else ""
    return f"the {input_name(key)}{of}"


# --- measuring ----------------------------------------------------------------


def _measure(result: Result, worth: pd.DataFrame) -> str:
    quantity = "p_missed" if result.study.policy.least_annual_cost is None else "cost_per_year"
    rows = worth[worth["quantity"] == quantity] if len(worth) else worth
    if not len(rows):
        return "Measure first: none; no input varies from installation to installation."
    cells = [name for name in rows.columns if name.startswith("chosen_") and name != "chosen_today"]
    if all((rows[name] == rows["chosen_today"]).all() for name in cells):
        return (
            "Measure first: none. On this grid no measurement of an input of the installation would"
            " change the setting."
        )
    better = _shown(rows)
    if not len(better):
        best = rows.loc[rows["difference_low"].idxmin()]
        return (
            f"Measure first: none. No measurement is shown to lower {WORDS[quantity]}. The samples"
            f" leave open at most {_amount(result, quantity, -best['difference_low'])}, for"
            f" {_name(best['input'])}."
        )
    best = better.loc[better["difference"].idxmin()]
    lowered = _amount(result, quantity, -best["difference_high"], -best["difference_low"])
    return (
        f"Measure first: {_name(best['input'])}. The measurement would show {best['known']}. A"
        f" setting chosen for it would lower {WORDS[quantity]} by {lowered}.{_like(better, best)}"
    )


def _amount(result: Result, quantity: str, *values: float) -> str:
    """One value, or from one to another."""
    cost = result.study.policy.least_annual_cost
    if quantity == "cost_per_year" and cost is not None:
        each, unit = [f"{float(f'{value:.2g}') + 0.0:,.15g}" for value in values], cost.unit
        return f"{' to '.join(each)} {unit} a year"
    return f"{' to '.join(f'{100 * value + 0.0:.2g}' for value in values)} percentage points"


# --- beside the conclusion ----------------------------------------------------


def _notes(found: Drivers) -> Iterator[str]:
    """On the tables."""
    yield (
        "Elasticities, what-ifs and worth of measuring rest on samples of their own"
        f" ({_sizes(found)}). p_now in what_if.csv is a second estimate from these."
    )
    yield f"Sobol' effects rest on {found.effects[0].rows} rows of each of two nets."
    hits = found.effective["p_false"]
    if not found.now["p_false"].p > 0:
        yield "No false trip was seen in these samples, so no input is named for false trips."
    elif hits < FEW_HITS:
        yield (
            f"False trips rest on {counted(round(hits), 'effective hit')}. Below {FEW_HITS:.0f}"
            " their elasticities and what-ifs are rough, and their intervals are too short."
        )
    yield from _floored(found)
    if changed := {each.change.key for each in found.what_if}:
        yield (
            f"What-ifs: {len(changed)} {'input' if len(changed) == 1 else 'inputs'} with the"
            " largest elasticities of p_missed and p_false, without the place along the winding."
        )
    groups = [group for part in found.effects for group in part.groups]
    for name in dict.fromkeys(group.name for group in groups if len(group.keys) > 1):
        yield f"Correlated inputs, one row of the Sobol' effects: {name}."
    if any(row.number for row in found.unresolved):
        lost = unresolved_sentence(found.unresolved)
        yield f"For the drivers: {lost[0].lower()}{lost[1:]}"


def _floored(found: Drivers) -> Iterator[str]:
    for output, words in FLOORED.items():
        parts = [part for part in found.effects if part.output == output and part.floored > 0.005]
        if parts:
            yield f"{words}: {listed(f'{percent(one.floored)} of {one.stratum}' for one in parts)}."


def _sizes(found: Drivers) -> str:
    """Of each type; said once where all are alike."""
    sizes = {name.kind.replace("_", " "): size for name, size in found.rows.items()}
    if len({*sizes.values()}) == 1:
        return f"{next(iter(sizes.values())):,} of each type"
    return ", ".join(f"{name} {size:,}" for name, size in sizes.items())
