"""Cautions of the current transformers and the relay."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from montecarlo.relays.places import ENDS
from montecarlo.secondary.completion import design_of, fit_of
from montecarlo.secondary.measured import MISFIT_MAX_PERCENT
from montecarlo.study.axes import PICKUPS
from montecarlo.study.check import Caution
from montecarlo.study.ct_checks import ct_key
from montecarlo.study.description import Study
from montecarlo.study.grids import snap


def _ct_rating(study: Study) -> Iterator[Caution]:
    rated = study.machine.rated_current_a
    alike = study.ct.at(ENDS[0]).primary_a == study.ct.at(ENDS[1]).primary_a
    for end in ENDS[:1] if alike else ENDS:
        primary = study.ct.at(end).primary_a
        if not 0.5 <= rated / primary <= 1.2:
            yield Caution(
                ct_key(study.ct, end, "primary_a"),
                f"The machine's rated current {rated:.4g} A is "
                f"{rated / primary:.2g} of the CT's {primary:g} A; 0.5 to 1.2 is usual.",
            )


def _relay_rating(study: Study) -> Iterator[Caution]:
    secondary = study.ct.at("line_end").secondary_a
    if secondary != study.relay.rated_current_a:
        yield Caution(
            "relay.rated_current_a",
            f"The relay is rated {study.relay.rated_current_a:g} A, the CTs "
            f"{secondary:g} A secondary; settings in per cent are of the relay's rating.",
        )


def _perfect_cts(study: Study) -> Iterator[Caution]:
    """Spill comes from what makes the CTs of the two ends differ; without it no candidate can trip
    falsely."""
    ends = [study.ct.at(end) for end in ENDS]
    if all(ct.knee_current_a.support()[1] == 0 for ct in ends):
        yield Caution(
            "ct.knee_current_a",
            "The CTs are ideal (no exciting current): they never saturate, p_false "
            "then says nothing of saturation.",
        )
    elif all(ct.remanence_percent.support() == (0, 0) for ct in ends):
        yield Caution(
            "ct.remanence_percent",
            "No core holds remanence before an event; surveys found up to 80 % in service (IEEE"
            " C37.110-2007, as quoted in secondary sources), and p_false would be larger.",
        )
    if all(ct.turns_ratio_error_percent.support() == (0, 0) for ct in ends):
        yield Caution(
            "ct.turns_ratio_error_percent",
            "All six CTs have exactly their rated ratio, so no spill comes from unlike ratios.",
        )


def _alike(study: Study) -> Iterator[Caution]:
    """A class or measured points give one knee; six real cores have six."""
    tables: list[tuple[str, Any, tuple[str, ...]]] = [("ct", study.ct, ENDS)]
    tables += [(f"ct.{end}", getattr(study.ct, end), (end,)) for end in ENDS]
    for key, table, ends in tables:
        cts = [study.ct.at(end) for end in ends]
        derived = any(ct.excitation_points or design_of(vars(ct)) for ct in cts)
        if table is None or not derived:
            continue
        factor = table.knee_factor or study.ct.knee_factor
        if table.knee_voltage_v is not None and (factor is None or factor.is_number):
            yield Caution(
                f"{key}.knee_factor",
                "The knees are exactly alike, as the class or the measured points give "
                "them; unlike cores are what makes a spill: give knee_factor a distribution.",
            )


def _assumed_ratio(study: Study) -> Iterator[Caution]:
    """Class limits are check values: what a test must stay below."""
    told = set()
    for end in study.ct.groups:
        error = study.ct.at(end).turns_ratio_error_percent
        key = ct_key(study.ct, end, "turns_ratio_error_percent")
        if error.source.startswith("default of class") and key not in told:
            told.add(key)
            yield Caution(
                key,
                f"No ratio error is given, so {error.support()[1]:g} % either way was assumed, "
                f"evenly spread: what {error.source.removeprefix('default of ')} leaves the turns "
                "at most. A "
                "class limit is a check value, no measured error; give those of a test report.",
            )


def _misfit(study: Study) -> Iterator[Caution]:
    """A curve that is accepted only because the study states its misfit."""
    told = set()
    for end in study.ct.groups:
        fit = fit_of(vars(study.ct.at(end)))
        key = ct_key(study.ct, end, "excitation_misfit_max_percent")
        if fit is not None and fit.misfit_percent > MISFIT_MAX_PERCENT and key not in told:
            told.add(key)
            yield Caution(
                key,
                "The curve fitted to the measured points misses them by "
                f"{100 * fit.rms:.3g} % RMS and "
                f"{100 * fit.worst:.3g} % at most, more than is accepted unless stated "
                f"({MISFIT_MAX_PERCENT:g} % RMS); look at the points in the hand calculation.",
            )


def _remanence_model(study: Study) -> Iterator[Caution]:
    if study.ct.remanence_model == "shifted_curve":
        yield Caution(
            "ct.remanence_model",
            "A shifted curve never forgets the remanence and rests at any flux: "
            "remanence_bound_percent does no more than limit remanence_percent.",
        )


def _pickup_error(study: Study) -> Iterator[Caution]:
    if study.relay.pickup_error_percent.is_number:
        yield Caution(
            "relay.pickup_error_percent",
            "Every element operates exactly as set or off by the same"
            f" {study.relay.pickup_error_percent.centre():g} %; 2 to 5 % either way is common"
            " practice.",
        )


def _existing_step(study: Study) -> Iterator[Caution]:
    """The setting in service stays as it is, even where the relay could not be set so."""
    existing = study.candidates.existing
    relay = study.relay
    if existing is None or (relay.step_a is None and relay.range_a is None):
        return
    for name in PICKUPS:
        value = getattr(existing, name)
        if value is None:
            continue
        key = f"candidates.existing.{name}"
        snapped = snap((value,), relay.step_a, relay.range_a)
        if snapped.outside:
            yield Caution(
                key, f"{value:g} A in service cannot be set on this relay; it is judged as given."
            )
        elif snapped.moved:
            yield Caution(
                key,
                f"{value:g} A in service is not on the relay's step; the "
                f"nearest is {snapped.points[0]:g} A. It is judged as given.",
            )


SECONDARY_CAUTIONS = (
    _ct_rating,
    _relay_rating,
    _perfect_cts,
    _alike,
    _assumed_ratio,
    _misfit,
    _remanence_model,
    _pickup_error,
    _existing_step,
)
