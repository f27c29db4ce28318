"""Cautions of the events, of what a study assumes and of what its samples can show."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.plant.internal import UNIFORM_POSITION
from montecarlo.quantities import Distribution
from montecarlo.quantities.wording import listed
from montecarlo.study.budget import TooFew, too_few
from montecarlo.study.check import Caution
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal

# Of an installation, below which the spread over installations is mostly noise.
SEVERAL_EVENTS = 8


def _direct_current(study: Study) -> Iterator[Caution]:
    """Without resistance outside the machine the DC component outlasts that of a terminal fault."""
    nominal = Nominal(study)
    armature = nominal.at("machine.armature_time_constant_s")
    for event in study.external_events:
        outside = getattr(event, "external_resistance_pu", None)
        if outside is None or outside.support() != (0, 0):
            continue
        lasts = nominal.direct_s(event)
        if lasts is not None and lasts > armature * (1 + 1e-9):
            yield Caution(
                f"external_events.{event.name}.external_resistance_pu",
                "No resistance is given between the terminals and the fault. The DC component then"
                f" decays with {1000 * lasts:.3g} ms at the centre of the inputs, slower than at"
                f" the terminals (T_a = {1000 * armature:.3g} ms). It saturates the CTs for"
                " longer. Lines and transformers have some resistance.",
            )


def _clearing_times(study: Study) -> Iterator[Caution]:
    for event in study.external_events:
        clearing = getattr(event, "clearing_time_s", None)  # some kinds last instead
        if isinstance(clearing, Distribution) and (longest := clearing.support()[1]) > 1:
            yield Caution(
                f"external_events.{event.name}.clearing_time_s",
                f"It reaches {longest:g} s. Back-up protection usually clears within 1 s. Every"
                " sample is simulated for the whole time.",
            )


def _bolted(study: Study) -> Iterator[Caution]:
    resistance = study.internal_faults.earth_fault_resistance_ohm
    if study.internal_faults.shares.earth > 0 and resistance.support() == (0, 0):
        yield Caution(
            "internal_faults.earth_fault_resistance_ohm",
            "Every earth fault is bolted. p_missed leaves out earth faults that are missed because"
            " of their resistance.",
        )


def _position(study: Study) -> Iterator[Caution]:
    position = study.internal_faults.position
    uniform = UNIFORM_POSITION
    same_family = position.family == uniform.family
    if same_family and dict(position.parameters) == dict(uniform.parameters):
        yield Caution(
            "internal_faults.position",
            "Faults are assumed to be spread evenly along the winding. No published support was"
            " found for this. p_missed is also shown for a law weighted to the line end.",
            True,
        )


def _assumed_weights(study: Study) -> Iterator[Caution]:
    rates = [study.internal_faults.per_year, *(event.per_year for event in study.external_events)]
    fixed = sum(rate.is_number for rate in rates)
    also = ""
    if fixed:
        also = f" So are the yearly rates that are plain numbers, {fixed} of {len(rates)}."
    yield Caution(
        "internal_faults.shares",
        f"The shares of the fault types are assumptions of this study.{also} The intervals do not"
        " include their uncertainty.",
        True,
    )


def _samples(study: Study) -> Iterator[Caution]:
    general = study.study
    each = general.samples / general.installations
    if each < SEVERAL_EVENTS:
        yield Caution(
            "study.samples",
            f"{general.samples} samples on {general.installations} installations are {each:.3g}"
            f" {'event' if each == 1 else 'events'} per installation. Below"
            f" {SEVERAL_EVENTS} the spread over installations is mostly noise.",
        )


def _provable(study: Study) -> Iterator[Caution]:
    for found in too_few(study):
        yield Caution(found.key, too_few_words(found))


def too_few_words(found: TooFew) -> str:
    """What samples that are too few can show, and how many are needed.

    Parameters
    ----------
    found : TooFew

    Returns
    -------
    str
    """
    level = f"{100 * found.level:g} %"
    if found.event:
        return (
            f"With no false trip at all, {found.samples} samples of {found.event} bound p_false at"
            f" {found.best:.2g} ({level}). The limit on each kind is {found.limit:g}, so no"
            f" candidate can be chosen. {found.key} needs at least {found.needed} samples"
            " (study.samples or --samples)."
        )
    unit = " a year" if found.yearly else ""
    return (
        f"With no false trip at all, {found.samples} samples of each event bound false trips at"
        f" {found.best:.2g}{unit} ({level}). The limit is {found.limit:g}, so no candidate can be"
        f" chosen. The limit needs at least {found.needed} samples (study.samples or --samples)."
    )


def _event_kinds(study: Study) -> Iterator[Caution]:
    kinds = {event.kind for event in study.external_events}
    if len(kinds) == 1:
        yield Caution(
            "external_events",
            f"The only kind of external event is {listed(kinds)}. Other kinds of event are other"
            " risks.",
        )


EVENT_CAUTIONS = (
    _direct_current,
    _clearing_times,
    _bolted,
    _position,
    _assumed_weights,
    _samples,
    _provable,
    _event_kinds,
)
