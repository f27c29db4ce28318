"""What a comparison of two runs says: inputs, choices, figures, and what differs significantly."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.limits import with_limits
from montecarlo.quantities.wording import listed
from studies.compare.estimates import COST, FALSE, MISSED, PROTECTED, QUANTITIES, RATES, Compared
from studies.compare.read import Side
from studies.report.blocks import Block, Caution, Heading, Paragraph, Section, Table
from studies.report.numbers import amount, bare
from studies.report.words import VERDICTS, figure_name, scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

MOST_KEYS = 12  # shown on a terminal
LONG = 120  # characters of a value on a terminal
LEVEL = 0.95  # of every limit in the tables
UNKNOWN = "-"
KEYS, CHOICES, SETTINGS, EFFECTS = (  # tables
    f"compared_{name}" for name in ("keys", "choices", "settings", "effects")
)
HEAD = ("quantity", "run", "value", "95 % limits", "")


class Words(NamedTuple):
    """A quantity: its name with its unit, what its values are multiplied by, digits."""

    name: str
    scale: float
    digits: int


def _words(quantity: str, digits: int = 3) -> Words:
    shares = (MISSED, FALSE, PROTECTED)
    end = ", %" if quantity == PROTECTED else ""
    return Words(figure_name(quantity, "%") + end, 100 if quantity in shares else 1, digits)


DIGITS = {FALSE: 2, RATES[FALSE]: 2}
WORDS = {quantity: _words(quantity, DIGITS.get(quantity, 3)) for quantity in QUANTITIES}


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


def first(runs: Runs) -> Iterator[Block]:
    """The result in a few sentences."""
    count, choices = len(runs.keys), runs.found.choices
    differ = "No key differs" if count == 0 else f"{count} {_plural('key', count)} of the inputs"
    differ += "" if count == 0 else f" {'differs' if count == 1 else 'differ'}"
    if runs.same:
        yield Paragraph(f"{differ}. Both runs hold the same figures.")
        return
    pairs = choices.drop_duplicates("name")
    alike = sum(_setting(row, "a") == _setting(row, "b") for row in pairs.to_dict("records"))
    apart = choices[choices["verdict"] == Verdict.APART]
    if not len(pairs):
        yield Paragraph(f"{differ}. No choice is made in both runs.")
    elif len(pairs) == 1:
        chosen = "Both runs choose the same setting" if alike else "The choices differ"
        names = [WORDS[quantity].name.partition(",")[0] for quantity in apart["quantity"]]
        told = f"Their figures show {VERDICTS[Verdict.ALIKE]}"
        if names:
            told = f"Figures with a significant difference: {listed(names)}"
        yield Paragraph(f"{differ}. {chosen}. {told}.")
    else:
        yield Paragraph(
            f"{differ}. {alike} of {len(pairs)} choices are the same setting."
            f" {apart['name'].nunique()} of {len(pairs)} differ significantly in some figure."
        )


def _plural(word: str, count: int) -> str:
    return word if count == 1 else f"{word}s"


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
            ("finished", str(record.get("finished_utc", UNKNOWN))),
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
        rest = f"{more} more {_plural('key', more)}; all" if more > 0 else "All"
        yield Table((), tuple(cells), "<<<", notes=(f"{rest} in {KEYS}.csv.",), group=0)


def _short(text: str) -> str:
    return text if len(text) <= LONG else f"{text[: LONG - 4]} ..."


def _choice(runs: Runs) -> Iterator[Block]:
    """Setting and policy of each run."""
    named = runs.found.choices.drop_duplicates("name").to_dict("records")
    rows = [
        (row["name"] or "setting", run, _setting(row, run.lower())) for row in named for run in "AB"
    ]
    rows += [("policy", run, text) for run, text in zip("AB", runs.policies, strict=True)]
    yield Table((), tuple(rows), "<<<", group=0)
    for run, names in runs.found.without.items():
        if names == ("",):
            other = "B" if run == "A" else "A"
            yield Paragraph(f"Only run {run} chooses a setting; run {other} chooses none.")
        elif names:
            yield Paragraph(f"Only run {run} has a choice of {listed(names)}.")


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
    words = WORDS[row["quantity"]]
    for run, name in (("A", "a"), ("B", "b")):
        value, limits = _estimate(row, with_limits(name), words)
        yield words.name, run, value, limits, ""
    yield words.name, "B minus A", *_gap(row, words), _verdict(row)


def _wide(rows: pd.DataFrame) -> Table:
    """A line a quantity."""
    cells = []
    for row in rows.to_dict("records"):
        lines = list(_lines(row))
        values = [f"{value} ({limits})" for _, _, value, limits, _ in lines]
        cells.append((lines[0][0], *values, _verdict(row)))
    return Table(("quantity", "A", "B", "B minus A", ""), tuple(cells), "<>>><")


def _estimate(row: Mapping[str, Any], names: Sequence[str], words: Words) -> tuple[str, str]:
    value, low, high = (_number(row[name], words) for name in names)
    if UNKNOWN in (low, high):
        return value, "not known"
    return value, f"{low} to {high}"


def _number(value: float, words: Words) -> str:
    if math.isnan(value):
        return UNKNOWN
    if words.scale == 1:
        return amount(value) if words.name == WORDS[COST].name else f"{value:.{words.digits}g}"
    return bare(value, words.digits)


def _gap(row: Mapping[str, Any], words: Words) -> tuple[str, str]:
    """In percentage points, or in the unit of the quantity."""
    value, low, high = (
        UNKNOWN if math.isnan(row[key]) else amount(words.scale * row[key], "+")
        for key in ("difference", "low", "high")
    )
    return value, "not known" if UNKNOWN in (low, high) else f"{low} to {high}"


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
            where = UNKNOWN if most is None else f"no. {most['candidate_a']:.0f}"
            gap = UNKNOWN if most is None else _gap(most, WORDS[str(quantity)])[0]
            rows.append((WORDS[str(quantity)].name, str(len(judged)), str(len(apart)), gap, where))
    head = ("quantity", "settings", "differ", "most", "in A")
    yield Table(head, tuple(rows), "<>>><", notes=(f"All {count} settings in {SETTINGS}.csv.",))
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
        f" {(1 - LEVEL) * len(judged):.0f} of them differ. All in {EFFECTS}.csv."
    )
    most = apart.loc[apart["difference"].abs().sort_values(ascending=False).index].head(MOST_KEYS)
    cells = [
        (f"{row['name']}, {row['quantity'].replace('_', ' ')}", *_effect(row))
        for row in most.to_dict("records")
    ]
    if cells:
        head = ("effect", "A", "B", "B minus A")
        yield Table(head, tuple(cells), "<>>>", group=0)


def _effect(row: Mapping[str, Any]) -> tuple[str, str, str]:
    low, high = row["low"], row["high"]
    gap = f"{row['difference']:+.2g} ({low:+.2g} to {high:+.2g})"
    return f"{row['a']:.2g}", f"{row['b']:.2g}", gap


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
