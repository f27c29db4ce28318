"""What a choice among settings adds to a report: the setting sheet, all settings to browse, the
back-up for the unprotected part, and the hand calculation beside the study."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.frames.choosing import nearest
from montecarlo.frames.result import Result
from montecarlo.study.axes import AT_STEPS, CURRENTS, PICKUPS
from montecarlo.study.checks import cautions
from montecarlo.study.description import Study
from studies.nominal.backup import backup_by_hand
from studies.nominal.desk import Desk
from studies.nominal.peak import highest_v, peak_of_chosen, volts_text
from studies.report.blocks import Block, Caution, Paragraph, Section, Table, paragraphs
from studies.report.notes import move_sentences
from studies.report.safety import PEAK, PROPOSED, REVIEW
from studies.report.setting_words import bias_words, gate_words, setting_lines
from studies.report.words import AXIS_WORDS, axis_unit, has, scheme_name, setting_text, value_text
from studies.sweep.by_hand import FIXED, beside_by_hand, broken_by_hand, fixed_ohm
from studies.sweep.explorer import explorer
from studies.sweep.policy import each_limit, limit_line, policy_words
from studies.sweep.text import backup_text, protected_text

if TYPE_CHECKING:
    import pandas as pd

NONE = "none in this scheme"
BEST_REFUSED = 3  # of each rule
Row = Mapping[str, Any]


def rests_on(study: Study) -> str:
    """The limit or the weights that a recommendation of this study rests on."""
    sets = 1 + len(study.policy.assumption_sets)
    worst = f" Each setting is judged by its worst of {sets} assumption sets." if sets > 1 else ""
    return (
        f"{_weights(study) or _limits(study)}{worst} Missed faults and false trips are weighed by"
        " the rates and shares of faults and events that the study assumes."
    )


def _weights(study: Study) -> str:
    """Empty where the policy weighs no costs."""
    if (cost := study.policy.least_annual_cost) is None:
        return ""
    each = each_limit(study)
    among = f" among those that trip falsely on at most {each}" if each else ""
    return (
        f"The policy counts {cost.missed_fault:,.15g} {cost.unit} a missed fault and"
        f" {cost.false_trip:,.15g} {cost.unit} a false trip. The setting with the smallest expected"
        f" cost a year is chosen{among}."
    )


def _limits(study: Study) -> str:
    return (
        f"The policy allows {policy_words(study)}, shown with"
        f" {100 * study.policy.level:g} % confidence. Of the settings that keep to it, the one that"
        " leaves fewest faults uncleared is chosen."
    )


class ChoiceReport:
    """The sections of one finished run."""

    def __init__(self, result: Result, desk: Desk, peaks: pd.DataFrame) -> None:
        """peaks: peak_voltage.csv."""
        self.result, self.desk, self.study, self.peaks = result, desk, desk.study, peaks
        served = result.candidates.loc[result.candidates["existing"], "candidate"]
        self.existing = int(served.iloc[0]) if len(served) else None
        # without a choice what comes nearest
        self.shown = result.chosen or nearest(result.candidates) or 1

    def settings(self) -> list[Section]:
        """The setting sheet, and all candidates to browse."""
        return [
            Section("Setting sheet", list(self._sheet())),
            Section("Browse the settings", [self._explorer()]),
        ]

    # --- setting sheet --------------------------------------------------------

    def _sheet(self) -> Iterator[Block]:
        study, columns = self.study, self._columns()
        if self.result.chosen is None:
            yield Paragraph("No setting is proposed: no candidate meets the policy.")
        if not columns:
            return
        yield Paragraph(f"{PROPOSED if 'proposed' in columns else ''} {REVIEW}".lstrip())
        yield self._currents(columns)
        yield Table(
            ("setting", *columns),
            tuple(self._others(columns)),
            "<" + "<" * len(columns),
            "Other settings",
        )
        yield Table(
            ("setting", *columns, "as left", "changed by, date, why", "approved by, date"),
            tuple(self._as_left(columns)),
            "<" * (len(columns) + 4),
            "As-left settings and change record",
            widths=(20, *(34 // len(columns),) * len(columns), 14, 17, 15),
        )
        chosen = None if self.result.chosen is None else self.result.row(self.result.chosen)
        yield Paragraph(peak_of_chosen(self.peaks, chosen) or PEAK)
        yield Paragraph(self._stepping())
        if chosen is not None:
            yield from broken_by_hand(self.desk, chosen)
        for caution in cautions(study):
            if caution.key.startswith("candidates.existing"):
                yield Caution(f"{caution.key}: {caution.text}")

    def _columns(self) -> dict[str, Row]:
        """Existing and proposed, where there are any."""
        numbers = {"existing": self.existing, "proposed": self.result.chosen}
        return {
            role: self.result.row(number) for role, number in numbers.items() if number is not None
        }

    def _currents(self, columns: Mapping[str, Row]) -> Table:
        relay = self.study.relay
        head = (
            "setting",
            "",
            "A secondary",
            f"% of relay rated current, {relay.rated_current_a:g} A",
            "A primary",
            f"% of machine current, {self.study.machine.rated_current_a:.4g} A",
            "range, A secondary",
            "step, A secondary",
        )
        reach = "not stated" if relay.range_a is None else "{:g} to {:g}".format(*relay.range_a)
        step = "not stated" if relay.step_a is None else f"{relay.step_a:g}"
        ends = {key: (reach if key in PICKUPS else "", step) for key in AT_STEPS}
        rows = tuple(
            (*self._in_bases(key, role, row), *ends.get(key, ("", "")))
            for key in CURRENTS
            for role, row in columns.items()
            if has(row, key)
        )
        return Table(head, rows, "<<>>>>>>", "Currents, RMS, in four bases")

    def _in_bases(self, key: str, role: str, row: Row) -> tuple[str, ...]:
        turns = self.desk.turns_of(row["scheme"], "earth" if key.startswith("earth") else "phase")
        secondary, primary, relay, machine = self.desk.bases(row[key], turns)
        label = AXIS_WORDS[key].label.capitalize()
        in_primary, of_machine = f"{primary:.4g}", f"{100 * machine:.4g}"
        return label, role, f"{secondary:g}", f"{relay:.4g}", in_primary, of_machine

    def _others(self, columns: Mapping[str, Row]) -> Iterator[tuple[str, ...]]:
        yield "scheme", *(scheme_name(row["scheme"]) for row in columns.values())
        yield "candidate", *(f"no. {row['candidate']}" for row in columns.values())
        for key, axis in AXIS_WORDS.items():
            if key not in CURRENTS and any(has(row, key) for row in columns.values()):
                unit = axis_unit(key).strip()
                values = (
                    value_text(key, row[key]).removesuffix(f" {unit}") if has(row, key) else NONE
                    for row in columns.values()
                )
                yield f"{axis.label} [{unit}]" if unit else axis.label, *values
        words = [
            {**dict(bias_words(self.study, row)), **dict(gate_words(self.study, row))}
            for row in columns.values()
        ]
        for label in dict.fromkeys(label for each in words for label in each):
            yield label, *(each.get(label, NONE) for each in words)
        yield (
            "peak voltage across the relay circuit, internal fault",
            *(volts_text(highest_v(self.peaks, row)) for row in columns.values()),
        )
        fixed = [row if row["scheme"] == FIXED else None for row in columns.values()]
        if any(fixed):
            ohm = f"{fixed_ohm(self.desk):g}"
            legs = (NONE if row is None else ohm for row in fixed)
            balancing = (NONE if row is None else f"{self._balancing_ohm(row):g}" for row in fixed)
            yield "fixed resistor in each phase relay circuit [ohm]", *legs
            yield "balancing resistance [ohm]", *balancing

    def _as_left(self, columns: Mapping[str, Row]) -> Iterator[tuple[str, ...]]:
        """Every setting with room for what was left in service, and for who changed and approved
        it."""
        each = [
            {"scheme": scheme_name(row["scheme"]), **dict(setting_lines(self.study, row))}
            for row in columns.values()
        ]
        for label in dict.fromkeys(label for one in each for label in one):
            yield label, *(one.get(label, NONE) for one in each), "", "", ""

    def _balancing_ohm(self, row: Row) -> float:
        """As the study has it, at its centre; else what makes the third leg equal to the phase
        legs."""
        given = self.study.scheme.balancing_resistance_ohm
        if given is not None:
            return given.centre()
        return fixed_ohm(self.desk) + self.desk.burden_ohm("phase", row["phase_pickup_a"])

    def _stepping(self) -> str:
        """Whether the settings can be set on the relay."""
        relay = self.study.relay
        if relay.step_a is None:
            return (
                "The study names no step of the relay (relay.step_a). A pick-up that has to be"
                " rounded is another setting: add it to the candidates and run the study again."
            )
        text = f"The pick-ups proposed are on the relay's steps of {relay.step_a:g} A."
        moved = " ".join(move_sentences(self.study))
        if not moved:
            return f"{text} No candidate had to be moved to a step."
        return f"{text} Candidates were moved to these steps before sampling. {moved}"

    # --- explorer -------------------------------------------------------------

    def _explorer(self) -> Block:
        limit, limit_text = limit_line(self.study)
        cost = self.study.policy.least_annual_cost
        roles = {
            "chosen": self.result.chosen,
            "runner-up": self.result.runner_up,
            "existing": self.existing,
        }
        if self.result.chosen is None:
            roles = {"nearest to the limit": nearest(self.result.candidates), **roles}
        return explorer(
            self.result.candidates,
            self.shown,
            {role: number for role, number in roles.items() if number is not None},
            limit=limit,
            limit_text=limit_text,
            cost_unit="" if cost is None else cost.unit,
        )

    # --- back-up -----------------------------------------------------------

    def unprotected_part(self) -> list[Block]:
        """What covers it, in the words of the terminal and of `check`."""
        protected = protected_text(self.result.row(self.shown))
        if self.study.backup is None:
            return paragraphs(
                protected,
                "The study states no neutral back-up ([backup]). Nothing is known here of what"
                " would clear an earth fault in the rest of the winding.",
            )
        by_hand = backup_by_hand(self.desk)
        return [Paragraph(protected), *backup_text(self.result), *by_hand]

    # --- by hand --------------------------------------------------------------

    def beside_by_hand(self) -> list[Block]:
        """The classic results for the setting shown beside what the study found."""
        row = self.result.row(self.shown)
        rows = tuple(beside_by_hand(self.desk, row))
        which = "the chosen setting" if self.result.chosen else "the setting nearest to the limit"
        if not rows:
            return []
        caption = f"For {which}, no. {self.shown}: {setting_text(row)}"
        return [
            Table(("", "by hand, inputs at their centres", "the study"), rows, "<<<", caption),
            *broken_by_hand(self.desk, row),
        ]
