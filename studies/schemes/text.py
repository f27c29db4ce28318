"""What a comparison of schemes says on the terminal: a line a scheme, and what the intervals show,
in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.doubts import doubts_of
from montecarlo.quantities.wording import listed
from studies.report.look import percent, with_limits
from studies.report.money import amount, cost_cell, cost_with_limits
from studies.report.notes import sentences
from studies.report.text import paragraph, table
from studies.report.words import SAME, scheme_name, setting_text
from studies.schemes.frames import ALL_TYPES
from studies.sweep.closest import closest_text
from studies.sweep.doubts import of_each

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result

__all__ = ["conclusion", "scheme_text"]

Row = Mapping[str, Any]


def scheme_text(
    result: Result, schemes: pd.DataFrame, differences: pd.DataFrame, caught: pd.DataFrame
) -> list[str]:
    """Lines of at most 100 columns."""
    lines, cost = _table(schemes), result.study.policy.least_annual_cost
    standing = bool(schemes["has_best"].any())
    if standing:
        lines += [
            (
                "  each scheme at its best setting under the policy, all on the same fresh plants"
                " and events"
            ),
            (
                "  missed: % of the internal faults within reach; false: % of the external events;"
                " (95 % limits)"
            ),
        ]
    if standing and "p_nobody" in schemes:
        lines += [
            "  nobody: % of the internal faults within reach that the back-up does not catch either"
        ]
    if (schemes["p_false"] == 0).any():
        lines += ["  none (< x): none seen, fewer than x %"]
    if standing and cost is not None:
        lines += paragraph(f"cost: {cost.unit} a year; (95 % limits)", "  ")
    lines += [
        "",
        *paragraph(
            " ".join(conclusion(None if cost is None else cost.unit, schemes, differences, caught))
        ),
    ]
    if len(differences):
        units = "in percentage points" + (
            f", of cost in {cost.unit} a year" if cost is not None else ""
        )
        lines += paragraph(
            f"Differences are paired, {units}; their 95 % limits hold for all pairs together."
        )
    for text in (*closest_text(result.study, result.closest), *_doubts(result, schemes)):
        lines += paragraph(text)
    for sentence in sentences(result):
        lines += paragraph(sentence, "- ", "  ")
    return lines


def _doubts(result: Result, schemes: pd.DataFrame) -> Iterator[str]:
    """What speaks against the best setting of each scheme."""
    best = {
        scheme: setting for scheme, setting in result.outcome.best.items() if setting is not None
    }
    numbers = schemes.set_index("scheme")["candidate"]
    return of_each(
        {
            scheme_name(scheme): (int(numbers[scheme]), doubts_of(result.outcome, setting))
            for scheme, setting in best.items()
        }
    )


# --- the table ----------------------------------------------------------------


def _table(schemes: pd.DataFrame) -> list[str]:
    backup = "p_nobody" in schemes
    head = [
        "",
        "no.",
        "scheme",
        "missed %",
        "false %",
        *(["nobody %"] if backup else []),
        *(["cost"] if "cost_per_year" in schemes else []),
    ]
    rows, settings = [], []
    for row in schemes.to_dict("records"):
        if not row["has_best"]:
            rows.append(["", "-", row["scheme"], *["-"] * (len(head) - 3)])
            continue
        false = (
            f"none (< {_bare(row['p_false_high'])})"
            if row["p_false"] == 0
            else _with_limits(row, "p_false", 2)
        )
        rows.append(
            [
                "chosen" if row["chosen"] else "",
                str(row["candidate"]),
                row["scheme"],
                _with_limits(row, "p_missed", 3),
                false,
                *([_with_limits(row, "p_nobody", 3)] if backup else []),
                *([cost_cell(row)] if "cost_per_year" in schemes else []),
            ]
        )
        settings += paragraph(f"no. {row['candidate']}: {setting_text(row)}", "  ", "      ")
    return [*table(head, rows, "<><" + ">" * (len(head) - 3), ""), *settings]


def _bare(p: float, digits: int = 2) -> str:
    return percent(p, digits).removesuffix(" %")


def _with_limits(row: Row, name: str, digits: int) -> str:
    p, low, high = (_bare(row[f"{name}{end}"], digits) for end in ("", "_low", "_high"))
    return f"{p} ({low}-{high})"


# --- sentences ----------------------------------------------------------------


def conclusion(
    unit: str | None, schemes: pd.DataFrame, differences: pd.DataFrame, caught: pd.DataFrame
) -> list[str]:
    """Three to six sentences where at least two schemes have a setting to stand for them; `unit` of
    costs where the policy weighs these."""
    standing = schemes[schemes["has_best"]]
    sentences = [_none(row) for row in schemes[~schemes["has_best"]].to_dict("records")]
    if not len(standing):
        return ["No scheme has a setting that the policy allows.", *sentences]
    aim = "p_missed" if unit is None else "cost_per_year"
    best = standing.sort_values(aim, kind="stable").iloc[0].to_dict()
    if len(standing) < 2:
        return [
            (
                f"Only {best['scheme']} has a setting that the policy allows; it misses "
                f"{with_limits(best, 'p_missed', 3)} of "
                "the internal faults within reach."
            ),
            *sentences,
        ]
    against = differences[differences["minus"] == best["scheme"]]
    found = [
        _least(best, against[against["quantity"] == aim], unit),
        _false(best, against),
        *_complement(best, caught),
    ]
    if "p_nobody" in standing:
        found.append(_with_backup(standing, differences))
    return [*found, *sentences]


def _none(row: Row) -> str:
    return f"No setting of {row['scheme']} can be chosen ({row['note']})."


def _least(best: Row, against: pd.DataFrame, unit: str | None) -> str:
    """Which scheme is best by the policy's aim, and from which others that can be told."""
    if unit is None:
        verb, plural, what = (
            "misses",
            "miss",
            f"{with_limits(best, 'p_missed', 3)} of the internal faults within reach",
        )
    else:
        verb, plural, what = "costs", "cost", cost_with_limits(best, unit)
    same, _, worse = _told_apart(
        against, 100 if unit is None else 1, "" if unit is None else f" {unit} a year"
    )
    text = (
        f"{best['scheme']} {verb} {what}; {SAME} from it: {listed(same)}."
        if same
        else (f"{best['scheme']} {verb} least, {what}.")
    )
    return f"{text} {listed(worse)} {verb if len(worse) == 1 else plural} more." if worse else text


def _told_apart(
    against: pd.DataFrame, scale: float = 100, unit: str = ""
) -> tuple[list[str], list[str], list[str]]:
    """Of the rows of one quantity, other schemes minus the best: those that are not distinguishable
    from it, those that are below it and those above it, with the difference; probabilities in
    percentage points."""
    rows = against.to_dict("records")
    same = [row["scheme"] for row in rows if row["verdict"] is Verdict.ALIKE]
    below, above = (
        [
            f"{row['scheme']} ({_gap(row, scale, unit)})"
            for row in rows
            if row["verdict"] is not Verdict.ALIKE and sign * row["difference"] > 0
        ]
        for sign in (-1, 1)
    )
    return same, below, above


def _gap(row: Row, scale: float, unit: str) -> str:
    gap, low, high = (amount(scale * row[name], "+") for name in ("difference", "low", "high"))
    return f"{gap}{unit}, {low} to {high}"


def _false(best: Row, against: pd.DataFrame) -> str:
    """In false trips: from which others the best can be told, and which way."""
    same, fewer, more = _told_apart(against[against["quantity"] == "p_false"])
    parts = [f"is {SAME} from {listed(same)}"] if same else []
    parts += [f"trips more often than {listed(fewer)}"] if fewer else []
    parts += [f"trips less often than {listed(more)}"] if more else []
    return f"In false trips {best['scheme']} {'; it '.join(parts)}."


def _complement(best: Row, caught: pd.DataFrame) -> Iterator[str]:
    """What the best misses and another catches most of, and the other way round."""
    every = caught[caught["type"] == ALL_TYPES]
    mine = every[every["missed_by"] == best["scheme"]].sort_values(
        ["p", "p_high"], ascending=False, kind="stable"
    )
    top = mine.iloc[0].to_dict()
    if top["p_low"] == 0:  # then the one that it tells least from is of interest
        yield (
            f"No more than {percent(float(mine['p_high'].max()))} of the internal faults are missed"
            f" by {best['scheme']} and caught by any one of the others."
        )
        least = (
            every[every["caught_by"] == best["scheme"]]
            .sort_values("p", kind="stable")
            .iloc[0]["missed_by"]
        )
    else:
        least = top["caught_by"]
        yield (
            f"Of the internal faults {with_limits(top, 'p', 3)} "
            f"are missed by {best['scheme']} and caught by {least}, "
            f"{_where(caught, top)}."
        )
    back = (
        every[(every["missed_by"] == least) & (every["caught_by"] == best["scheme"])]
        .iloc[0]
        .to_dict()
    )
    if back["p"]:
        yield (
            f"Missed by {least} and caught by {best['scheme']} are "
            f"{with_limits(back, 'p', 3)}, {_where(caught, back)}."
        )
    else:
        yield (
            f"None was seen that {least} misses and {best['scheme']} catches (fewer than"
            f" {percent(back['p_high'])})."
        )


def _where(caught: pd.DataFrame, pair: Row) -> str:
    """The fault type that brings the most of a pair, a year, by its own figure."""
    rows = caught[
        (caught["missed_by"] == pair["missed_by"])
        & (caught["caught_by"] == pair["caught_by"])
        & (caught["type"] != ALL_TYPES)
    ]
    most = rows.sort_values("per_year", ascending=False, kind="stable").iloc[0].to_dict()
    return f"among them {with_limits(most, 'p', 3)} of the {most['type'].replace('_', ' ')} faults"


def _with_backup(standing: pd.DataFrame, differences: pd.DataFrame) -> str:
    """What is left with the back-up, and which schemes can still be told apart."""
    ordered: Sequence[Row] = standing.sort_values("p_nobody", kind="stable").to_dict("records")
    best, worst = ordered[0], ordered[-1]
    rows = differences[
        (differences["quantity"] == "p_nobody") & (differences["minus"] == best["scheme"])
    ]
    same = [row["scheme"] for row in rows.to_dict("records") if row["verdict"] is Verdict.ALIKE]
    text = (
        "With the back-up in the neutral nobody catches "
        f"{with_limits(best, 'p_nobody', 3)} with {best['scheme']} and "
        f"{with_limits(worst, 'p_nobody', 3)} with {worst['scheme']}"
    )
    return f"{text}; {SAME} from the first: {listed(same)}." if same else f"{text}."
