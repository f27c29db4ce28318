"""What of the options is compared, who has least of it, and the answer by missed faults."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from montecarlo.quantities.wording import listed
from montecarlo.study.description import Study
from studies.report.catalogue import capital
from studies.report.numbers import with_limits
from studies.report.words import SAME, scheme_name, setting_text
from studies.sweep.recommendation import kept, worth

if TYPE_CHECKING:
    import pandas as pd

Row = Mapping[str, Any]
Signs = Counter[tuple[str, str, str]]  # 0 of a pair that is not compared


class Quantity(NamedTuple):
    """Of which the options have more or less, and how a sentence says so."""

    name: str  # in the table of differences
    column: str
    least: str
    most: str
    words: str  # behind the value
    shown: Callable[[Row], str]

    def head(self, best: Row, rows: Sequence[Row], signs: Signs) -> str:
        """What an option is called that has least: the least, if it differs from all others."""
        others = [row["option"] for row in rows if row is not best]
        if all(signs[other, best["option"], self.name] for other in others):
            return self.least
        return f"Best estimate of {self.least.split(' ', 1)[1]}"


def energy(row: Row, name: str, to: str = " to ") -> str:
    """Mean and limits in one unit: 12.1 kJ (11.6 to 12.6); `to`: between the limits."""
    mean, low, high = (row[f"{name}_mean{end}"] for end in ("", "_low", "_high"))
    units = ((1e9, "GJ"), (1e6, "MJ"), (1e3, "kJ"))
    scale, unit = next((pair for pair in units if mean >= pair[0]), (1.0, "J"))
    low = max(low, 0.0)  # no energy is below 0
    return f"{mean / scale:.3g} {unit} ({low / scale:.3g}{to}{high / scale:.3g})"


MISSED = Quantity(
    "p_missed",
    "p_missed",
    "Fewest missed faults",
    "Most missed faults",
    " of the internal faults within the scheme's scope",
    lambda row: with_limits(row, "p_missed", 3),
)
ENERGY = Quantity(
    "fault_energy_j",
    "fault_energy_j_mean",
    "Least energy in the fault",
    "Most energy in the fault",
    " on average",
    lambda row: energy(row, "fault_energy_j"),
)


def with_setting(rows: Iterable[Row]) -> list[Row]:
    """The options for which one could be chosen."""
    return [row for row in rows if not math.isnan(row["p_missed"])]


def names(options: Iterable[str]) -> str:
    """Names of options among words and numbers of a sentence."""
    return listed(f'"{name}"' for name in options)


def setting_words(study: Study, row: Row) -> str:
    """The setting of an option, with its scheme where there are several."""
    scheme = f"{scheme_name(row['scheme'])}, " if len(study.scheme.kinds) > 1 else ""
    return f"{scheme}{setting_text(row)}"


def signs_of(differences: pd.DataFrame) -> Signs:
    """1: the first of two options has more of a quantity, -1: less, 0: no significant
    difference."""
    signs: Signs = Counter()
    for row in differences.to_dict("records"):
        one, other, quantity = row["option"], row["minus"], row["quantity"]
        signs[one, other, quantity] = int(row["low"] > 0) - int(row["high"] < 0)
        signs[other, one, quantity] = -signs[one, other, quantity]
    return signs


def alike(row: Row, rows: Sequence[Row], signs: Signs, what: Quantity) -> str:
    """Those that do not differ from an option, a sentence; empty without any."""
    same = [
        other["option"]
        for other in rows
        if other is not row and not signs[row["option"], other["option"], what.name]
    ]
    return f" {capital(SAME)}: {names(same)}." if same else ""


def answer(study: Study, rows: Sequence[Row], signs: Signs) -> Iterator[str]:
    """The option that misses least, and the energy at which it does."""
    standing = with_setting(rows)
    if not standing:
        yield NO_OPTION
        return
    best = min(standing, key=lambda row: row[MISSED.column])
    head = MISSED.head(best, standing, signs)
    yield f"{head}: {names([best['option']])}.{alike(best, standing, signs, MISSED)}"
    yield f"Its mean energy in an earth fault is {energy(best, ENERGY.name)}."
    yield best_setting(study, best)
    yield from worth(study, best)
    yield from kept(study, best)


NO_OPTION = "No option has a setting that the policy allows."


def best_setting(study: Study, row: Row) -> str:
    """Its number and its values, a sentence."""
    return f"Its best setting: no. {row['candidate']}, {setting_words(study, row)}."
