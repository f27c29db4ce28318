"""What a comparison of earthing options says: the answer first, two tables, and what the intervals
show."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from montecarlo.engine.clearing import wanted
from montecarlo.quantities.wording import listed
from montecarlo.study.budget import too_few
from montecarlo.study.event_cautions import too_few_words
from studies.earthing.answer import (
    ENERGY,
    MISSED,
    Quantity,
    Row,
    Signs,
    alike,
    energy,
    names,
    setting_words,
    signs_of,
    with_setting,
)
from studies.earthing.decision import DAMAGE, NOBODY, best_of, lead, owners_tables
from studies.earthing.radius import best_unless, radius_notes
from studies.report.blocks import Block, Lead, Section, Table, items, paragraphs
from studies.report.catalogue import NOTES
from studies.report.notes import is_computed, move_sentences, sentence, unresolved_sentence
from studies.report.numbers import NONE_SEEN, bare, cell, cost_with_limits, percent
from studies.report.safety import REVIEW
from studies.sweep.closest import closest_of_each
from studies.sweep.delay import delay_text
from studies.sweep.doubts import cautions, of_each, to_note
from studies.sweep.text import SHARES

if TYPE_CHECKING:
    from montecarlo.engine.clearing_radius import BestOption
    from montecarlo.engine.run import Note
    from montecarlo.study.description import Study
    from studies.earthing.frames import Options

ENERGIES = (
    "The energy in the fault is I^2 R_f over its time: 0 in a bolted fault. It holds for the fault"
    " resistances and times that the study states, and if all parts work. The intervals do not"
    " include their uncertainty."
)
EACH = "Each option at its best setting"
ELSEWHERE = (
    "Notes of single options (solutions, weighted samples, rejected candidates) stand in"
    " provenance.json."
)


def earthing_text(options: Options, radius: BestOption | None = None) -> list[Block]:
    """What a finished comparison says.

    Parameters
    ----------
    options : Options
    radius : BestOption, optional
        What would make another option the best.

    Returns
    -------
    list of Block
    """
    rows = options.table.to_dict("records")
    chosen = [row for row in rows if row["scheme"]]
    signs, doubts = signs_of(options.differences), of_each(options.doubts)
    each = [
        _found(rows),
        *items(f"{row['option']}: {setting_words(options.study, row)}" for row in chosen),
        _energies(rows),
        *items(further(options.study, rows, signs)),
        *paragraphs(_costs(options, chosen), ENERGIES),
        *closest_of_each(options.results),
    ]
    return [
        Lead(
            (
                *lead(options.study, rows, signs),
                *best_unless(options.study, radius),
                *_last(options, rows),
            )
        ),
        *cautions(doubts),
        *(owner := owners_tables(options.study, rows)),
        *([Section(EACH, each)] if owner else each),
        Section(NOTES, [*to_note(doubts), *items(_notes(options, radius))]),
    ]


def _costs(options: Options, chosen: Sequence[Row]) -> str:
    """Empty where the policy weighs none."""
    cost = options.study.policy.least_annual_cost
    if cost is None or not chosen:
        return ""
    each = [f'"{row["option"]}" {cost_with_limits(row, cost.unit)}.' for row in chosen]
    return f"Cost of missed faults and false trips: {' '.join(each)}"


def _notes(options: Options, radius: BestOption | None) -> Iterator[str]:
    """Notes that all options share, and where the rest stands."""
    yield from move_sentences(options.study)
    yield from (sentence(note) for note in _shared(options) if not is_computed(note))
    yield from map(too_few_words, too_few(options.study))
    yield from radius_notes(radius)
    yield unresolved_sentence(options.unresolved_rows)
    every = [len(outcome.notes) for outcome in options.alternatives.outcomes.values()]
    if max(every) > len(_shared(options)):
        yield ELSEWHERE


def computed(options: Options) -> list[str]:
    """How all options were computed."""
    return [sentence(note) for note in _shared(options) if is_computed(note)]


def _shared(options: Options) -> list[Note]:
    """The notes of a run that all options have."""
    notes = [outcome.notes for outcome in options.alternatives.outcomes.values()]
    return [note for note in notes[0] if all(note in others for others in notes)]


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
        "each at its best setting under the policy, all on the same independent sample",
        f"{SHARES}; (95 % limits)",
        "protected winding: median (5th to 95th percentile of the sampled earth faults)",
    ]
    if any(row["p_false"] == 0 for row in rows):
        notes.append(NONE_SEEN)
    head = ("option", "missed %", "false %", "protected winding %")
    return Table(head, tuple(cells), "<>>>", notes=tuple(notes))


def _energies(rows: Sequence[Row]) -> Table:
    cells = []
    for row in rows:
        current = [f"{row[f'terminal_fault_a_{word}']:.3g}" for word in ("median", "p05", "p95")]
        energies = [
            "-" if math.isnan(row[f"{name}_mean"]) else energy(row, name, "-")
            for name in ("fault_energy_j", "resistor_energy_j")
        ]
        cells.append((row["option"], "{} ({}-{})".format(*current), *energies))
    head = ("option", "terminal fault A", "energy, fault", "energy, resistor")
    notes = (
        "terminal fault: at the terminals, without resistance, median (5th to 95th percentile)",
        "energy in the fault and in the resistor: mean of the sampled earth faults (95 % limits)",
    )
    return Table(head, tuple(cells), "<>>>", notes=notes)


# --- sentences ----------------------------------------------------------------


def _last(options: Options, rows: Sequence[Row]) -> Iterator[str]:
    """What a delay buys in the option that the answer names, and who must approve what is
    chosen."""
    if (best := best_of(options.study, rows)) is not None:
        yield from delay_text(options.results[best["option"]])
        yield REVIEW


def further(study: Study, rows: Sequence[Row], signs: Signs) -> Iterator[str]:
    """What else the numbers say of the options; nothing that an interval does not show."""
    standing = with_setting(rows)
    if len(standing) > 1:
        for what in _most(study):
            most = max(standing, key=lambda row: row[what.column])
            yield from _extreme(most, standing, signs, what, what.most)
        low, high = (pick(standing, key=lambda row: row[ENERGY.column]) for pick in (min, max))
        yield from _extreme(low, standing, signs, ENERGY, ENERGY.least)
        yield from _extreme(high, standing, signs, ENERGY, ENERGY.most)
        yield from _both(standing, signs)
    yield from _unseen(standing)
    if without := [row["option"] for row in rows if math.isnan(row["p_missed"])]:
        yield (
            f"No setting can be chosen with {names(without)}; candidates.csv gives the reasons."
            " No energy is given for these, and the closest setting stands below."
        )
    yield from _at_the_terminals(rows)
    yield _rule(rows)
    yield from _rating(study, rows)


def _most(study: Study) -> Iterator[Quantity]:
    """Of which the option that has most is named."""
    yield MISSED
    if wanted(study):
        yield NOBODY
    if study.damage is not None:
        yield DAMAGE


def _extreme(
    row: Row, rows: Sequence[Row], signs: Signs, what: Quantity, head: str
) -> Iterator[str]:
    """The option with the least or the most, and those that do not differ from it."""
    same = alike(row, rows, signs, what)
    yield f"{head}: {names([row['option']])}, {what.shown(row)}{what.words}.{same}"


def _unseen(rows: Sequence[Row]) -> Iterator[str]:
    shares = [
        (row["unseen_share_of_fault_energy"], row["option"])
        for row in rows
        if not math.isnan(row["unseen_share_of_fault_energy"])
    ]
    if not shares:
        return
    (low, one), (high, other) = min(shares), max(shares)
    span = f"{percent(low)} with {names([one])}"
    span += f" to {percent(high)} with {names([other])}" if high > low else ""
    yield f"Part of the energy from faults that the differential scheme does not detect: {span}."


def _both(rows: Sequence[Row], signs: Signs) -> Iterator[str]:
    """Options with more energy that miss no fewer; else that the two go against each other."""
    every = [row["option"] for row in rows]
    worse = False
    for one in every:
        over = [
            other
            for other in every
            if signs[one, other, ENERGY.name] > 0 and signs[one, other, MISSED.name] >= 0
        ]
        if over:
            worse = True
            yield (
                f"With {names([one])} a fault has more energy than with {names(over)}, and missed"
                " faults are not significantly fewer."
            )
    if not worse:
        yield "Every option with significantly more energy misses significantly fewer faults."


def _at_the_terminals(rows: Sequence[Row]) -> Iterator[str]:
    current = "terminal_fault_a_median"
    least, most = (pick(rows, key=lambda row: row[current]) for pick in (min, max))
    one, other = (f"{row[current]:.3g} A with {names([row['option']])}" for row in (least, most))
    low = min(row["terminal_displacement_p05"] for row in rows)
    high = max(row["terminal_displacement_p95"] for row in rows)
    yield f"Median current of a solid fault at the terminals: {one} to {other}."
    yield (
        f"The neutral is then displaced by {low:.3g} to {high:.3g} times rated phase voltage (5th"
        " to 95th percentile)."
    )


def _rule(rows: Sequence[Row]) -> str:
    limit = rows[0]["capacitive_limit_ohm"]
    if math.isinf(limit):
        return "No capacitance is given, so the rule R_N <= 1/(3wC) is not checked."
    broken = [
        f"{names([row['option']])} ({_largest(row)})"
        for row in rows
        if not row["keeps_capacitive_rule"]
    ]
    rule = f"R_N <= 1/(3wC) = {limit:.4g} ohm"
    return f"{listed(broken)} does not keep {rule}." if broken else f"Every option keeps {rule}."


def _largest(row: Row) -> str:
    """The neutral's resistance that the rule is asked of."""
    after = " after the trip" if row["largest_neutrals_ohm"] > row["neutrals_ohm"] else ""
    return f"{row['largest_neutrals_ohm']:.4g} ohm{after}"


def _rating(study: Study, rows: Sequence[Row]) -> Iterator[str]:
    shares = {row["option"]: row["beyond_rating_share"] for row in rows}
    if all(map(math.isnan, shares.values())):
        return
    sound = "" if study.dependability is None else ", if all parts work"
    over = [f"{percent(share)} with {names([name])}" for name, share in shares.items() if share > 0]
    if over:
        yield f"Earth faults that heat the resistor beyond its rating I^2 t: {listed(over)}{sound}."
    else:
        yield f"No sampled earth fault heats a resistor beyond its rating I^2 t{sound}."
