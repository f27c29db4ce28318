"""What a comparison of earthing options says on the terminal: two lines an option, and what the
intervals show."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from montecarlo.quantities.wording import listed
from montecarlo.study.budget import too_few
from studies.report.blocks import Block, Lead, Section, Table, items, paragraphs
from studies.report.catalogue import NOTES
from studies.report.notes import move_sentences, sentence, unresolved_sentence
from studies.report.numbers import NONE_SEEN, bare, cell, cost_with_limits, percent, with_limits
from studies.report.safety import REVIEW
from studies.report.words import scheme_name, setting_text
from studies.sweep.closest import closest_of_each
from studies.sweep.doubts import of_each
from studies.sweep.text import SHARES

if TYPE_CHECKING:
    import pandas as pd

    from studies.earthing.frames import Options

Row = Mapping[str, Any]
Signs = Counter[tuple[str, str, str]]  # 0 of a pair that is not compared
ENERGIES = (
    "The energy in the fault is I^2 R_f over its time: 0 in a bolted fault, whatever its current."
    " Energies hold for the fault resistances and times that the study states; no interval holds"
    " their uncertainty. The 95 % limits of differences hold for all pairs of options together."
)
ELSEWHERE = (
    "What only some of the options have to tell (solutions, weighted samples, candidates refused"
    " on fresh numbers) stands in provenance.json."
)


def earthing_text(options: Options) -> list[Block]:
    """What a finished comparison says.

    Parameters
    ----------
    options : Options

    Returns
    -------
    list of Block
    """
    rows = options.table.to_dict("records")
    chosen = [row for row in rows if row["scheme"]]
    return [
        Lead((*conclusion(rows, options.differences), *([REVIEW] if chosen else []))),
        *of_each(options.doubts),
        _found(rows),
        *items(f"{row['option']}: {_setting(options, row)}" for row in chosen),
        _burnt(rows),
        *paragraphs(
            _costs(options, chosen),
            ENERGIES,
            *closest_of_each(options.results),
        ),
        Section(NOTES, items(_notes(options))),
    ]


def _setting(options: Options, row: Row) -> str:
    scheme = f"{scheme_name(row['scheme'])}, " if len(options.study.scheme.kinds) > 1 else ""
    return f"{scheme}{setting_text(row)}"


def _costs(options: Options, chosen: Sequence[Row]) -> str:
    """Empty where the policy weighs none."""
    cost = options.study.policy.least_annual_cost
    if cost is None or not chosen:
        return ""
    each = [f'"{row["option"]}" {cost_with_limits(row, cost.unit)}' for row in chosen]
    return f"Missed faults and false trips cost: {'; '.join(each)}."


def _notes(options: Options) -> Iterator[str]:
    """What all options have to tell, and where the rest stands."""
    notes = [outcome.notes for outcome in options.alternatives.outcomes.values()]
    alike = [note for note in notes[0] if all(note in others for others in notes)]
    yield from move_sentences(options.study)
    yield from map(sentence, alike)
    yield too_few(options.study)
    yield unresolved_sentence(options.unresolved_rows)
    if any(len(each) > len(alike) for each in notes):
        yield ELSEWHERE


def _names(names: Iterable[str]) -> str:
    """Names of options among words and numbers of a sentence."""
    return listed(f'"{name}"' for name in names)


# --- tables -------------------------------------------------------------------


def _found(rows: Sequence[Row]) -> Table:
    cells = []
    for row in rows:
        if math.isnan(row["p_missed"]):
            cells.append((row["option"], "-", "-", "-"))
            continue
        shares = cell(row, "p_missed", 3), cell(row, "p_false")
        protected = [bare(row[f"protected_{word}"], 3) for word in ("median", "p05", "p95")]
        cells.append((row["option"], *shares, "{} ({}-{})".format(*protected)))
    notes = [
        "each at its best setting under the policy, on the same fresh installations and events",
        f"{SHARES}; (95 % limits)",
        "protected: median (5-95 % of the sampled earth faults)",
    ]
    if any(row["p_false"] == 0 for row in rows):
        notes.append(NONE_SEEN)
    head = ("option", "missed %", "false %", "winding protected %")
    return Table(head, tuple(cells), "<>>>", notes=tuple(notes))


def _burnt(rows: Sequence[Row]) -> Table:
    cells = []
    for row in rows:
        current = [f"{row[f'terminal_fault_a_{word}']:.3g}" for word in ("median", "p05", "p95")]
        energies = [
            "-" if math.isnan(row[f"{name}_mean"]) else _energy(row, name)
            for name in ("fault_energy_j", "resistor_energy_j")
        ]
        cells.append((row["option"], "{} ({}-{})".format(*current), *energies))
    head = ("option", "A at the terminals", "in the fault", "in the resistor")
    notes = (
        "at the terminals: a fault without resistance, median (5-95 % of the samples)",
        "energies: mean of the sampled earth faults (95 % limits); in the fault I^2 R_f, 0 if it is"
        " bolted",
    )
    return Table(head, tuple(cells), "<>>>", notes=notes)


def _energy(row: Row, name: str) -> str:
    """Mean and limits in one unit: 12.1 (11.6-12.6) kJ."""
    mean, low, high = (row[f"{name}_mean{end}"] for end in ("", "_low", "_high"))
    units = ((1e9, "GJ"), (1e6, "MJ"), (1e3, "kJ"))
    scale, unit = next((pair for pair in units if mean >= pair[0]), (1.0, "J"))
    return f"{mean / scale:.3g} ({low / scale:.3g}-{high / scale:.3g}) {unit}"


# --- sentences ----------------------------------------------------------------


def conclusion(rows: Sequence[Row], differences: pd.DataFrame) -> Iterator[str]:
    """What the numbers say of the options, a sentence each; nothing that an interval does not
    show."""
    standing = [row for row in rows if not math.isnan(row["p_missed"])]
    if without := [row["option"] for row in rows if math.isnan(row["p_missed"])]:
        yield (
            f"With {_names(without)} no candidate can be chosen (candidates.csv says why), so what"
            " it burns is not told; what comes closest stands below."
        )
    if standing:
        signs = _signs(differences)
        yield f"{_least_and_most(standing, signs, MISSED)}."
        yield f"{_least_and_most(standing, signs, BURNT)}{_unseen(standing)}."
        yield from _both(standing, signs)
    yield _at_the_terminals(rows)
    yield f"{'; '.join(filter(None, (_rule(rows), _rating(rows))))}."


class _Quantity(NamedTuple):
    """Of which the options have more or less, and how a sentence says so."""

    name: str
    column: str
    verb: str
    words: str
    shown: Callable[[Row], str]


MISSED = _Quantity(
    "p_missed",
    "p_missed",
    "misses",
    "of the internal faults within reach",
    lambda row: with_limits(row, "p_missed", 3),
)
BURNT = _Quantity(
    "fault_energy_j",
    "fault_energy_j_mean",
    "burns",
    "on average in an earth fault",
    lambda row: _energy(row, "fault_energy_j"),
)


def _signs(differences: pd.DataFrame) -> Signs:
    """1: the first of two options has more of a quantity, -1: less, 0: not distinguishable."""
    signs: Signs = Counter()
    for row in differences.to_dict("records"):
        one, other, quantity = row["option"], row["minus"], row["quantity"]
        signs[one, other, quantity] = int(row["low"] > 0) - int(row["high"] < 0)
        signs[other, one, quantity] = -signs[one, other, quantity]
    return signs


def _least_and_most(rows: Sequence[Row], signs: Signs, what: _Quantity) -> str:
    least, most = (pick(rows, key=lambda row: row[what.column]) for pick in (min, max))
    alike = {
        one["option"]: [
            other["option"]
            for other in rows
            if other is not one and not signs[one["option"], other["option"], what.name]
        ]
        for one in (least, most)
    }
    equal = alike[least["option"]]
    if len(equal) == len(rows) - 1:
        alone = f"{_names([least['option']])} {what.verb} {what.shown(least)} {what.words}"
        return alone + (", and no option is distinguishable from it at 95 %" if equal else "")
    parts = []
    for row, word, words in ((least, "least", f" {what.words}"), (most, "most", "")):
        others = alike[row["option"]]
        parts.append(
            f"{_names([row['option']])} {what.verb} {word}, {what.shown(row)}{words}"
            + (f" (not distinguishable at 95 %: {_names(others)})" if others else "")
        )
    return "; ".join(parts)


def _unseen(rows: Sequence[Row]) -> str:
    shares = [
        (row["unseen_share_of_fault_energy"], row["option"])
        for row in rows
        if not math.isnan(row["unseen_share_of_fault_energy"])
    ]
    if not shares:
        return ""
    (low, one), (high, other) = min(shares), max(shares)
    span = f"{percent(low)} with {_names([one])}"
    span += f" to {percent(high)} with {_names([other])}" if high > low else ""
    return f"; about {span} of it in faults that the differential does not see"


def _both(rows: Sequence[Row], signs: Signs) -> Iterator[str]:
    """Options that burn more without missing fewer; else that the two go against each other."""
    names = [row["option"] for row in rows]
    worse = []
    for one in names:
        over = [
            other
            for other in names
            if signs[one, other, BURNT.name] > 0 and signs[one, other, MISSED.name] >= 0
        ]
        if over:
            worse.append(f"{_names([one])} burns more than {_names(over)}")
    if worse:
        yield f"{'; '.join(worse)}, without missing fewer faults as far as the intervals show."
    elif len(rows) > 1:
        yield (
            "As far as the intervals show, no option burns more than another without missing fewer"
            " faults."
        )


def _at_the_terminals(rows: Sequence[Row]) -> str:
    current = "terminal_fault_a_median"
    least, most = (pick(rows, key=lambda row: row[current]) for pick in (min, max))
    each = [f"{row[current]:.3g} A with {_names([row['option']])}" for row in (least, most)]
    low = min(row["terminal_displacement_p05"] for row in rows)
    high = max(row["terminal_displacement_p95"] for row in rows)
    return (
        f"A solid fault at the terminals drives {each[0]} to {each[1]} (medians) and lifts the"
        f" neutral to between {low:.3g} and {high:.3g} times rated phase voltage (5 to 95 % of the"
        " samples)."
    )


def _rule(rows: Sequence[Row]) -> str:
    limit = rows[0]["capacitive_limit_ohm"]
    if math.isinf(limit):
        return "No capacitance is given, so the rule R_N <= 1/(3wC) says nothing"
    broken = [
        f"{_names([row['option']])} ({row['neutrals_ohm']:.4g} ohm)"
        for row in rows
        if not row["keeps_capacitive_rule"]
    ]
    rule = f"R_N <= 1/(3wC) = {limit:.4g} ohm"
    return f"{rule} is not kept by {listed(broken)}" if broken else f"Every option keeps {rule}"


def _rating(rows: Sequence[Row]) -> str:
    shares = {row["option"]: row["beyond_rating_share"] for row in rows}
    if all(map(math.isnan, shares.values())):
        return ""
    over = [
        f"{percent(share)} with {_names([name])}" for name, share in shares.items() if share > 0
    ]
    if over:
        return (
            f"the resistor takes more heat than its rating I^2 t in {listed(over)} of the sampled"
            " earth faults"
        )
    return "no sampled earth fault heats a resistor beyond its rating I^2 t"
