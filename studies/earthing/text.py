"""What a comparison of earthing options says on the terminal: two lines an option, and what the
intervals show."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from montecarlo.quantities.wording import listed
from studies.report.blocks import Block, Table, items, paragraphs
from studies.report.notes import sentences_of_all
from studies.report.numbers import NONE_SEEN, bare, cell, cost_with_limits, percent, with_limits
from studies.report.words import scheme_name, setting_text
from studies.sweep.closest import closest_of_each
from studies.sweep.doubts import of_each
from studies.sweep.text import SHARES

if TYPE_CHECKING:
    import pandas as pd

    from studies.earthing.frames import Options

__all__ = ["conclusion", "earthing_text"]

Row = Mapping[str, Any]
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
    """What a finished comparison says."""
    rows = options.table.to_dict("records")
    settings = _settings(rows, len(options.study.scheme.kinds) > 1)
    return [
        _found(rows),
        *items(settings),
        _burnt(rows),
        *paragraphs(
            " ".join(conclusion(rows, options.differences)),
            _costs(options, rows),
            ENERGIES,
            *closest_of_each(options.results),
        ),
        *of_each(options.doubts),
        *items(_notes(sentences_of_all(options.results))),
    ]


def _costs(options: Options, rows: Sequence[Row]) -> str:
    """Empty where the policy weighs none."""
    if (cost := options.study.policy.least_annual_cost) is None:
        return ""
    each = [
        f'"{row["option"]}" {cost_with_limits(row, cost.unit)}'
        for row in rows
        if not math.isnan(row["cost_per_year"])
    ]
    return f"Missed faults and false trips cost: {'; '.join(each)}." if each else ""


def _notes(told: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """What every option tells alike, and where the rest stands; told: the options by sentence."""
    options = set[str]().union(*told.values())
    alike = [sentence for sentence, names in told.items() if len(names) == len(options)]
    yield from alike
    if len(alike) < len(told):
        yield ELSEWHERE


def _names(names: Sequence[str]) -> str:
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
        covered = [bare(row[f"covered_{word}"], 3) for word in ("median", "p05", "p95")]
        cells.append((row["option"], *shares, "{} ({}-{})".format(*covered)))
    notes = [
        "each at its best setting under the policy, on the same fresh plants and events",
        f"{SHARES}; (95 % limits)",
        "covered: median (5-95 % of the sampled earth faults)",
    ]
    if any(row["p_false"] == 0 for row in rows):
        notes.append(NONE_SEEN)
    head = ("option", "missed %", "false %", "winding covered %")
    return Table(head, tuple(cells), "<>>>", notes=tuple(notes))


def _settings(rows: Sequence[Row], several: bool) -> tuple[str, ...]:
    """The best setting of each option; `several`: schemes."""
    return tuple(
        f"{row['option']}: {scheme_name(row['scheme']) + ', ' if several else ''}"
        f"{setting_text(row)}"
        for row in rows
        if not math.isnan(row["p_missed"])
    )


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
        signs = _Signs(differences)
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

    def of(self, row: Row) -> str:
        if self.name == "p_missed":
            return with_limits(row, "p_missed", 3)
        return _energy(row, self.name)


MISSED = _Quantity("p_missed", "p_missed", "misses", "of the internal faults within reach")
BURNT = _Quantity("fault_energy_j", "fault_energy_j_mean", "burns", "on average in an earth fault")


class _Signs:
    """Which of two options has the larger value, as far as the paired differences show."""

    def __init__(self, differences: pd.DataFrame) -> None:
        self._rows = {
            (row["option"], row["minus"], row["quantity"]): row
            for row in differences.to_dict("records")
        }

    def of(self, one: str, other: str, quantity: str) -> int:
        """1: `one` has more than `other`, -1: less, 0: not distinguishable."""
        if (row := self._rows.get((one, other, quantity))) is not None:
            return int(row["low"] > 0) - int(row["high"] < 0)
        row = self._rows.get((other, one, quantity))
        return 0 if row is None else int(row["high"] < 0) - int(row["low"] > 0)

    def like(self, one: str, others: Sequence[Row], quantity: str) -> list[str]:
        """The options that are not distinguishable from `one`."""
        return [
            row["option"]
            for row in others
            if row["option"] != one and self.of(one, row["option"], quantity) == 0
        ]


def _least_and_most(rows: Sequence[Row], signs: _Signs, what: _Quantity) -> str:
    least, most = (pick(rows, key=lambda row: row[what.column]) for pick in (min, max))
    equal = signs.like(least["option"], rows, what.name)
    if len(equal) == len(rows) - 1:
        alone = f"{_names([least['option']])} {what.verb} {what.of(least)} {what.words}"
        return alone + (", and no option is distinguishable from it at 95 %" if equal else "")
    parts = []
    for row, word, words in ((least, "least", f" {what.words}"), (most, "most", "")):
        alike = signs.like(row["option"], rows, what.name)
        parts.append(
            f"{_names([row['option']])} {what.verb} {word}, {what.of(row)}{words}"
            + (f" (not distinguishable at 95 %: {_names(alike)})" if alike else "")
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


def _both(rows: Sequence[Row], signs: _Signs) -> Iterator[str]:
    """Options that burn more without missing fewer; else that the two go against each other."""
    worse = {}
    for row in rows:
        over = [
            other["option"]
            for other in rows
            if signs.of(row["option"], other["option"], "fault_energy_j") > 0
            and signs.of(row["option"], other["option"], "p_missed") >= 0
        ]
        if over:
            worse[row["option"]] = over
    if worse:
        texts = [f"{_names([one])} burns more than {_names(over)}" for one, over in worse.items()]
        yield f"{'; '.join(texts)}, without missing fewer faults as far as the intervals show."
    elif len(rows) > 1:
        yield (
            "As far as the intervals show, no option burns more than another without missing fewer"
            " faults."
        )


def _at_the_terminals(rows: Sequence[Row]) -> str:
    least, most = (
        pick(rows, key=lambda row: row["terminal_fault_a_median"]) for pick in (min, max)
    )
    each = [
        f"{row['terminal_fault_a_median']:.3g} A with {_names([row['option']])}"
        for row in (least, most)
    ]
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
    rated = [row for row in rows if not math.isnan(row["beyond_rating_share"])]
    if not rated:
        return ""
    over = [
        f"{percent(row['beyond_rating_share'])} with {_names([row['option']])}"
        for row in rated
        if row["beyond_rating_share"] > 0
    ]
    if over:
        return (
            f"the resistor takes more heat than its rating I^2 t in {listed(over)} of the sampled"
            " earth faults"
        )
    return "no sampled earth fault heats a resistor beyond its rating I^2 t"
