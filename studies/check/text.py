"""The text of `check`: every input, every setting in four bases, what can be seen at all, the hand
calculation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from montecarlo.quantities import Distribution, Quantity, meaning_of
from montecarlo.study.axes import AXES, CURRENTS, PICKUPS
from montecarlo.study.candidates import candidate_lattices, present_setting
from montecarlo.study.checks import cautions
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.earthing.by_hand import options_by_hand
from studies.nominal.backup import backup_by_hand
from studies.nominal.desk import Desk
from studies.nominal.peak import caution, peak_lines, peak_voltages
from studies.nominal.text import hand_calculation, reach
from studies.report.notes import move_sentences
from studies.report.safety import CAUTION
from studies.report.text import heading, paragraph, table
from studies.report.words import AXIS_WORDS, axis_unit

__all__ = ["Checked", "Given", "check_text", "checked", "given", "input_tables", "what_is_run"]

NO_INPUTS = (
    "study",
    "candidates",
    "correlations",
    "document",
)  # tables of a study that say what to do


class Checked(NamedTuple):
    """The text, in lines of at most 100 columns, and its cautions that not every study has."""

    text: str
    cautions: list[str]


def check_text(study: Study) -> str:
    """What `check` prints."""
    return checked(study).text


def checked(study: Study) -> Checked:
    """All of it."""
    desk = Desk(study)
    lines = [*paragraph(study.study.title), *paragraph(f"{study.study.kind}: {what_is_run(study)}")]
    lines += heading("Inputs")
    lines += paragraph(
        "Key, unit, how it varies (drawn once a plant or at every event; one value a CT or element "
        "where said), value or distribution.",
        "  ",
    )
    for name in input_tables():
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
    found = [(f"{one.key}: {one.text}", one.standing) for one in cautions(study)]
    found += [(text, False) for text in caution(peaks)]
    for title, sentences in (
        ("What reading changed", [*move_sentences(study)]),
        ("Cautions", [text for text, _ in found]),
    ):
        if sentences:
            lines += heading(title)
            for sentence in sentences:
                lines += paragraph(sentence, "  ", "    ")
    return Checked(
        "\n".join([*lines, "", CAUTION]), [text for text, standing in found if not standing]
    )


def what_is_run(study: Study) -> str:
    """Candidates, samples and machine in a few words."""
    general, machine = study.study, study.machine
    lattices = candidate_lattices(study)
    count = sum(len(list(lattice.settings())) for lattice in lattices)
    circuits = len({lattice.circuit for lattice in lattices})
    twice = (
        ", twice: with each remanence model of the CTs" if general.compare_remanence_models else ""
    )
    if count_of := len(study.scenarios):
        twice += f", {1 + count_of} times: as stated and in {count_of} scenarios"
    if count_of := len(study.variant_studies):
        twice += (
            f", and again as {count_of} variant{'s' if count_of > 1 else ''}, each with candidates"
            " of its own"
        )
    if count_of := len(study.options):
        twice += f", for each of {count_of} options of earthing"
    return (
        f"{count} candidates on {circuits} circuits; {general.samples} samples of each type on"
        f" {general.plants} plants, seed {general.seed}{twice}. Machine"
        f" {machine.rated_power_va / 1e6:g} MVA, {machine.line_voltage_v / 1e3:g} kV,"
        f" {machine.rated_current_a:.4g} A."
    )


# --- inputs -------------------------------------------------------------------


def input_tables() -> list[str]:
    """The tables of a study that hold inputs, in the order of the file."""
    return [name for name in Study.model_fields if name not in NO_INPUTS]


class Given(NamedTuple):
    """One key of the study as it stands there; `source`: where its value came from, if the study
    says so."""

    key: str
    unit: str
    varies: str
    value: str
    source: str
    meaning: str


def given(section: object, name: str) -> Iterator[tuple[str, list[Given]]]:
    """A table of the study, then those in it: its name and its keys."""
    if isinstance(section, tuple):
        for k, item in enumerate(section):
            yield from given(item, f"{name}.{getattr(item, 'name', k)}")
    if not isinstance(section, BaseModel):
        return
    rows: list[Given] = []
    inner: list[tuple[object, str]] = []
    for key, field in type(section).model_fields.items():
        value = getattr(section, key)
        if isinstance(value, BaseModel) or (
            isinstance(value, tuple) and value and isinstance(value[0], BaseModel)
        ):
            inner.append((value, f"{name}.{key}"))
        elif key != "name" and value is not None and value != ():
            rows.append(_given(key, value, field))
    if rows:
        yield name, rows
    for value, below in inner:
        yield from given(value, below)


def _given(key: str, value: object, field: FieldInfo) -> Given:
    meaning = meaning_of(field)
    unit, text = (meaning.unit, meaning.text) if meaning else ("", "")
    if not isinstance(value, Distribution):
        return Given(key, unit, "fixed", _plain(value), "", text)
    varies = "fixed"
    if not value.is_number and isinstance(meaning, Quantity):
        each = (
            ""
            if meaning.width == "one"
            else ", shared"
            if value.shared
            else f", each {_WIDTHS[meaning.width]}"
        )
        varies = f"{value.varies or meaning.varies}{each}"
    return Given(key, unit, varies, str(value).removesuffix(", shared"), value.source, text)


def _section(section: object, name: str) -> list[str]:
    lines: list[str] = []
    for title, rows in given(section, name):
        cells = [
            (*row[:3], row.value + (f"; source: {row.source}" if row.source else ""))
            for row in rows
        ]
        lines += [f"  [{title}]", *table(None, cells, "<<<<", "    ")]
    return lines


_WIDTHS = {"ct": "CT", "element": "element"}


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_plain(item)}" for key, item in value.items())
    if isinstance(value, (list, tuple)):
        return ", ".join(map(_plain, value))
    return f"{value:g}" if isinstance(value, float) else str(value)


def _correlations(study: Study) -> list[str]:
    if not study.correlations:
        return []
    rows = [(*tie.between, f"{tie.rho:g}") for tie in study.correlations]
    return ["  [correlations]", *table(("between", "and", "rho"), rows, "<<>", "    ")]


# --- settings -----------------------------------------------------------------


def _settings(study: Study) -> list[str]:
    wanted, rated = study.candidates, study.machine.rated_current_a
    head = (
        "element",
        "A secondary",
        "A primary",
        f"% of relay rating {study.relay.rated_current_a:g} A",
        f"pu of machine current {rated:.4g} A",
    )
    lines = table(head, list(_bases(study)), "<>>>>")
    having = [scheme_of(study, kind) for kind in study.scheme.kinds]
    grids = {
        axis.key: getattr(wanted, axis.key)
        for axis in AXES
        if axis.key not in PICKUPS and (axis.part == "bias" or any(map(axis.in_scheme, having)))
    }
    each = [
        f"{AXIS_WORDS[key].label} {', '.join(f'{value:g}' for value in grid)}{axis_unit(key)}"
        for key, grid in grids.items()
        if grid
    ]
    each.append(f"scheme {', '.join(study.scheme.kinds)}")
    some = ", where the scheme has it" if len(having) > 1 else ""
    lines += paragraph(f"Every combination{some}, with " + "; ".join(each) + ".", "  ")
    if (present := present_setting(study)) is not None:
        own = scheme_of(study, present.scheme)
        words = [f"scheme {present.scheme}"] + [
            f"{axis.key} {_plain(getattr(present, axis.key))}"
            for axis in AXES
            if axis.in_scheme(own) and getattr(present, axis.key) is not None
        ]
        lines += paragraph(f"In service: {', '.join(words)}.", "  ")
    return lines


def _bases(study: Study) -> Iterator[tuple[str, ...]]:
    wanted, present = study.candidates, study.candidates.present
    desk = Desk(study)
    for name in CURRENTS:
        element = name.partition("_pickup")[0] if name in PICKUPS else "break"
        grid: tuple[float, ...] = getattr(wanted, name)
        served = None if present is None else getattr(present, name)
        for pickup in sorted({*grid, *([] if served is None else [served])}):
            secondary, *others = desk.bases(pickup)
            yield (
                element + (", in service" if pickup == served else ""),
                f"{secondary:g}",
                *(f"{value:.4g}" for value in others),
            )
