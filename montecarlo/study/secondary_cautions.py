"""Cautions of the current transformers and the relay."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from montecarlo.relays.places import ENDS, GROUPS
from montecarlo.secondary.completion import design_of, fit_of
from montecarlo.secondary.measured import MISFIT_MAX_PERCENT
from montecarlo.secondary.transient import STEPS_PER_CYCLE
from montecarlo.study.axes import PICKUPS
from montecarlo.study.check import Caution
from montecarlo.study.circuits import scheme_of
from montecarlo.study.ct_checks import ct_key
from montecarlo.study.description import Study
from montecarlo.study.gate_checks import short_gates, unused_gates
from montecarlo.study.grids import snap

LEAST_CONFIRMED_S = 3e-3  # of decisions on end, before a numerical element trips


def _ends(study: Study) -> tuple[str, ...]:
    """The ends of the winding whose CTs a scheme uses."""
    return tuple(end for end in ENDS if end in study.ct.groups)


def _unused(study: Study) -> Iterator[Caution]:
    """Tables of CTs that neither the study nor one of its alternatives uses."""
    studies = [study, *(other for _, other in study.alternative_studies)]
    used = {group for one in studies for group in one.ct.groups}
    for group in GROUPS:
        if getattr(study.ct, group) is not None and group not in used:
            yield Caution(f"ct.{group}", "No scheme uses these CTs. The table changes no result.")


def _ct_rating(study: Study) -> Iterator[Caution]:
    rated = study.machine.rated_current_a
    ends: dict[float, str] = {}
    for end in _ends(study):
        ends.setdefault(study.ct.at(end).primary_a, end)
    for primary, end in ends.items():
        if not 0.5 <= rated / primary <= 1.2:
            yield Caution(
                ct_key(study.ct, end, "primary_a"),
                f"The machine's rated current of {rated:.4g} A is {rated / primary:.2g} times the"
                f" CT's {primary:g} A. Usual is 0.5 to 1.2.",
            )


def _relay_rating(study: Study) -> Iterator[Caution]:
    secondary = study.ct.stating.secondary_a
    if secondary != study.relay.rated_current_a:
        yield Caution(
            "relay.rated_current_a",
            f"The relay is rated {study.relay.rated_current_a:g} A, the CTs {secondary:g} A"
            " secondary. Settings in per cent are of the relay's rating.",
        )


def _perfect_cts(study: Study) -> Iterator[Caution]:
    """Spill comes from what makes the CTs of the two ends differ; without it no candidate can trip
    falsely."""
    ends = [study.ct.at(end) for end in study.ct.groups]
    if all(ct.knee_current_a.support()[1] == 0 for ct in ends):
        yield Caution(
            "ct.knee_current_a",
            "The CTs are ideal (no exciting current). They never saturate, so p_false leaves"
            " saturation out.",
        )
    elif all(ct.remanence_percent.support() == (0, 0) for ct in ends):
        yield Caution(
            "ct.remanence_percent",
            "No core has remanence before an event. Surveys found up to 80 % in service (IEEE"
            " C37.110-2007, as quoted in secondary sources). With remanence p_false is larger.",
        )
    if all(ct.turns_ratio_error_percent.support() == (0, 0) for ct in ends):
        yield Caution(
            "ct.turns_ratio_error_percent",
            "All CTs have exactly their rated ratio. Unlike ratios therefore cause no spill.",
        )


def _alike(study: Study) -> Iterator[Caution]:
    """A class or measured points give one knee; six real cores have six."""
    tables: list[tuple[str, Any, tuple[str, ...]]] = [("ct", study.ct, _ends(study))]
    tables += [(f"ct.{end}", getattr(study.ct, end), (end,)) for end in _ends(study)]
    for key, table, ends in tables:
        cts = [study.ct.at(end) for end in ends]
        derived = any(ct.excitation_points or design_of(vars(ct)) for ct in cts)
        if table is None or not derived:
            continue
        factor = table.knee_factor or study.ct.knee_factor
        if table.knee_voltage_v is not None and (factor is None or factor.is_number):
            yield Caution(
                f"{key}.knee_factor",
                "The knees are exactly alike, as the class or the measured points give them. Spill"
                " comes from unlike cores. Give knee_factor a distribution.",
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
                f"No ratio error is given. An even spread of {error.support()[1]:g} % either way"
                f" was assumed, the limit of {error.source.removeprefix('default of ')}. A class"
                " limit is a check value, not a measured error. Give the errors of a test report.",
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
                f"The fitted curve differs from the measured points by {100 * fit.rms:.3g} % RMS"
                f" and {100 * fit.worst:.3g} % at most. The usual limit is {MISFIT_MAX_PERCENT:g}"
                " % RMS. Look at the points in the hand calculation.",
            )


def _remanence_model(study: Study) -> Iterator[Caution]:
    if study.ct.remanence_model == "shifted_curve":
        yield Caution(
            "ct.remanence_model",
            "With a shifted curve the remanence never decays, and the core can rest at any flux."
            " remanence_bound_percent only limits remanence_percent.",
        )


def _pickup_error(study: Study) -> Iterator[Caution]:
    if study.relay.pickup_error_percent.is_number:
        yield Caution(
            "relay.pickup_error_percent",
            "All elements have the same pick-up error of"
            f" {study.relay.pickup_error_percent.centre():g} %. Common practice is 2 to 5 % either"
            " way.",
        )


def _no_confirmation(study: Study) -> Iterator[Caution]:
    """A biased element that trips at once: what a numerical relay does not do."""
    if not any(scheme_of(study, kind).biased for kind in study.scheme.kinds):
        return
    chain = study.relay.chain
    per_cycle = STEPS_PER_CYCLE if chain is None else chain.samples_per_cycle
    step_s = 1 / study.machine.frequency_hz / per_cycle
    shortest = min(study.candidates.delay_s)
    if shortest < LEAST_CONFIRMED_S:
        count = 1 + round(shortest / step_s)
        steps = f"{count} step{'' if count == 1 else 's'}"
        yield Caution(
            "candidates.delay_s",
            f"With a delay of {shortest:g} s a biased element trips once {steps} of"
            f" {1e3 * step_s:.2g} ms above its setting {'has' if count == 1 else 'have'} passed."
            " Numerical relays ask for several decisions on end, 3 to 5 ms (common practice).",
        )


def _low_high_set(study: Study) -> Iterator[Caution]:
    """A high-set element at or below the phase pick-up takes the place of the phase element."""
    grids, existing = study.candidates, study.candidates.existing
    pairs = [("candidates", grids.high_set_pickup_a, grids.phase_pickup_a)]
    if existing is not None and existing.high_set_pickup_a and existing.phase_pickup_a:
        own = (existing.high_set_pickup_a,), (existing.phase_pickup_a,)
        pairs.append(("candidates.existing", *own))
    for path, high, phase in pairs:
        if high and phase and min(high) <= max(phase):
            yield Caution(
                f"{path}.high_set_pickup_a",
                f"{min(high):g} A is not above the phase pick-up of {max(phase):g} A. The high-set"
                " element has no bias and no gate. It then decides in place of the phase element.",
            )


def _existing_step(study: Study) -> Iterator[Caution]:
    """The existing setting stays as it is, even where the relay could not be set so."""
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
                key, f"The existing {value:g} A cannot be set on this relay. It is judged as given."
            )
        elif snapped.moved:
            yield Caution(
                key,
                f"The existing {value:g} A is not on a step of the relay. The nearest step is"
                f" {snapped.points[0]:g} A. It is judged as given.",
            )


SECONDARY_CAUTIONS = (
    _unused,
    _ct_rating,
    _relay_rating,
    _perfect_cts,
    _alike,
    _assumed_ratio,
    _misfit,
    _remanence_model,
    _pickup_error,
    _no_confirmation,
    _low_high_set,
    _existing_step,
    unused_gates,
    short_gates,
)
