"""What the owner decides on, where a study counts damage or asks who clears a fault: the answer by
that, and tables of all that the choice weighs."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from montecarlo.engine.clearing import wanted
from montecarlo.study.description import Study
from studies.clearing.criterion import CHOSEN_BY, decided_by
from studies.clearing.criterion import YEARLY as COST
from studies.clearing.several import zone_columns
from studies.earthing.answer import (
    MISSED,
    NO_OPTION,
    Quantity,
    Row,
    Signs,
    alike,
    answer,
    best_setting,
    names,
    with_setting,
)
from studies.report.blocks import Block, Table
from studies.report.numbers import (
    a_year,
    cell,
    percent,
    span,
    with_limits,
)
from studies.sweep.recommendation import kept, security

NOBODY = Quantity(
    "p_nobody",
    "p_nobody",
    "Fewest faults that nobody clears",
    "Most faults that nobody clears",
    " of the internal faults within the scheme's scope",
    lambda row: with_limits(row, "p_nobody"),
)
DAMAGE = Quantity(
    "damage_mean_s",
    "damage_mean_s",
    "Least mean damage",
    "Most mean damage",
    " of the reference current",
    lambda row: f"{span(row, 'damage_mean_s')} s",
)
YEARLY = Quantity(
    COST,
    COST,
    "Least total cost",
    "Most total cost",
    "",
    lambda row: span(row, COST),
)


ZONES = "share of the earth faults that end in each zone of damage, the worst last; (95 % limits)"


def criterion(study: Study) -> Quantity:
    """What the answer is decided by.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Quantity
    """
    every = (MISSED, NOBODY, DAMAGE, YEARLY)
    return next(one for one in every if one.column == decided_by(study))


def best_of(study: Study, rows: Sequence[Row]) -> Row | None:
    """The option that the answer names; None where none has a setting.

    Parameters
    ----------
    study : Study
    rows : sequence of mapping
        Of earthing_options.csv.

    Returns
    -------
    mapping or None
    """
    standing = standing_options(study, rows)
    column = criterion(study).column
    return min(standing, key=lambda row: row[column]) if standing else None


def standing_options(study: Study, rows: Sequence[Row]) -> list[Row]:
    """The options that the answer is sought among.

    Parameters
    ----------
    study : Study
    rows : sequence of mapping
        Of earthing_options.csv.

    Returns
    -------
    list of mapping
    """
    standing = with_setting(rows)
    if not wanted(study):
        return standing
    return [row for row in standing if not [*_against(row)]] or standing


def _against(row: Row) -> Iterator[str]:
    """What rules an option out, whatever its damage."""
    if not row["keeps_capacitive_rule"]:
        yield "R_N above 1/(3wC)"
    if row["beyond_rating_share"] > 0:
        share = percent(row["beyond_rating_share"])
        yield f"{share} of its earth faults heat the resistor beyond its rating"


def lead(study: Study, rows: Sequence[Row], signs: Signs) -> Iterator[str]:
    """The option of least cost, damage or faults that nobody clears, what clears faults there, and
    its setting.

    Parameters
    ----------
    study : Study
    rows : sequence of mapping
        Of earthing_options.csv.
    signs : Counter
        As of `signs_of`.

    Yields
    ------
    str
    """
    if not wanted(study):
        yield from answer(study, rows, signs)
        return
    standing, what, best = standing_options(study, rows), criterion(study), best_of(study, rows)
    if best is None:
        yield NO_OPTION
        return
    value = f", {_cost(study, best)}" if what is YEARLY else ""
    head = what.head(best, standing, signs)
    yield f"{head}: {names([best['option']])}{value}.{alike(best, standing, signs, what)}"
    yield from _harm(study, best)
    yield from _clears(study, best)
    yield from _fewest(standing, best, signs)
    yield from _left_out(rows)
    yield best_setting(study, best)
    yield from _in_vain(best)
    yield security(study, best)
    yield from kept(study, best)


def _harm(study: Study, row: Row) -> Iterator[str]:
    if study.damage is not None:
        after, nobody = row["damage_after_opening_share"], row["damage_nobody_share"]
        failed, why = row.get("damage_failed_share", math.nan), ""
        if not math.isnan(failed):
            unseen = percent(max(nobody - failed, 0.0))
            why = f": {unseen} as no path sees them, {percent(failed)} as parts have failed"
        yield (
            "An earth fault there does on average as much damage as"
            f" {study.damage.reference_a:g} A in {span(row, 'damage_mean_s')} s."
            f" {percent(after)} of that comes after the breaker has opened."
            f" {percent(nobody)} comes from faults that nobody clears{why}."
        )
        for column, zone in [*zone_columns(study).items()][-1:]:
            yield f'{with_limits(row, column)} of the earth faults end in "{zone}".'


def _clears(study: Study, row: Row) -> Iterator[str]:
    backup = "There is no neutral back-up"
    if study.backup is not None and study.backup.elements:
        backup = f"The neutral back-up clears {percent(row['p_backup'], 3)}"
    yield (
        f"The differential scheme alone misses {percent(row['p_missed'], 3)} of the internal faults"
        f" within its scope. {backup}. Nobody clears {with_limits(row, 'p_nobody')}."
    )


def _fewest(rows: Sequence[Row], best: Row, signs: Signs) -> Iterator[str]:
    """The option with fewer faults that nobody clears than the best one, if there is any."""
    least = min(rows, key=lambda row: row[NOBODY.column])
    if signs[best["option"], least["option"], NOBODY.name] > 0:
        yield f"{NOBODY.least}: {names([least['option']])}, {NOBODY.shown(least)}."


def _in_vain(row: Row) -> Iterator[str]:
    """That the scheme does nothing for earth faults, where that is so."""
    if row["protected_p95"] == 0:
        yield (
            "With this option no element of the scheme detects an earth fault, at whatever place."
            " Its setting decides on faults between phases alone."
        )


def _left_out(rows: Sequence[Row]) -> Iterator[str]:
    standing = with_setting(rows)
    against = {row["option"]: [*_against(row)] for row in standing}
    out = {name: why for name, why in against.items() if why}
    if out and len(out) == len(standing):
        yield (
            "No option keeps both R_N <= 1/(3wC) and its resistor's rating, so all are compared."
        )
        return
    for name, why in out.items():
        yield f"Left out of this answer: {names([name])}, {' and '.join(why)}."


def _cost(study: Study, row: Row) -> str:
    cost = study.policy.least_annual_cost
    return "" if cost is None else f"{span(row, COST)} {cost.unit} a year"


# --- the tables ---------------------------------------------------------------

Column = tuple[str, Callable[[Row], str], bool]  # its head, its cells, whether without a setting


def owners_tables(study: Study, rows: Sequence[Row]) -> list[Block]:
    """All that the choice weighs, a row an option; nothing where the study asks neither for damage
    nor for who clears faults, or where no option has a setting.

    Parameters
    ----------
    study : Study
    rows : sequence of mapping
        Of earthing_options.csv.

    Returns
    -------
    list of Block
    """
    if not wanted(study) or not with_setting(rows):
        return []
    found = [_table("Faults", rows, [*_of_faults(study)], [*_notes_of_faults(study)])]
    if zones := zone_columns(study):
        shown = [
            (f"{zone} %", partial(cell, name=column, digits=2), False)
            for column, zone in zones.items()
        ]
        found.append(_table("Where earth faults end", rows, shown, [ZONES]))
    rules = [*_of_rules(rows)]
    return [*found, _table("Rules and unwanted trips", rows, rules, [*_notes_of_rules(rows)])]


def _table(
    caption: str, rows: Sequence[Row], every: Sequence[Column], notes: Sequence[str]
) -> Table:
    body = []
    for row in rows:
        known = not math.isnan(row["p_missed"])
        body.append(
            (row["option"], *(show(row) if known or always else "-" for _, show, always in every))
        )
    head = ("option", *(words for words, _, _ in every))
    return Table(head, tuple(body), "<" + ">" * len(every), caption, notes=tuple(notes))


def _of_faults(study: Study) -> Iterator[Column]:
    yield "missed %", lambda row: cell(row, "p_missed", 3), False
    yield "nobody clears %", lambda row: cell(row, "p_nobody", 2), False
    if study.damage is not None:
        reference = f"{study.damage.reference_a:g} A"
        yield f"damage, s of {reference}", lambda row: span(row, DAMAGE.column, "-"), False
    if (cost := study.policy.least_annual_cost) is not None:
        yield f"total cost, {cost.unit} a year", lambda row: span(row, COST, "-"), False


def _notes_of_faults(study: Study) -> Iterator[str]:
    yield f"each at its {CHOSEN_BY}"
    yield (
        "missed: by the differential scheme alone if all its parts work; nobody clears: by no path,"
        " failures of parts included; of the internal faults in scope; (95 % limits)"
    )
    if study.damage is not None:
        yield (
            "damage: mean of the sampled earth faults, in seconds of a current of"
            f" {study.damage.reference_a:g} A that does as much"
        )
    if (cost := study.policy.least_annual_cost) is not None:
        damage = "damage" if cost.damage is not None else "damage (no cost given)"
        yield f"total cost: {damage}, faults that nobody clears, unwanted trips, tests"


def _of_rules(rows: Sequence[Row]) -> Iterator[Column]:
    yield "R_N rule", lambda row: "kept" if row["keeps_capacitive_rule"] else "not kept", True
    if _rated(rows):
        yield "beyond rating %", _rating, False
    yield "unwanted a year", _unwanted, False


def _notes_of_rules(rows: Sequence[Row]) -> Iterator[str]:
    yield "R_N rule: R_N <= 1/(3wC), against overvoltage at an arcing earth fault"
    if _rated(rows):
        yield "beyond rating: earth faults that heat the resistor beyond it, if all parts work"
    yield "unwanted: false trips on external events, and trips of the parts themselves"


def _rated(rows: Sequence[Row]) -> bool:
    return not all(math.isnan(row["beyond_rating_share"]) for row in rows)


def _rating(row: Row) -> str:
    share = row["beyond_rating_share"]
    return "not given" if math.isnan(share) else percent(share).removesuffix(" %")


def _unwanted(row: Row) -> str:
    return a_year(row["false_per_year"] + row["unwanted_per_year"], "false_per_year")
