"""What a study of drivers says: which input decides, and what to specify or to measure first, in
plain words. Every sentence stays within its intervals."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities.wording import listed
from studies.drivers.effects import POSITION
from studies.drivers.samples import CENTRE, HALVED
from studies.report.blocks import Block, Lead, Section, items, paragraphs
from studies.report.catalogue import NOTES
from studies.report.notes import to_know, unresolved_sentence
from studies.report.numbers import percent, with_limits
from studies.report.safety import REVIEW
from studies.report.words import input_name, scheme_name, setting_text
from studies.sweep.closest import closest_text
from studies.sweep.doubts import doubts_text

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result
    from studies.drivers.answers import Drivers

FEW_HITS = 50.0
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
        What is to be said of the peak voltage.

    Returns
    -------
    list of Block
    """
    installations = found.worths
    return [
        Lead(
            (
                _specify(frames["what_if"], installations),
                _measure(result, frames["worth_of_measuring"]),
                _setting(result, found),
                REVIEW,
            )
        ),
        *doubts_text(result.doubts, result.chosen or 0),
        *paragraphs(
            _assumed(frames["what_if"], installations),
            _reach(frames["drivers"]),
            _spill(frames["drivers"]),
            *closest_text(result.study, result.closest),
        ),
        Section(NOTES, items((*_notes(found), *to_know(result), peak))),
    ]


def _setting(result: Result, found: Drivers) -> str:
    number = result.outcome.first.settings.index(found.setting) + 1
    row = result.candidates.set_index("candidate").loc[number].to_dict()
    which = (
        "Chosen and looked at"
        if result.chosen
        else "Nothing can be chosen; looked at is what is nearest to the limit"
    )
    batch = "a fresh batch" if row["batch"] == 2 else "the study's own batch"
    return (
        f"{which}: no. {number}, {scheme_name(row['scheme'])}, {setting_text(row)}; it misses"
        f" {_with_limits(row, 'p_missed', 3)} of the internal faults within reach and trips falsely"
        f" on {_with_limits(row, 'p_false', 2)} of the external events ({batch})."
    )


def _with_limits(row: Mapping[str, Any], name: str, digits: int) -> str:
    if row[name] > 0:
        return with_limits(row, name, digits)
    return f"fewer than {percent(row[f'{name}_high'], digits)} (none seen)"


# --- Sobol' effects -----------------------------------------------------------


def _reach(drivers: pd.DataFrame) -> str:
    rows = drivers[drivers["output"] == POSITION]
    if not len(rows):
        return ""
    if not rows["total"].any():
        return (
            "How much of the winding is protected depends on nothing here: it is the same for every"
            " earth fault."
        )
    return (
        f"How much of the winding is protected depends {_leading(rows)}, as shares of its variance."
    )


def _spill(drivers: pd.DataFrame) -> str:
    """Of the external events, each by itself."""
    parts = [
        f'in "{kind}" {_leading(rows)}'
        for kind, rows in drivers[drivers["side"] == "external"].groupby("type", sort=False)
    ]
    return (
        f"What the elements get of an external event depends {'; '.join(parts)}." if parts else ""
    )


def _leading(rows: pd.DataFrame) -> str:
    """The inputs that no other can be told to exceed, by total effects. rows: of one output, the
    largest first."""
    best = rows.iloc[0]
    if not best["total_low"] > 0:
        return "on no input that these samples can name"
    level = rows[rows["total_high"] >= best["total_low"]]
    shares = [
        f"{input_name(row['input'])} ({100 * row['total_low']:.0f} to"
        f" {100 * row['total_high']:.0f} %)"
        for row in level.to_dict("records")
    ]
    if len(shares) == 1:
        return f"most on {shares[0]}"
    if len(shares) > 4:
        return f"on {len(shares)} inputs that cannot be told apart, {shares[0]} among them"
    return f"most on {listed(shares)}, which cannot be told apart"


# --- what if ------------------------------------------------------------------


def _specify(what_if: pd.DataFrame, installations: Collection[str]) -> str:
    """Of the inputs that a purchase, a test or a design can narrow."""
    rows = what_if[what_if["input"].isin(installations)]
    if not len(rows):
        return (
            "Specify first: no input of the installation moves either probability by more than its"
            " interval."
        )
    if falls := _falls(rows):
        return f"Specify first, of the installation: half as uncertain, {falls}."
    return (
        f"Specify first: nothing here; with any of the installation's {rows['input'].nunique()}"
        " inputs looked at half as uncertain, neither probability falls by more than its interval."
    )


def _assumed(what_if: pd.DataFrame, installations: Collection[str]) -> str:
    """Of what differs from event to event: assumptions of the study, or matters of protection
    outside the zone."""
    falls = _falls(what_if[~what_if["input"].isin(installations)])
    return f"Of what differs from event to event: half as uncertain, {falls}." if falls else ""


def _falls(rows: pd.DataFrame) -> str:
    """Of both probabilities what lowers them most."""
    each = (_first(rows[rows["quantity"] == name]) for name in ("p_missed", "p_false"))
    return "; ".join(filter(None, each))


def _shown(rows: pd.DataFrame) -> pd.DataFrame:
    """Those that fall by more than their intervals."""
    return rows[(rows["verdict"] != Verdict.ALIKE) & (rows["difference"] < 0)]


def _like(rows: pd.DataFrame, best: pd.Series[Any]) -> str:
    """What cannot be told in size from the largest fall."""
    others = rows[rows["difference_low"] <= best["difference_high"]]["input"]
    names = listed(_name(key) for key in others if key != best["input"])
    return f", not distinguishable in size from {names}" if names else ""


def _first(rows: pd.DataFrame) -> str:
    """The largest fall with an input half as uncertain that is more than its interval, and what
    cannot be told from it; "" if there is none."""
    told = _shown(rows[rows["change"] == HALVED])
    if not len(told):
        return ""
    best = told.loc[told["difference"].idxmin()]
    fixed = rows[(rows["change"] == CENTRE) & (rows["input"] == best["input"])].iloc[0]
    low, high = (0.0 - 100 * best[f"difference_{end}"] for end in ("high", "low"))
    return (
        f"{_name(best['input'])} would lower {WORDS[best['quantity']]} by {low:.2g} to {high:.2g}"
        f" percentage points, {_left(best)} (at its centre: {_left(fixed)}){_like(told, best)}"
    )


def _left(row: Any) -> str:
    """What is left of a probability; where nothing is seen any more, its limit."""
    if row["p_then"] > 0:
        return f"to {row['p_then'] / row['p_now']:.2g} times what they are"
    return f"to none seen, fewer than {percent(row['p_then_high'])}"


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
        return "Measure first: nothing; no input varies from installation to installation."
    cells = [name for name in rows.columns if name.startswith("chosen_") and name != "chosen_today"]
    if all((rows[name] == rows["chosen_today"]).all() for name in cells):
        return (
            "Measure first: nothing on this grid; whatever an installation input turned out to be,"
            " the same setting would be chosen, so that measuring is worth 0."
        )
    better = _shown(rows)
    if not len(better):
        best = rows.loc[rows["difference_low"].idxmin()]
        return (
            "Measure first: no measurement is shown to be worth anything, since for every"
            f" installation input the interval of the change of {WORDS[quantity]} holds 0 or lies"
            " above it; the most that the samples leave open is"
            f" {_amount(result, quantity, -best['difference_low'])} for {_name(best['input'])}."
        )
    best = better.loc[better["difference"].idxmin()]
    lowered = _amount(result, quantity, -best["difference_high"], -best["difference_low"])
    return (
        f"Measure first: {_name(best['input'])}; to know {best['known']}, and to choose anew for"
        f" it, would lower {WORDS[quantity]} by {lowered}{_like(better, best)}."
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
    """What to know of the tables."""
    sizes = ", ".join(f"{name.kind.replace('_', ' ')} {size}" for name, size in found.rows.items())
    yield (
        f"Rows of their own for elasticities, what-ifs and worth of measuring ({sizes}); Sobol'"
        f" effects from {found.effects[0].rows} rows of each of two nets, mixed input by input."
        " What these rows show of the setting's own p is a second estimate: p_now in what_if.csv."
    )
    hits = found.effective["p_false"]
    if not found.now["p_false"].p > 0:
        yield "No false trip among these rows, so that nothing is said of what moves them."
    elif hits < FEW_HITS:
        yield (
            f"False trips rest on {hits:.0f} effective hits; below {FEW_HITS:.0f} their"
            " elasticities and what-ifs are rough, and their intervals too short."
        )
    for part in found.effects:
        if part.floored > 0.005:
            yield (
                f"{part.stratum}: {percent(part.floored)} of the critical pick-ups are below a"
                " tenth of the finest candidate and count as that."
            )
    if changed := {each.change.key for each in found.what_if}:
        yield (
            f"What-ifs are worked out for the {len(changed)} inputs whose elasticities stand"
            " furthest from 0, by turns of p_missed and p_false; place along the winding aside."
        )
    groups = [group for part in found.effects for group in part.groups]
    for name in dict.fromkeys(group.name for group in groups if len(group.keys) > 1):
        yield f"Correlated, and so one line among the Sobol' effects: {name}."
    yield f"For drivers: {unresolved_sentence(found.unresolved)}"
