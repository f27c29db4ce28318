"""What is said of every table, column and figure of a run, and the question of every kind of study.

Report and workbook take it from here; a table or figure that nobody described goes by its name."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.study.description import Study

QUESTIONS = {
    "setting_sweep": (
        "Which setting of the differential scheme misses fewest stator faults and keeps to the"
        " policy on false trips? How sure is that?"
    ),
    "scheme_comparison": (
        "Which differential scheme misses fewest stator faults, each at its own best setting?"
        " Which faults does one scheme miss and another catch?"
    ),
    "earthing_options": (
        "What does each way of earthing the neutral give, at its own best setting: protected"
        " winding, current and energy of an earth fault?"
    ),
    "uncertainty_drivers": (
        "Which uncertain input decides missed faults and false trips? Which should be specified or"
        " measured first?"
    ),
    "alternatives": "What does each alternative gain or cost, at its own best setting?",
}


# --- tables -------------------------------------------------------------------


@dataclass(frozen=True)
class TableText:
    """`holds`: what a sheet says that it holds; `caption`: above the table in a report; `beside`:
    the report only names it, as a figure or a section of its own shows it; `second`: columns that
    estimate once more what stands elsewhere."""

    holds: str
    caption: str
    beside: bool = False
    second: tuple[str, ...] = ()


PAIRS = "paired on the same events; 95 % limits hold for all pairs together"
ALTERNATIVES = "paired on the same events; 95 % limits hold for all alternatives together"
STEPS = "paired on the same events; 95 % limits hold for all steps together"

# What each table holds
HOLDS = {
    "candidates": (
        "one row a candidate setting: estimates with 95 % limits, whether it is usable and whether"
        " the policy allows it; rows of batch 2 from samples that were not used to choose"
    ),
    "by_type": (
        "one row a candidate and a fault type, event or state; p: missed for internal faults,"
        " operated for the others; share_of_total: part of all missed faults or of all false"
        " trips"
    ),
    "closest": (
        "where nothing can be chosen: the candidate of each scheme that comes closest to the"
        " policy's limits, and the limit that it would meet"
    ),
    "protected_winding": (
        "probability that an earth fault is detected, by place x along the winding from the neutral"
    ),
    "inputs": "every number and distribution of the study, and where it comes from",
    "unresolved": (
        "samples without a result by type and batch, of the candidate that has most; why, over all"
        " circuits; and how they are counted"
    ),
    "backup": "how often the neutral back-up operates; the same for every candidate",
    "rare": "weighted samples of external events beside the counts, and which of the two was used",
    "exceedance": (
        "probability that an external event drives an element beyond a pick-up, every circuit"
    ),
    "comparison": f"the chosen candidate minus others, {PAIRS}",
    "neighbours": f"candidates one step of a grid away, minus the chosen one, {STEPS}",
    "assumption_sets": "every candidate under each assumption set of the policy",
    "assumption_set_choices": (
        "what each assumption set would choose by itself, and what the study's choice loses there"
    ),
    "schemes": "each scheme at its own best setting",
    "scheme_differences": f"one scheme's best setting minus another's, {PAIRS}",
    "caught_by_other": "probability that one scheme misses a fault and another catches it",
    "alternatives": "each alternative at its own best setting",
    "alternative_differences": f"each alternative minus the study as stated, {ALTERNATIVES}",
    "earthing_options": (
        "each option of earthing at its own best setting, and the energy in its earth faults"
        " (I^2 R_f in the fault: 0 if it is bolted)"
    ),
    "earthing_differences": f"one option of earthing minus another, {PAIRS}",
    "drivers": "first and total effects of each input on the currents in the elements",
    "elasticities": (
        "change of missed faults and false trips with the centre and the spread of each input"
    ),
    "what_if": "missed faults and false trips with one input at its centre, or half as uncertain",
    "worth_of_measuring": (
        "gain if an input of the installation were known before the setting is chosen"
    ),
    "detection_map": (
        "probability that an earth fault is detected, by place along the winding and setting"
    ),
    "convergence": "the chosen candidate's probabilities against the number of samples",
    "remanence_models": "what is chosen with each remanence model of the CTs",
    "unprotected_winding": (
        "unprotected part of the winding against the false trips allowed, best of each scheme"
    ),
    "waveforms": (
        "index of the cases for secondary injection: origin of each, expected operation of the"
        " elements"
    ),
    "commissioning": (
        "primary injections, pick-ups, slopes and times: expected value and the band of 95 % of the"
        " sampled installations; blank columns for measured values"
    ),
    "peak_voltage": (
        "highest voltage across the relay circuit on an internal fault, by formula and simulated"
    ),
}
# Captions shorter than that
SHORTER = {
    "by_type": "By fault type, event and load state",
    "closest": "No setting meets the policy: the closest one of each scheme",
    "unresolved": "Samples without a result, most first",
}
# In a figure or a section of their own, or for a crew
BESIDE = (
    "candidates",
    "inputs",
    "protected_winding",
    "exceedance",
    "convergence",
    "drivers",
    "detection_map",
    "waveforms",
    "commissioning",
)
SECOND = {"what_if": ("p_now",), "elasticities": ("p",), "worth_of_measuring": ("today",)}


def table_text(name: str) -> TableText:
    """What is said of the table `name`.csv."""
    if name not in HOLDS:
        return TableText(f"the table of {name}.csv", capital(name.replace("_", " ")))
    caption = SHORTER.get(name, capital(HOLDS[name]))
    return TableText(HOLDS[name], caption, name in BESIDE, SECOND.get(name, ()))


def capital(text: str) -> str:
    """As a sentence begins."""
    return text[0].upper() + text[1:]


# --- figures ------------------------------------------------------------------


@dataclass(frozen=True)
class FigureText:
    """`title`: what a screen reader says; `caption`: below the figure in a report."""

    title: str
    caption: str = ""


EXCITATION = "excitation"  # one a place with CTs of its own, the place behind the name
FIGURES = {
    "tradeoff": FigureText(
        "Missed internal faults against false trips, every candidate setting",
        "Every candidate setting: missed internal faults against false trips on external events."
        " Lower and further left is better. The bars are 95 % limits.",
    ),
    "protected_winding": FigureText(
        "Earth faults detected against their place along the winding",
        "Probability that an earth fault is detected, against its place along the winding from the"
        " neutral.",
    ),
    "detection_map": FigureText("Earth faults detected against their place and one setting"),
    "unprotected_winding": FigureText(
        "Unprotected part of the winding against the false trips allowed, each scheme",
        "Unprotected part of the winding against the false trips that are allowed.",
    ),
    "exceedance": FigureText(
        "How often an external event exceeds a pick-up, every circuit",
        "Probability that an external event drives an element beyond a pick-up, as low as the"
        " samples show.",
    ),
    "convergence": FigureText(
        "Missed faults and false trips against the number of independent samples",
        "The chosen setting's probabilities against the number of independent samples. Bands are"
        " 95 % limits.",
    ),
    "schemes": FigureText("Missed faults and false trips of each scheme at its best setting"),
    "caught_by_other": FigureText(
        "Share of the internal faults that one scheme misses and another catches"
    ),
    "schemes_protected_winding": FigureText("Earth faults detected along the winding, each scheme"),
    "protection_against_energy": FigureText(
        "Protected winding against energy in an earth fault, each option",
        "Protected part of the winding against the energy in an earth fault, each option. Higher"
        " and further left is better. The energy in the fault is I^2 R_f over its time: 0 in a"
        " bolted fault.",
    ),
    "earthing_options": FigureText(
        "Missed faults, false trips and energy in the fault, each option"
    ),
    "drivers": FigureText("First and total effects of each input on the currents in the elements"),
    "elasticities": FigureText(
        "Change of missed faults and false trips with the centre and the spread of each input"
    ),
    "what_if": FigureText(
        "Missed faults and false trips with one input at its centre, or half as uncertain"
    ),
    "alternatives": FigureText(
        "Missed faults and false trips of the best setting of every alternative"
    ),
    EXCITATION: FigureText("Measured excitation points of the CTs and the curve fitted to them"),
}


def figure_text(name: str) -> FigureText:
    """What is said of the figure `name`.svg; its caption is its title unless it has another."""
    kind = EXCITATION if name.startswith(f"{EXCITATION}_") else name
    found = FIGURES.get(kind, FigureText(capital(name.replace("_", " "))))
    return found if found.caption else replace(found, caption=f"{found.title}.")


# --- columns ------------------------------------------------------------------

UNITS = {
    "_per_year": "1/year",
    "_ohm": "ohm",
    "_pu": "pu",
    "_percent": "%",
    "_va": "VA",
    "_hz": "Hz",
    "_deg": "deg",
    "_a": "A",
    "_v": "V",
    "_s": "s",
    "_j": "J",
    "_f": "F",
    "_k": "K",
}
ENDS = {
    "_low": "low",
    "_high": "high",
    "_p05": "5 %",
    "_p95": "95 %",
    "_median": "median",
    "_mean": "mean",
    "_bound": "bound",
    "_now": "now",
    "_then": "then",
    "_difference": "difference",
}
LIMIT_ENDS = ("_low", "_high")
SHARES = ("p_", "protected_", "worst_p", "installation_", "share_of_")
COST = "cost_per_year"  # in the unit that the study gives it


def is_share(name: str) -> bool:
    """Whether a column holds probabilities or parts of a whole, 0 ... 1."""
    if name.endswith("_from"):  # which estimate was taken
        return False
    return name == "p" or name.startswith(SHARES) or name.endswith("_share")


def without_unit(name: str) -> tuple[str, str]:
    """A name without the ending that says its unit, and the unit: ("delay", "s"); "" without."""
    suffix = next((suffix for suffix in UNITS if name.endswith(suffix)), "")
    return name.removesuffix(suffix), UNITS.get(suffix, "")


def column_head(name: str) -> str:
    """A column's name in words, its unit in brackets: delay_s is delay [s], p_missed_low is p
    missed low [%]."""
    stem, ends = name, ""
    while end := next((end for end in ENDS if stem.endswith(end)), ""):
        stem = stem.removesuffix(end)
        ends = f" {ENDS[end]}{ends}"
    base, unit = without_unit(stem)
    unit = "%" if is_share(name) else unit
    words = base.replace("_", " ").replace("pickup", "pick-up")
    return words + ends + (f" [{unit}]" if unit else "")


def column_unit(name: str) -> str:
    """The unit that a column's name says; "" where it says none."""
    base, _ = _without_limit(name)
    return "" if base.endswith(COST) else without_unit(base)[1]


def sheet_head(name: str) -> str:
    """A column's name with its unit in brackets: p_missed, pickup [A], missed [1/year]."""
    unit = column_unit(name)
    if not unit:
        return name
    base, limit = _without_limit(name)
    return f"{without_unit(base)[0]}{limit} [{unit}]"


def _without_limit(name: str) -> tuple[str, str]:
    limit = next((limit for limit in LIMIT_ENDS if name.endswith(limit)), "")
    return name.removesuffix(limit), limit


def with_unit(frames: dict[str, pd.DataFrame], study: Study) -> dict[str, pd.DataFrame]:
    """Tables with a row a quantity say in a column of their own the unit of costs."""
    cost = study.policy.least_annual_cost
    if cost is None:
        return frames
    return {name: _telling(frame, f"{cost.unit} a year") for name, frame in frames.items()}


def _telling(frame: pd.DataFrame, unit: str) -> pd.DataFrame:
    if "quantity" not in frame or "unit" in frame or not (frame["quantity"] == COST).any():
        return frame
    told = frame.copy()
    units = [unit if quantity == COST else "-" for quantity in frame["quantity"]]
    told.insert(int(frame.columns.get_loc("quantity")) + 1, "unit", units)
    return told
