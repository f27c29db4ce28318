"""The text of `check`: every input, every setting in four bases, what can be seen at all, the hand
calculation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from montecarlo.quantities import Distribution, Quantity, meaning_of
from montecarlo.quantities.wording import listed
from montecarlo.study.axes import AXES, CURRENTS, PICKUPS, Setting
from montecarlo.study.candidates import candidate_lattices, existing_setting, grids_of, is_searched
from montecarlo.study.checks import cautions
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.grids import Range, without_dust
from montecarlo.study.ranges import combinations
from studies.check.chain import chain_delays
from studies.earthing.by_hand import options_by_hand
from studies.nominal.backup import backup_by_hand
from studies.nominal.desk import Desk, outermost
from studies.nominal.groups import between
from studies.nominal.peak import caution, peak_blocks, peak_voltages
from studies.nominal.text import hand_calculation, reach
from studies.report.blocks import Block, Paragraph, Section, Table, items, paragraphs
from studies.report.notes import move_sentences
from studies.report.words import AXIS_WORDS, axis_unit, counted
from studies.turns.text import winding_by_hand

NO_INPUTS = (
    "study",
    "candidates",
    "correlations",
    "waveforms",
    "document",
)  # tables of a study that say what to do

MOST_SHOWN = 12  # settings of a range; of a longer one its ends


class Checked(NamedTuple):
    """What `check` says, and its cautions that not every study has."""

    text: list[Block]
    cautions: list[str]


def checked(study: Study) -> Checked:
    """All of it."""
    desk = Desk(study)
    peaks = peak_voltages(study)
    found = [(f"{one.key}: {one.text}", one.standing) for one in cautions(study)]
    found += [(text, False) for text in caution(peaks)]
    kind = f"{study.study.kind}: {what_is_run(study)}"
    by_hand = [*hand_calculation(desk), *backup_by_hand(desk)]
    sections = (
        Section("Inputs", list(_inputs(study))),
        Section("Signal chain of the relay", chain_delays(study)),
        Section("Settings in four bases", list(_settings(study))),
        Section("Earth faults that can operate an element", reach(desk)),
        Section("Hand calculation with every input at its centre", by_hand),
        Section("Winding, and faults between its turns", winding_by_hand(study)),
        Section("Options of earthing, by hand", options_by_hand(study) if study.options else []),
        Section(
            "Peak voltage across the relay circuit on an internal fault", list(peak_blocks(peaks))
        ),
        Section("What reading changed", items([*move_sentences(study)])),
        Section("Cautions", items(text for text, _ in found)),
    )
    return Checked(
        [
            *paragraphs(study.study.title, kind),
            *(section for section in sections if section.blocks),
        ],
        [text for text, standing in found if not standing],
    )


def what_is_run(study: Study) -> str:
    """Candidates, samples and machine in a few words."""
    general, machine = study.study, study.machine
    lattices = candidate_lattices(study)
    count = sum(len(list(lattice.settings())) for lattice in lattices)
    circuits = len({lattice.circuit for lattice in lattices})
    found = f"{counted(count, 'candidate')} on {counted(circuits, 'relay circuit')};"
    if is_searched(study):
        spanned = combinations(grids_of(study))
        found = f"ranges of {counted(spanned, 'setting')}, searched; the first round judges {found}"
    return (
        f"{found} {counted(general.samples, 'sample')} of each type on"
        f" {counted(general.installations, 'installation')}, seed"
        f" {general.seed}{''.join(_more_than_once(study))}. Machine"
        f" {machine.rated_power_va / 1e6:g} MVA, {machine.line_voltage_v / 1e3:g} kV,"
        f" {machine.rated_current_a:.4g} A."
    )


def _more_than_once(study: Study) -> Iterator[str]:
    """How often all of it is run."""
    assumption_sets, alternatives = len(study.assumption_sets), len(study.alternative_studies)
    if study.study.compare_remanence_models:
        yield ", twice: with each remanence model of the CTs"
    if assumption_sets:
        sets = counted(assumption_sets, "assumption set")
        yield f", {1 + assumption_sets} times: as stated and in {sets}"
    if alternatives:
        again = counted(alternatives, "alternative")
        yield f", and again as {again}, each with candidates of its own"
    if study.options:
        yield f", for each of {counted(len(study.options), 'option')} of earthing"


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

    @property
    def value_and_source(self) -> str:
        """Both in one cell."""
        return f"{self.value}; source: {self.source}" if self.source else self.value


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
        first = value[0] if isinstance(value, tuple) and value else value
        if isinstance(first, BaseModel):
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
        varies = f"{value.varies or meaning.varies}{_each(value, meaning)}"
    return Given(key, unit, varies, str(value).removesuffix(", shared"), value.source, text)


def _inputs(study: Study) -> Iterator[Block]:
    yield Paragraph(
        "Columns: key, unit, how it varies, value or distribution. It varies by installation or by"
        " event, with one value per CT or element where stated."
    )
    for name in input_tables():
        for title, rows in given(getattr(study, name), name):
            cells = tuple((row.key, row.unit, row.varies, row.value_and_source) for row in rows)
            yield Table((), cells, "<<<<", f"[{title}]")
    yield from correlations(study, "[correlations]")


_WIDTHS = {"ct": "CT", "element": "element"}


def _each(value: Distribution, meaning: Quantity) -> str:
    """Whether every CT or element has a value of its own."""
    if meaning.width == "one":
        return ""
    return ", shared" if value.shared else f", each {_WIDTHS[meaning.width]}"


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_plain(item)}" for key, item in value.items())
    if isinstance(value, (list, tuple)):
        return ", ".join(map(_plain, value))
    return f"{value:g}" if isinstance(value, float) else str(value)


def correlations(study: Study, caption: str) -> list[Block]:
    """Which inputs go together; nothing where all are independent."""
    rows = tuple((*tie.between, f"{tie.rho:g}") for tie in study.correlations)
    return [Table(("between", "and", "rho"), rows, "<<>", caption)] if rows else []


# --- settings -----------------------------------------------------------------


def _settings(study: Study) -> Iterator[Block]:
    rated = study.machine.rated_current_a
    head = (
        "element",
        "A secondary",
        "A primary",
        f"% of {study.relay.rated_current_a:g} A",
        f"pu of {rated:.4g} A",
    )
    notes = "Per cent are of the relay's rated current, pu of the machine's. "
    notes += f"{_other_ratios(Desk(study))}{_every_combination(study)}"
    if (existing := existing_setting(study)) is not None:
        notes += f" Existing: {_in_service(study, existing)}."
    yield Table(head, tuple(_bases(study)), "<>>>>", notes=(notes,))


def _other_ratios(desk: Desk) -> str:
    """Of schemes between groups of branches, whose CTs have ratios of their own."""
    every = {kind: desk.turns_of(kind, axis) for kind, axis in between(desk)}
    if not (found := {kind: turns for kind, turns in every.items() if turns != desk.turns}):
        return ""
    each = listed(f"{turns:g} A with {kind}" for kind, turns in found.items())
    return f"One ampere secondary is {desk.turns:g} A primary; it is {each}. "


def _every_combination(study: Study) -> str:
    having = [scheme_of(study, kind) for kind in study.scheme.kinds]
    each = [
        f"{AXIS_WORDS[axis.key].label} {_listed(grid)}{axis_unit(axis.key)}"
        for axis in AXES
        if axis.key not in PICKUPS and (axis.part == "bias" or any(map(axis.in_scheme, having)))
        if (grid := getattr(study.candidates, axis.key))
    ]
    each.append(f"scheme {', '.join(study.scheme.kinds)}")
    some = ", where the scheme has it" if len(having) > 1 else ""
    return f"Every combination{some}, with {'; '.join(each)}."


def _listed(grid: Sequence[float | str]) -> str:
    if isinstance(grid, Range) and len(grid) > MOST_SHOWN:
        return f"{grid[0]:g} to {grid[-1]:g} in steps of {without_dust(grid[1] - grid[0]):g}"
    return ", ".join(map(_plain, grid))


def _in_service(study: Study, existing: Setting) -> str:
    scheme = scheme_of(study, existing.scheme)
    keys = ("scheme", *(axis.key for axis in AXES if axis.in_scheme(scheme)))
    return _plain({key: value for key in keys if (value := getattr(existing, key)) is not None})


def _bases(study: Study) -> Iterator[tuple[str, ...]]:
    wanted, existing, desk = study.candidates, study.candidates.existing, Desk(study)
    for name in CURRENTS:
        element = AXIS_WORDS[name].label.removesuffix(" pick-up").partition(",")[0]
        served = None if existing is None else getattr(existing, name)
        values = getattr(wanted, name)
        ends: dict[float, str] = {}
        if isinstance(values, Range) and len(values) > MOST_SHOWN:
            values = outermost(values)
            ends = {values[0]: ", lowest", values[-1]: ", highest"}
        for pickup in sorted({*values, *([] if served is None else [served])}):
            secondary, *others = desk.bases(pickup)
            yield (
                element + ends.get(pickup, "") + (", existing" if pickup == served else ""),
                f"{secondary:g}",
                *(f"{value:.4g}" for value in others),
            )
