"""What a comparison of two runs says: inputs, choices, figures, and what differs significantly."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.limits import with_limits
from montecarlo.quantities.wording import listed
from studies.compare.estimates import COST, FALSE, MISSED, PROTECTED, Compared
from studies.compare.read import Side
from studies.report.blocks import (
    Block,
    Caution,
    Heading,
    Lead,
    Paragraph,
    Section,
    Table,
    items,
)
from studies.report.numbers import amount, digits_of, plain
from studies.report.words import VERDICTS, figure_name, plural, scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

NOTHING = "-"
MOST_KEYS = 12  # shown on a terminal
LONG = 120  # characters of a value on a terminal
LEVEL = 0.95  # of every limit in the tables
UNKNOWN = "not known"
KEYS, CHOICES, SETTINGS, EFFECTS = (  # tables
    f"compared_{name}" for name in ("keys", "choices", "settings", "effects")
)
SHARES = (MISSED, FALSE, PROTECTED)  # shown in per cent
HEAD = ("quantity", "run", "value", "95 % limits", "")


class Runs(NamedTuple):
    """What the text is about."""

    sides: tuple[Side, Side]
    keys: pd.DataFrame
    policies: tuple[str, str]
    found: Compared
    same: bool


def sections(runs: Runs, *, page: bool = False) -> list[Section]:
    """All but the first sentences, for a terminal or for a page."""
    found = runs.found
    parts = {
        "Runs": _runs(runs.sides),
        "Inputs that differ": _keys(runs.keys, page=page),
        "Choice": _choice(runs),
        "Figures of the choice": _choices(found.choices, page=page),
        "Settings that both runs have": _settings(found),
        "Effects of inputs": _effects(found.effects),
        "How to read the limits": _limits(runs),
    }
    made = [Section(heading, list(blocks)) for heading, blocks in parts.items()]
    return [section for section in made if section.blocks]


def first(runs: Runs) -> list[Block]:
    """The result in a few sentences."""
    return [Lead(tuple(_first(runs)))]


def _first(runs: Runs) -> Iterator[str]:
    count, choices = len(runs.keys), runs.found.choices
    verb = "differs" if count == 1 else "differ"
    yield f"{count} {plural('key', count)} of the inputs {verb}." if count else "No key differs."
    if runs.same:
        yield "Both runs hold the same figures."
        return
    pairs = choices.drop_duplicates("name")
    alike = sum(_setting(row, "a") == _setting(row, "b") for row in pairs.to_dict("records"))
    apart = choices[choices["verdict"] == Verdict.APART]
    if not len(pairs):
        yield "No choice is made in both runs."
    elif len(pairs) == 1:
        yield "Both runs choose the same setting." if alike else "The choices differ."
        names = [_name(quantity).partition(",")[0] for quantity in apart["quantity"]]
        if names:
            yield f"Figures with a significant difference: {listed(names)}."
        else:
            yield f"Figures of the choice: {VERDICTS[Verdict.ALIKE]}."
    else:
        yield f"{alike} of {len(pairs)} choices are the same setting."
        yield f"{apart['name'].nunique()} of {len(pairs)} differ significantly in some figure."


def _name(quantity: str) -> str:
    """With what it is counted in."""
    return figure_name(quantity, "%") + (", %" if quantity == PROTECTED else "")


# --- inputs and choice --------------------------------------------------------


def _runs(sides: Sequence[Side]) -> Iterator[Block]:
    for side in sides:
        record = side.record
        rows = (
            ("folder", str(side.results.folder)),
            ("study", record["study_title"]),
            ("seed", str(record["seed"])),
            ("digest", record["study_digest"][:16]),
            ("version", record["version"]),
            ("finished", str(record.get("finished_utc", NOTHING))),
        )
        yield Table((), rows, "<<", f"Run {side.name}")


def _keys(keys: pd.DataFrame, *, page: bool) -> Iterator[Block]:
    rows = list(keys.itertuples(index=False, name=None))
    if not rows:
        yield Paragraph("None.")
    elif page:
        yield Table(
            ("key", "A", "B"), tuple(rows), "<<<", notes=(f"{KEYS}.csv",), widths=(30, 35, 35)
        )
    else:
        cells = [
            (key, run, _short(value))
            for key, *values in rows[:MOST_KEYS]
            for run, value in zip("AB", values, strict=True)
        ]
        more = len(rows) - MOST_KEYS
        rest = f"{more} more {plural('key', more)}; all" if more > 0 else "All"
        yield Table((), tuple(cells), "<<<", notes=(f"{rest} in {KEYS}.csv.",), group=0)


def _short(text: str) -> str:
    return text if len(text) <= LONG else f"{text[: LONG - 4]} ..."


def _choice(runs: Runs) -> Iterator[Block]:
    """Setting and policy of each run; what is the same in both stands once."""
    named = runs.found.choices.drop_duplicates("name").to_dict("records")
    pairs = [(row["name"] or "setting", _setting(row, "a"), _setting(row, "b")) for row in named]
    pairs.append(("policy", *runs.policies))
    rows: list[tuple[str, ...]] = []
    for name, one, other in pairs:
        rows += [(name, "both", one)] if one == other else [(name, "A", one), (name, "B", other)]
    yield Table((), tuple(rows), "<<<", group=0)
    for run, names in runs.found.without.items():
        other = "B" if run == "A" else "A"
        if names == ("",):
            yield Paragraph(f"Only run {run} chooses a setting; run {other} chooses none.")
        elif names:
            quoted = listed(f'"{name}"' for name in names)
            yield Paragraph(f"Only run {run} has a choice of {quoted}.")


def _setting(row: Mapping[str, Any], run: str) -> str:
    own = {key.removesuffix(f"_{run}"): value for key, value in row.items()}
    return f"no. {own['candidate']:.0f}, {scheme_name(own['scheme'])}: {setting_text(own)}"


# --- figures ------------------------------------------------------------------


def _choices(choices: pd.DataFrame, *, page: bool) -> Iterator[Block]:
    for name, rows in choices.groupby("name", sort=False):
        yield from [Heading(str(name))] if name else []
        yield _wide(rows) if page else _narrow(rows)


def _narrow(rows: pd.DataFrame) -> Table:
    """Three lines a quantity."""
    cells = [cell for row in rows.to_dict("records") for cell in _lines(row)]
    return Table(HEAD, tuple(cells), "<<>><", group=0)


def _lines(row: Mapping[str, Any]) -> Iterator[tuple[str, ...]]:
    name = _name(row["quantity"])
    for run in "AB":
        yield name, run, *_estimate(row, run.lower()), ""
    yield name, "B minus A", *_gap(row), _verdict(row)


def _wide(rows: pd.DataFrame) -> Table:
    """A line a quantity."""
    cells = []
    for row in rows.to_dict("records"):
        lines = list(_lines(row))
        values = [_with_limits(value, limits) for _, _, value, limits, _ in lines]
        cells.append((lines[0][0], *values, _verdict(row)))
    return Table(("quantity", "A", "B", "B minus A", ""), tuple(cells), "<>>><")


def _with_limits(value: str, limits: str) -> str:
    return UNKNOWN if value == UNKNOWN else f"{value} ({limits})"


def _estimate(row: Mapping[str, Any], run: str) -> tuple[str, str]:
    """A figure of a run, and its limits."""
    quantity = row["quantity"]
    values = [_scale(quantity) * row[name] for name in with_limits(run)]
    if quantity == COST:
        value, *limits = map(amount, values)
    else:
        value, *limits = (plain(value, digits_of(quantity)) for value in values)
    return _known(values[0], value), _known(values[1], " to ".join(limits))


def _gap(row: Mapping[str, Any]) -> tuple[str, str]:
    """B minus A and its limits, in percentage points or in the unit of the quantity."""
    values = [_scale(row["quantity"]) * row[key] for key in ("difference", "low", "high")]
    value, *limits = (amount(value, "+") for value in values)
    return _known(values[0], value), _known(values[1], " to ".join(limits))


def _scale(quantity: str) -> float:
    return 100 if quantity in SHARES else 1


def _known(value: float, text: str) -> str:
    return UNKNOWN if math.isnan(value) else text


def _verdict(row: Mapping[str, Any]) -> str:
    return VERDICTS[row["verdict"]] if row["verdict"] else ""


def _settings(found: Compared) -> Iterator[Block]:
    """How many of the shared settings differ, quantity by quantity."""
    settings = found.settings
    count = len(settings.drop_duplicates(["name", "candidate_a"]))
    if not count:
        yield Paragraph("None.")
        return
    rows = []
    for quantity, own in settings.groupby("quantity", sort=False):
        judged = own[own["verdict"] != ""]
        apart = judged[judged["verdict"] == Verdict.APART]
        if len(judged):
            most = apart.loc[apart["difference"].abs().idxmax()] if len(apart) else None
            where = NOTHING if most is None else f"no. {most['candidate_a']:.0f}"
            gap = NOTHING if most is None else _gap(most)[0]
            rows.append((_name(str(quantity)), str(len(judged)), str(len(apart)), gap, where))
    head = ("quantity", "settings", "differ", "most", "in A")
    yield Table(head, tuple(rows), "<>>><", notes=(f"All {count} settings in {SETTINGS}.csv.",))
    if (settings["verdict"] == Verdict.ITSELF).any():
        return
    yield Paragraph(
        "Differ: the limits of B minus A leave 0 out. Chance alone makes about"
        f" {(1 - LEVEL) * count:.0f} of {count} settings differ."
    )


def _effects(effects: pd.DataFrame) -> Iterator[Block]:
    if not len(effects):
        return
    judged = effects[effects["verdict"] != ""]
    apart = judged[judged["verdict"] == Verdict.APART]
    yield Paragraph(
        f"{len(apart)} of {len(judged)} effects differ significantly; chance alone makes about"
        f" {(1 - LEVEL) * len(judged):.0f} of them differ. Each run has those of its own setting."
        f" All in {EFFECTS}.csv."
    )
    most = apart.loc[apart["difference"].abs().sort_values(ascending=False).index].head(MOST_KEYS)
    yield from items(map(_effect, most.to_dict("records")))


def _effect(row: Mapping[str, Any]) -> str:
    low, high = row["low"], row["high"]
    gap = f"{row['difference']:+.2g} ({low:+.2g} to {high:+.2g})"
    name = f"{row['name']}, {row['quantity'].replace('_', ' ')}"
    return f"{name}: A {row['a']:.2g}, B {row['b']:.2g}, B minus A {gap}."


# --- limits -------------------------------------------------------------------


def _limits(runs: Runs) -> Iterator[Block]:
    one, other = (side.record for side in runs.sides)
    if runs.same:
        yield Paragraph("Both runs hold the same samples, so that no figure can differ.")
        return
    yield Paragraph(
        "Limits of a difference come from the limits of both figures. The two runs count as"
        " independent. Each difference has 95 % limits of its own."
    )
    if one["seed"] == other["seed"]:
        samples = one.get("samples") == other.get("samples")
        yield Caution(
            f"Both runs used seed {one['seed']}"
            + (" and the same numbers of samples." if samples else ".")
            + " Their sampling errors are partly the same, which the tables do not show. True"
            " differences are then likely to be better known than these limits say."
        )
