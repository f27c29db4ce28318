"""The text of `check`: every input, every setting in four bases, what can be seen at all, the hand calculation."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import BaseModel

from montecarlo.quantities import Distribution, Quantity, meaning_of
from montecarlo.study.candidates import candidate_lattices, present_setting
from montecarlo.study.checks import cautions
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.backup_text import backup_by_hand
from studies.desk import Desk
from studies.desk_text import hand_calculation, reach
from studies.earthing_desk import options_by_hand
from studies.peak import caution, peak_lines, peak_voltages
from studies.text import CAUTION, heading, paragraph, table

__all__ = ["check_text"]

INPUT_SECTIONS = ("machine", "network", "load", "states", "earthing", "ct", "scheme", "relay", "backup",
                  "internal_faults", "external_events", "policy", "fault_energy")


def check_text(study: Study) -> str:
    """All of it, as lines of at most 100 columns."""
    desk = Desk(study)
    lines = _head(study)
    lines += heading("Inputs")
    lines += paragraph("Key, unit, how it varies (drawn once a plant or at every event; one value a CT or element "
                       "where said), value or distribution.", "  ")
    for name in INPUT_SECTIONS:
        lines += _section(getattr(study, name), name)
    lines += _correlations(study)
    lines += heading("Settings in four bases")
    lines += _settings(study)
    lines += heading("Earth faults that can be seen at all")
    lines += reach(desk)
    lines += heading("Hand calculation with every input at its centre")
    lines += [*hand_calculation(desk), *backup_by_hand(desk)]
    if study.options:
        lines += heading("Options of earthing, by hand")
        lines += options_by_hand(study)
    lines += heading("Peak voltage across the relay circuit on an internal fault")
    peaks = peak_voltages(study)
    lines += peak_lines(peaks)
    warned = [f"{found.key}: {found.text}" for found in cautions(study)] + caution(peaks)
    for title, sentences in (("What reading changed", list(study.told)), ("Cautions", warned)):
        if sentences:
            lines += heading(title)
            for sentence in sentences:
                lines += paragraph(sentence, "  ", "    ")
    return "\n".join([*lines, "", CAUTION])


def _head(study: Study) -> list[str]:
    general, machine = study.study, study.machine
    lattices = candidate_lattices(study)
    count = sum(len(list(lattice.settings())) for lattice in lattices)
    circuits = len({lattice.circuit for lattice in lattices})
    twice = ", twice: with each remanence model of the CTs" if general.compare_remanence_models else ""
    if count_of := len(study.scenarios):
        twice += f", {1 + count_of} times: as stated and in {count_of} scenarios"
    if count_of := len(study.variant_studies):
        twice += f", and again as {count_of} variant{'s' if count_of > 1 else ''}, each with candidates of its own"
    if count_of := len(study.options):
        twice += f", for each of {count_of} options of earthing"
    text = (f"{general.kind}: {count} candidates on {circuits} circuits; {general.samples} samples of each type on "
            f"{general.plants} plants, seed {general.seed}{twice}. Machine {machine.rated_power_va / 1e6:g} MVA, "
            f"{machine.line_voltage_v / 1e3:g} kV, {machine.rated_current_a:.4g} A.")
    return [*paragraph(general.title), *paragraph(text)]


# --- inputs -----------------------------------------------------------------------------------------------


def _section(section: object, name: str) -> list[str]:
    """A table of the study: its own inputs, then those of the tables in it."""
    if isinstance(section, tuple):
        return [line for k, item in enumerate(section)
                for line in _section(item, f"{name}.{getattr(item, 'name', k)}")]
    if not isinstance(section, BaseModel):
        return []
    rows, inner = [], []
    for key, field in type(section).model_fields.items():
        value = getattr(section, key)
        if isinstance(value, BaseModel) or (isinstance(value, tuple) and value and isinstance(value[0], BaseModel)):
            inner += _section(value, f"{name}.{key}")
        elif key != "name" and value != () and (row := _row(key, value, field)) is not None:
            rows.append(row)
    lines = [f"  [{name}]", *table(None, rows, "<<<<", "    ")] if rows else []
    return lines + inner


def _row(key: str, value: object, field: object) -> tuple[str, str, str, str] | None:
    meaning = meaning_of(field)  # type: ignore[arg-type]
    if value is None or value == ():
        return None
    unit = meaning.unit if meaning else ""
    if not isinstance(value, Distribution):
        return key, unit, "fixed", _plain(value)
    varies = "fixed"
    if not value.is_number and isinstance(meaning, Quantity):
        each = "" if meaning.width == "one" else ", shared" if value.shared else f", each {_WIDTHS[meaning.width]}"
        varies = f"{value.varies or meaning.varies}{each}"
    text = str(value).removesuffix(", shared")
    return key, unit, varies, text + (f"; source: {value.source}" if value.source else "")


_WIDTHS = {"ct": "CT", "element": "element"}


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (list, tuple)):
        return ", ".join(map(_plain, value))
    return f"{value:g}" if isinstance(value, float) else str(value)


def _correlations(study: Study) -> list[str]:
    if not study.correlations:
        return []
    rows = [(*tie.between, f"{tie.rho:g}") for tie in study.correlations]
    return ["  [correlations]", *table(("between", "and", "rho"), rows, "<<>", "    ")]


# --- settings ---------------------------------------------------------------------------------------------


def _settings(study: Study) -> list[str]:
    wanted, rated = study.candidates, study.machine.rated_current_a
    head = ("element", "A secondary", "A primary", f"% of relay rating {study.relay.rated_current_a:g} A",
            f"pu of machine current {rated:.4g} A")
    lines = table(head, list(_bases(study)), "<>>>>")
    having = [scheme_of(study, kind) for kind in study.scheme.kinds]
    ohms = wanted.stabilising_resistance_ohm if any(scheme.stabilised for scheme in having) else ()
    grids = (("stabilising resistance", ohms, " ohm"), ("delay", wanted.delay_s, " s"), ("slope", wanted.slope1, ""),
             ("slope above the break", wanted.slope2, ""), ("break at a bias current of", wanted.slope_break_a, " A"))
    each = [f"{name} {', '.join(f'{value:g}' for value in grid)}{unit}" for name, grid, unit in grids if grid]
    each.append(f"scheme {', '.join(study.scheme.kinds)}")
    some = ", where the scheme has it" if len(having) > 1 else ""
    lines += paragraph(f"Every combination{some}, with " + "; ".join(each) + ".", "  ")
    if (present := present_setting(study)) is not None:
        words = [f"{key} {_plain(value)}" for key, value in vars(present).items() if value is not None
                 and (key != "stabilising_resistance_ohm" or scheme_of(study, present.scheme).stabilised)]
        lines += paragraph(f"In service: {', '.join(words)}.", "  ")
    return lines


def _bases(study: Study) -> Iterator[tuple[str, ...]]:
    wanted, present = study.candidates, study.candidates.present
    turns = study.ct.at("line_end").leg_ratio
    names = {"phase": "phase_pickup_a", "earth": "earth_pickup_a", "break": "slope_break_a"}
    for element, name in names.items():
        grid: tuple[float, ...] = getattr(wanted, name)
        served = None if present is None else getattr(present, name)
        for pickup in sorted({*grid, *([] if served is None else [served])}):
            yield (element + (", in service" if pickup == served else ""), f"{pickup:g}", f"{pickup * turns:.4g}",
                   f"{100 * pickup / study.relay.rated_current_a:.4g}",
                   f"{pickup * turns / study.machine.rated_current_a:.4g}")
