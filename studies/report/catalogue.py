"""What is said of every table, column and figure of a run, and the question of every kind of study.

Report and workbook take it from here; a table or figure that nobody described goes by its name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.study.description import Study

QUESTIONS = {
    "setting_sweep": (
        "Which setting of the differential scheme leaves fewest stator faults uncleared, among"
        " those that the policy on false trips allows? How sure is that?"
    ),
    "scheme_comparison": (
        "Which differential scheme leaves fewest stator faults uncleared, each at its own best"
        " setting? Which faults does one miss that another catches?"
    ),
    "earthing_options": (
        "What does each way of earthing the neutral give, at its own best setting: protected"
        " winding, current, energy and damage of an earth fault, and who clears it?"
    ),
    "uncertainty_drivers": (
        "Which uncertain input decides missed faults and false trips? Which should be specified or"
        " measured first?"
    ),
    "alternatives": "What does each alternative gain or cost, at its own best setting?",
}

# --- sections -----------------------------------------------------------------

NOT_SELECTED, NOTES = "Not selected, and why", "Notes"
COMPARISONS = ("earthing_options", "alternatives")  # they compare, and recommend nothing


def first_heading(kind: str) -> str:
    """Of what a report of this kind of study opens with."""
    return "Result" if kind in COMPARISONS else "Recommendation"


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
STEPS = "paired on the same events; 95 % limits hold for all neighbours together"

# What each table holds
HOLDS = {
    "candidates": (
        "one row a candidate setting: estimates with 95 % limits, whether it is usable, whether the"
        " policy allows it; batch 1: selection sample, batch 2: independent sample"
    ),
    "by_type": (
        "one row a candidate and a fault type, event or state; p: missed for internal faults,"
        " operated for the others; share_of_total: a type's share of all missed faults or false"
        " trips"
    ),
    "search": (
        "rounds of the search in ranges, scheme by scheme: how many settings each judged, and the"
        " best of them"
    ),
    "front": (
        "at each limit on false trips the setting of each scheme that misses least, of all settings"
        " that the selection sample judged, rounds of a search included"
    ),
    "gates": (
        "what each gate changes in every event and type of fault, beside the same setting without"
        " one, with the least delay; p: false trips outside, missed faults inside; paired on the"
        " same events, 95 % limits of the difference hold for all rows together; p_lost: of the"
        " faults detected without it, the share not detected within allowed_time_s with it"
    ),
    "prices": (
        "what one step of each setting changes, chosen setting as base, paired on the same events;"
        " missed_per_false: missed faults given for false trips"
    ),
    "place_laws": (
        "missed faults under other laws of the place of earth faults along the winding: all within"
        " a factor of the assumed density, and voltage ageing"
    ),
    "radius": (
        "how far each uncertain input may be off, its centre lower or higher or its width larger,"
        " before the chosen setting breaks the policy's limit on false trips or another one would"
        " be chosen; empty where neither happens up to the value looked at"
    ),
    "closest": (
        "where no setting meets the policy: the candidate of each scheme that comes closest, and"
        " the limit that it would meet"
    ),
    "protected_winding": (
        "probability that an earth fault is detected, by place x along the winding from the neutral"
    ),
    "inputs": "every number and distribution of the study, and where it comes from",
    "unresolved": (
        "samples without a result by type and batch, of the candidate that has most; why, over all"
        " circuits; how they are counted"
    ),
    "backup": "how often the neutral back-up operates, whatever the candidate",
    "rare": "weighted samples of external events beside the counts, and which of the two was used",
    "exceedance": (
        "probability that an external event drives an element beyond a pick-up, every relay circuit"
    ),
    "comparison": f"the chosen candidate minus others, {PAIRS}",
    "neighbours": f"neighbouring settings, a step of one grid away, minus the chosen one, {STEPS}",
    "assumption_sets": "every candidate under each assumption set of the policy",
    "assumption_set_choices": (
        "what each assumption set would choose by itself, and what the study's choice loses there"
    ),
    "schemes": "each scheme at its own best setting",
    "scheme_differences": f"one scheme's best setting minus another's, {PAIRS}",
    "caught_by_other": "probability that one scheme misses a fault and another catches it",
    "alternatives": "each alternative of the study at its own best setting",
    "alternative_differences": f"each alternative minus the study as stated, {ALTERNATIVES}",
    "earthing_options": (
        "each option of earthing at its own best setting, and the energy in its earth faults"
        " (I^2 R_f in the fault: 0 if it is bolted)"
    ),
    "options_radius": (
        "how far the centre of each uncertain input may be off before another option is the best by"
        " what the answer names; stands_to empty: it stays the best up to looked_at; lead: there,"
        " least value of another option over that of the best"
    ),
    "earthing_differences": f"one option of earthing minus another, {PAIRS}",
    "who_clears": (
        "which path clears a fault first, or that nobody does, by fault type, with failure rates of"
        " the parts as stated and otherwise; type all: within the scheme's scope"
    ),
    "damage": (
        "damage of earth faults by the path that clears them, in seconds of the reference current"
        " that do as much, and the iron that the arc melts at most; mean_s: parts of the mean of"
        " all"
    ),
    "damage_inputs": (
        "what one input, its centre a half-width lower or higher, does to the mean damage of earth"
        " faults and to how often nobody clears them; paired on the same faults, with 95 % limits;"
        " inputs that change nothing are left out"
    ),
    "damage_zones": "share of the earth faults in each zone of damage, smallest zone first",
    "dependability": (
        "what fails on demand, parts, then paths; p_missed_element: what a path does not see,"
        " p_missed_both: failures included"
    ),
    "test_intervals": "faults that nobody clears if all parts are tested more or less often",
    "drivers": (
        "first and total effects of each input on the currents in the elements and, of earth"
        " faults, on the protected winding, the damage and how likely nobody clears them"
    ),
    "elasticities": (
        "how missed faults and false trips change with the centre and the spread of each input"
    ),
    "what_if": "missed faults and false trips with one input at its centre, or half as uncertain",
    "worth_of_measuring": (
        "gain if an input of the installation were known before the setting is chosen"
    ),
    "detection_map": (
        "probability that an earth fault is detected, by place along the winding and setting"
    ),
    "false_trip_sources": (
        "share of each external event in the false trips of the chosen and of the existing setting"
    ),
    "missed_fault_places": (
        "probability that the chosen and the existing setting miss an earth fault, by its"
        " resistance and its place along the winding"
    ),
    "convergence": "the chosen candidate's probabilities against the number of samples",
    "remanence_models": "what is chosen with each remanence model of the CTs",
    "unprotected_winding": (
        "the unprotected part of the winding against the false trips allowed, best of each scheme"
    ),
    "waveforms": (
        "index of the cases for secondary injection: origin of each, expected operation of the"
        " elements"
    ),
    "commissioning": (
        "primary injections, pick-ups, slopes and times: what is expected and the band that 95 % of"
        " the sampled installations keep to; blank columns for what is measured"
    ),
    "peak_voltage": (
        "highest voltage across the relay circuit on an internal fault, by formula and simulated"
    ),
    "ct_dimensioning": (
        "CTs of each end in every external event with full offset: K_s, the knee voltage asked, and"
        " the time to saturation by the usual formula and by the flux; empty: never"
    ),
    "winding_coils": (
        "one row a coil of the winding: slots of its sides, phase, branch, order in the branch from"
        " the neutral, and by which side the current to the terminal enters; winding.table takes"
        " such a file"
    ),
    "fault_catalogue": (
        "places where insulation between two conductors of the winding may fail, by place and"
        " class: how many, how likely beside the others, and the voltage between the conductors"
    ),
    "turn_faults": (
        "bolted faults within a phase, every input at its centre: shorted turns of the branch's,"
        " current over the branch's rated one, difference of the groups; one turn in closed form"
    ),
    "turn_faults_unseen": (
        "share of bolted faults within a phase below each pick-up, every input at its centre; what"
        " 95 % of the installations keep to without a fault at rated load, in primary amperes"
    ),
    "turn_faults_missed": (
        "how often each candidate misses each class of the sampled faults between turns, and the"
        " class's share of them"
    ),
}
# Captions shorter than that
SHORTER = {
    "gates": "What each gate changes; false trips outside, missed faults inside",
    "radius": "How far each input may be off before the choice ends",
    "by_type": "By fault type, event and load state",
    "closest": "No setting meets the policy: the closest of each scheme",
    "damage": "Damage of earth faults by who clears them, in seconds of the reference current",
    "damage_inputs": "What one input, a half-width off, does to damage and to what nobody clears",
    "who_clears": "Which path clears a fault first, or that nobody does, by fault type",
    "options_radius": "How far inputs may be off before another option is the best",
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
    "false_trip_sources",
    "missed_fault_places",
    "front",
    "prices",
    "place_laws",
    "waveforms",
    "commissioning",
    "ct_dimensioning",
    "winding_coils",
    "turn_faults_unseen",
    "turn_faults_missed",
    "options_radius",
)
# Of the workbook: a figure, or a page that is made to be printed, shows it
UNPRINTED = ("exceedance", "missed_fault_places", "commissioning", "winding_coils")
SECOND = {
    "what_if": ("p_now",),
    "elasticities": ("p", "distance", "dead_band", "beyond_band"),
    "worth_of_measuring": ("today", "difference_found", "difference_flattering"),
}


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
    """`title`: what a screen reader says; `caption`: below the figure in a report; `brief`: below
    it where it is small; `numbers`: a screen reader also says what the figure's own words have."""

    title: str
    caption: str = ""
    brief: str = ""
    numbers: bool = False

    def spoken(self, words: str) -> str:
        """What a screen reader says of a figure with such words of its own."""
        return f"{self.title}. {words}" if self.numbers and words else self.title


# The figures that carry a recommendation: the first of these that a run draws
LEADING = (
    "schemes",
    "schemes_protected_winding",
    "damage_against_nobody",
    "protection_against_energy",
    "earthing_options",
    "what_if",
    "elasticities",
    "drivers",
    "alternatives",
    "tradeoff",
    "protected_winding",
    "radius",
    "false_trip_sources",
    "missed_fault_places",
    "exceedance",
    "unprotected_winding",
    "caught_by_other",
)
MOST_LEADING = 3
EXCITATION = "excitation"  # one a place with CTs of its own, the place behind the name
BIAS_PLANE = "bias_plane"  # one an external event, its name behind
FIGURES = {
    "tradeoff": FigureText(
        "Missed internal faults against false trips, every candidate setting",
        "Every candidate setting: its missed faults against its false trips. Lower and further left"
        " is better; the bars are 95 % limits.",
        "Missed faults against false trips.",
    ),
    "protected_winding": FigureText(
        "Earth faults detected against their place along the winding",
        "Probability that an earth fault is detected, by its place along the winding from the"
        " neutral.",
        "Protected part of the winding.",
    ),
    "false_trip_sources": FigureText(
        "Share of each external event in the false trips, chosen and existing setting",
        "Share of each external event in the false trips. A black mark shows its share of all"
        " external events.",
        "Where false trips come from.",
    ),
    "missed_fault_places": FigureText(
        "Missed earth faults by place along the winding and fault resistance",
        "Missed earth faults by place and fault resistance: the darker, the more of the faults"
        " there are missed.",
        "Where missed faults lie.",
    ),
    "worst_cases": FigureText(
        "Worst sampled external events in time, from the primary currents to the measured value",
        "The worst sampled external events of the chosen setting. The setting trips when the"
        " measured value stays above the red line for the delay.",
    ),
    "missed_case": FigureText(
        "Strongest missed internal fault in time, from the primary currents to the measured value",
        "The strongest sampled internal fault that the chosen setting misses.",
    ),
    BIAS_PLANE: FigureText(
        "Differential current against bias current at the critical instant of every sample",
        "The event's first samples and those of internal faults in the plane of the phase elements,"
        " in rated machine currents. A sample stands at its critical instant: farthest above the"
        " characteristic, or else nearest below it. Contours hold 50, 90 and 99 % of the samples."
        " Earth faults, and clouds of fewer than 500 samples, are drawn as points. At most six"
        " events have such a figure, the most frequent ones. Numbers: bias_plane.csv.",
        numbers=True,
    ),
    "trajectory": FigureText(
        "Path of the worst external event in the plane of differential and bias current",
        "The path of the worst sampled external event in the plane of the phase elements, in rated"
        " machine currents. Where none trips falsely it is the event closest below the setting."
        " Both currents are as the relay measures them.",
        numbers=True,
    ),
    "front": FigureText(
        "Missed faults of the best setting at each limit on false trips",
        "Missed faults of the best setting at each limit on false trips, of all settings that the"
        " selection sample judged. Bands are 95 % limits. A bar reaches from the lower limit of"
        " false trips to the bound. Hatched: no setting is shown to keep to such limits.",
        "Best setting at each limit.",
    ),
    "radius": FigureText(
        "How far inputs may be off before the choice ends",
        "How far an input may be off before the chosen setting breaks the limit on false trips, or"
        " another setting would be chosen. One input moves at a time; the nearest stand first,"
        " twelve at most.",
        "What ends the choice first.",
    ),
    "detection_map": FigureText(
        "Earth faults detected against their place and one setting",
        "Earth faults detected, by their place along the winding and one setting. Each row is a"
        " setting of the study: nothing is interpolated between them.",
    ),
    "unprotected_winding": FigureText(
        "Unprotected part of the winding against the false trips allowed, each scheme",
        "The unprotected part of the winding against the false trips that are allowed, best of"
        " each scheme. A scheme's name is followed by its part at the policy's limit.",
    ),
    "exceedance": FigureText(
        "How often an external event exceeds a pick-up, events that matter to the choice",
        "Probability that an external event drives an element beyond a pick-up. A curve ends where"
        " its limits are a factor of three apart.",
        "External events beyond a pick-up.",
    ),
    "winding": FigureText(
        "Slots of the winding around the bore by phase and branch, one branch followed",
        "The winding: both layers around the bore, slot 1 at the top. Below, the first poles"
        " unrolled.",
        numbers=True,
    ),
    "turn_faults": FigureText(
        "Share of the faults within a phase that exceed a primary current, and the pick-ups",
        "Bolted faults within a phase, every input at its centre: how many drive more than a"
        " primary current. A class is unseen by a pick-up right of its curve. A pick-up within the"
        " grey band trips without a fault.",
        "Which turn fault each pick-up sees.",
        numbers=True,
    ),
    "who_clears": FigureText(
        "Who clears each type of internal fault first, chosen setting",
        "Who clears each type of internal fault first, with the chosen setting and the failures of"
        " parts as the study states them.",
        "Who clears a fault.",
    ),
    "damage": FigureText(
        "Share of the earth faults with more than a damage, and the part that nobody clears",
        "Share of the earth faults with more than a damage, chosen setting. The damage is in"
        " seconds of the reference current that would do the same. Dashed: those that nobody"
        " clears.",
        "Damage of earth faults.",
    ),
    "test_intervals": FigureText(
        "Faults that nobody clears against the time between tests",
        "Faults that nobody clears against the time between tests of all parts, with 95 % limits.",
        "How often to test.",
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
        "Protected part of the winding against energy in an earth fault, each option",
        "Protected part of the winding against the energy in an earth fault, each option. Higher"
        " and further left is better. The energy in the fault is I^2 R_f over its time: 0 in a"
        " bolted fault.",
        "Protected part of the winding against energy in an earth fault.",
    ),
    "damage_against_nobody": FigureText(
        "Mean damage of an earth fault against faults that nobody clears, each option",
        "Mean damage of an earth fault against the internal faults that nobody clears, each option."
        " Lower and further left is better; the bars are 95 % limits.",
        "Mean damage against faults that nobody clears.",
    ),
    "earthing_options": FigureText(
        "Missed faults, false trips and energy in the fault, each option"
    ),
    "drivers": FigureText(
        "First and total effects of each input on the currents in the elements and, of earth"
        " faults, on what becomes of them",
        "First and total effects of the inputs on the currents in the elements and, of earth"
        " faults, on what becomes of them. The twelve inputs with the largest total effects are"
        " drawn at most.",
    ),
    "elasticities": FigureText(
        "How missed faults and false trips change with the centre and the spread of each input",
        "Change of missed faults and false trips with the centre and the spread of an input. The"
        " inputs that change them most are drawn, six of each.",
    ),
    "what_if": FigureText(
        "Missed faults and false trips with one input at its centre, or half as uncertain"
    ),
    "alternatives": FigureText(
        "Missed faults and false trips of the best setting of every alternative, and what the"
        " answer goes by if that is something else"
    ),
    "compared_choices": FigureText(
        "Missed faults, false trips and protected winding of the choices of two runs",
        "The choices of run A and of run B with 95 % limits.",
    ),
    "compared_settings": FigureText(
        "Missed faults and false trips of every setting that two runs have",
        "Every setting that both runs have. Left: missed faults, run B minus run A. Right: false"
        " trips, run B against run A. The bars are 95 % limits.",
    ),
    EXCITATION: FigureText(
        "Excitation curve of the CTs",
        "Excitation curve of the CTs, from measured points or from the class.",
    ),
}

SEVERAL = (EXCITATION, BIAS_PLANE)


# What a rough answer keeps of a run's tables: what its text and its figure say
ROUGH_TABLES = (
    "schemes",
    "scheme_differences",
    "alternatives",
    "alternative_differences",
    "earthing_options",
    "earthing_differences",
    "candidates",
    "by_type",
    "search",
    "closest",
    "unresolved",
)


def leading(names: Iterable[str]) -> list[str]:
    """Of a run's figures those that carry its recommendation."""
    drawn = {*names}
    return [name for name in LEADING if name in drawn][:MOST_LEADING]


def figure_text(name: str) -> FigureText:
    """What is said of the figure `name`.svg; its caption is its title unless it has another."""
    kind = next((each for each in SEVERAL if name.startswith(f"{each}_")), name)
    found = FIGURES.get(kind, FigureText(capital(name.replace("_", " "))))
    if kind == BIAS_PLANE:
        event = name.removeprefix(f"{BIAS_PLANE}_").replace("_", " ")
        found = replace(found, title=f"{found.title}, {event}")
    caption, brief = found.caption or f"{found.title}.", found.brief or f"{found.title}."
    return replace(found, caption=caption, brief=brief)


# --- columns ------------------------------------------------------------------

UNITS = {
    "_per_year": "1/year",
    "_a2s": "A^2 s",
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
SIGNS = {"ohm": "\u03a9", "deg": "\u00b0", "A^2 s": "A\u00b2s"}
# Columns that a report calls otherwise than by their names
HEADS = {
    "missed": "missed faults",
    "false": "false trips",
    "outside_scope": "faults outside the scope",
    "neutrals": "resistance of the neutral",
    "largest_neutrals": "largest resistance of the neutral, after the trip",
    "keeps_capacitive_rule": "capacitive rule kept",
    "terminal_fault": "current of a fault at the terminals",
    "terminal_displacement": "displacement of the neutral, fault at the terminals (pu)",
    "displacement": "displacement of the neutral (pu)",
    "lasts": "duration of an earth fault",
    "fault_heat": "I^2 t of an earth fault",
    "fault_energy": "energy in the fault",
    "resistor_energy": "energy in the resistor",
    "unseen_share_of_fault_energy": "energy from faults that the scheme does not detect",
    "has_best": "has a setting",
    "unprotected": "unprotected part of the winding",
    "chosen_today": "chosen without knowing",
    "v_knee": "V_k",
    "v_full": "V_f",
    "nobody": "faults that nobody clears",
    "p_backup": "faults that the back-up clears first",
    "p_nobody": "faults that nobody clears",
    "damage_mean": "mean damage, time of the reference current",
    "damage_p95": "damage, 95 %, time of the reference current",
    "damage_after_opening_share": "damage after the breaker has opened",
    "damage_nobody_share": "damage from faults that nobody clears",
    "damage_failed_share": "damage from faults whose parts have failed",
    "unwanted": "trips of the parts themselves",
    "cost": "cost a year",
    "decision_cost": "total cost a year",
    "beyond_rating_share": "earth faults beyond the resistor's rating",
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
SHARES = ("p_", "protected_", "worst_p", "installation_", "share_of_", "unseen_share_of_")
COST = "cost_per_year"  # in the unit that the study gives it


@cache
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
    unit = "" if stem.endswith(COST) else unit
    unit = "%" if is_share(name) else unit
    words = HEADS.get(base, base.replace("_", " ").replace("pickup", "pick-up"))
    return words + ends + (f" [{unit}]" if unit else "")


@cache
def column_unit(name: str) -> str:
    """The unit that a column's name says; "" where it says none."""
    base, _ = _without_limit(name)
    return "" if base.endswith(COST) else without_unit(base)[1]


def sheet_head(name: str) -> str:
    """A column's name with its unit in brackets: p missed, pickup [A], missed [1/year]."""
    unit = column_unit(name)
    base, limit = _without_limit(name)
    words = name if not unit else f"{without_unit(base)[0]}{limit} [{SIGNS.get(unit, unit)}]"
    return words.replace("_", " ").replace("pickup", "pick-up")


def _without_limit(name: str) -> tuple[str, str]:
    limit = next((limit for limit in LIMIT_ENDS if name.endswith(limit)), "")
    return name.removesuffix(limit), limit


def with_unit(frames: dict[str, pd.DataFrame], study: Study) -> dict[str, pd.DataFrame]:
    """Tables with a row a quantity say in a column of their own the unit of costs and damage."""
    units, cost = {"damage_mean_s": "s"}, study.policy.least_annual_cost
    if cost is not None:
        units |= dict.fromkeys((COST, f"decision_{COST}"), f"{cost.unit} a year")
    return {name: _telling(frame, units) for name, frame in frames.items()}


def _telling(frame: pd.DataFrame, units: Mapping[str, str]) -> pd.DataFrame:
    if "quantity" not in frame or "unit" in frame or not frame["quantity"].isin([*units]).any():
        return frame
    told = frame.copy()
    every = [units.get(quantity, "-") for quantity in frame["quantity"]]
    told.insert(int(frame.columns.get_loc("quantity")) + 1, "unit", every)
    return told
