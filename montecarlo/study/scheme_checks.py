"""What makes the scheme, its leads and the settings that belong to it meaningless: a line a
fault."""

from __future__ import annotations

import difflib
from collections.abc import Iterator

import numpy as np

from montecarlo.quantities import number
from montecarlo.quantities.wording import WORD, is_word, listed, shown
from montecarlo.relays.places import ENDS, GROUPS, NEUTRAL_CONDUCTOR
from montecarlo.relays.schemes import AXES, BUILT_IN, MOST_SOLVED, OF_TWO_ENDS, custom_faults
from montecarlo.study.axes import AXES as SETTING_AXES
from montecarlo.study.axes import BIAS, EARTH_BIAS, Candidates, ExistingSetting, SettingAxis
from montecarlo.study.check import Check
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study


def check_scheme(study: Study) -> Iterator[str]:
    """Every kind is known and named once; the study's own schemes are whole.

    Parameters
    ----------
    study : Study

    Yields
    ------
    str
        A line a fault.
    """
    kinds = study.scheme.kinds
    own = [scheme.name for scheme in study.scheme.custom]
    if not kinds:
        yield "scheme.kind: [] is empty; name at least one scheme"
    if len(set(kinds)) < len(kinds):
        yield f"scheme.kind: {shown(list(kinds))} names a scheme twice; leave each once"
    known = (*BUILT_IN, *own)
    for kind in kinds:
        if kind not in known:
            near = difflib.get_close_matches(kind, known, 1)
            cure = f"take {listed(known, 'or')}, or define it in scheme.custom"
            if near:
                cure = f"did you mean {near[0]}?"
            yield f"scheme.kind: {shown(kind)} is unknown; {cure}"
    for k, scheme in enumerate(study.scheme.custom):
        if scheme.name in (*BUILT_IN, *own[:k]) or not is_word(scheme.name):
            yield (
                f"scheme.custom[{k}].name: {shown(scheme.name)}, must be {WORD} that no other "
                "scheme has"
            )
        yield from (f"scheme.custom[{k}].{fault}" for fault in custom_faults(scheme))


def _comparison(study: Study) -> Iterator[str]:
    """A comparison has something to compare."""
    if study.study.kind != "scheme_comparison":
        return
    if len(study.scheme.kinds) < 2:
        yield (
            "study.kind: scheme_comparison needs at least two schemes in scheme.kind; name another,"
            " or take setting_sweep"
        )
    if study.study.compare_remanence_models:
        yield (
            "study.compare_remanence_models: true together with scheme_comparison; take it out, or"
            " run both models as setting_sweep"
        )


def check_leads(study: Study) -> Iterator[str]:
    """CTs that a scheme uses are described; six-wire leads have no common return.

    Parameters
    ----------
    study : Study

    Yields
    ------
    str
        A line a fault.
    """
    for kind in study.scheme.kinds:
        for group in GROUPS[len(ENDS) :]:
            if group in scheme_of(study, kind).groups and getattr(study.ct, group) is None:
                what = "cores of its own"
                if group == NEUTRAL_CONDUCTOR:
                    what = "the neutral CT"
                yield (
                    f"ct.{group}: missing; the scheme {kind} uses {what}: add the table"
                    f" [ct.{group}], empty if the values of [ct] hold there too"
                )
    if study.ct.neutral_conductor is not None:
        own = study.ct.at(NEUTRAL_CONDUCTOR).return_core_ohm
        if own not in (study.ct.return_core_ohm, number(0.0)):
            yield (
                f"ct.{NEUTRAL_CONDUCTOR}.return_core_ohm: the neutral CT has a return core of its"
                " own, as long as its lead; take it out"
            )
    if study.scheme.leads == "six_wire":
        for group in study.ct.groups:
            if study.ct.at(group).return_core_ohm.support() != (0.0, 0.0):
                yield (
                    "ct.return_core_ohm: six-wire leads have no common return core; take it out,"
                    " or set scheme.leads = 'four_wire'"
                )
                break


def _have(study: Study) -> str:
    kinds = study.scheme.kinds
    return f"{listed(kinds)} {'has' if len(kinds) == 1 else 'have'}"


def _elements(study: Study) -> Iterator[str]:
    """Every element needs its grid; without one the grid means nothing."""
    schemes, grids = [scheme_of(study, kind) for kind in study.scheme.kinds], study.candidates
    for axis in AXES:
        having = [scheme.kind for scheme in schemes if scheme.of(axis)]
        name = f"{axis}_pickup_a"
        given = getattr(grids, name)
        article = "an" if axis == "earth" else "a"
        if having and not given:
            yield (
                f"candidates.{name}: missing; the scheme {having[0]} has {article} {axis}"
                " element, name its pick-ups in A secondary"
            )
        if given and not having:
            yield (
                f"candidates.{grids.key_of(name)}: {shown(list(given))}, but {_have(study)} no"
                f" {axis} element; take it out or name a scheme that has one"
            )
    biased = [scheme.kind for scheme in schemes if scheme.biased]
    if biased and not grids.first_slope:
        yield (
            f"candidates.first_slope: missing; the scheme {biased[0]} has biased elements, name"
            " their slopes, as [0.1, 0.2]"
        )
    for name in BIAS:
        given = getattr(grids, name)
        if given and not biased:
            yield (
                f"candidates.{grids.key_of(name)}: {shown(list(given))}, but {_have(study)} no"
                " biased element; take it out or name a scheme that has one"
            )
    yield from _slope_pairs("candidates", grids)


def _two_ends(study: Study) -> Iterator[str]:
    """Bias currents that look at the phase between two ends have two, of opposite sense in the
    leg."""
    for kind in study.scheme.kinds:
        scheme = scheme_of(study, kind)
        for element in scheme.elements:
            current = study.scheme.bias_current_of(element.axis)
            if not element.bias or current not in OF_TWO_ENDS:
                continue
            row = scheme.table[element.leg]
            ends = row[list(element.bias)]
            if len(ends) != 2 or np.prod(ends) >= 0 or np.count_nonzero(row) != 2:
                own = element.axis == "earth" and study.scheme.earth_bias_current is not None
                yield (
                    f"scheme.{'earth_' if own else ''}bias_current: {current} in the scheme {kind},"
                    f" whose {scheme.element_name(scheme.elements.index(element))} element has"
                    f" {len(ends)} CTs in its bias and compares {np.count_nonzero(row)}; it takes"
                    " the same two in both, of opposite sense: take mean, sum or largest"
                )
                break


def _unused_bias(study: Study) -> Iterator[str]:
    """What is stated of a biased earth element belongs to one."""
    schemes = [scheme_of(study, kind) for kind in study.scheme.kinds]
    if any(scheme.elements[k].bias for scheme in schemes for k in scheme.of("earth")):
        return
    for key in ("earth_bias_form", "earth_bias_current"):
        if (given := getattr(study.scheme, key)) is not None:
            yield (
                f"scheme.{key}: {shown(given)}, but {_have(study)} no earth element with bias_cts;"
                " take it out or name a scheme that has one"
            )


def _slope_pairs(path: str, table: Candidates | ExistingSetting) -> Iterator[str]:
    """A second slope has a turning point, and a first slope before it."""
    for slopes in (BIAS, EARTH_BIAS):
        lacking = [key for key in slopes[1:] if getattr(table, key) in (None, ())]
        if slopes == EARTH_BIAS and not lacking and getattr(table, slopes[0]) in (None, ()):
            yield f"{path}.{slopes[0]}: missing; {slopes[1]} and {slopes[2]} go with it"
        if len(lacking) == 1:
            yield (
                f"{path}.{lacking[0]}: missing; a second slope and the bias current where it begins"
                " go together"
            )


def _own(study: Study) -> Iterator[str]:
    """What elements have for themselves belongs to elements that there are."""
    schemes, grids = [scheme_of(study, kind) for kind in study.scheme.kinds], study.candidates
    existing = grids.existing
    for axis in (one for one in SETTING_AXES if one.own and one.part != "gate"):
        given = getattr(grids, axis.key)
        if given and not any(axis.in_scheme(scheme) for scheme in schemes):
            pickups = axis.part == "time" and axis.element == "high_set"
            cure = "give candidates.high_set_pickup_a" if pickups else "name a scheme that has one"
            yield (
                f"candidates.{grids.key_of(axis.key)}: {shown(list(given))}, but {_have(study)} no"
                f" {_lacking(axis)}; take it out or {cure}"
            )
        if existing is None or (value := getattr(existing, axis.key)) is None:
            continue
        kind = _existing_kind(study, existing)
        if axis.part == "high set" and not given:
            yield (
                f"candidates.existing.{axis.key}: {value:g} A, but no candidate has high-set"
                " elements; name their pick-ups in candidates.high_set_pickup_a"
            )
        elif kind in study.scheme.kinds and not axis.in_scheme(scheme_of(study, kind)):
            yield (
                f"candidates.existing.{axis.key}: {value:g}, but {kind} has no {_lacking(axis)};"
                " take it out"
            )


def _lacking(axis: SettingAxis) -> str:
    if axis.part == "bias":
        return "earth element with bias_cts"
    if axis.part == "high set":
        return "phase element"
    return "earth element" if axis.element == "earth" else "high-set element"


def _existing_kind(study: Study, existing: ExistingSetting) -> str:
    """The scheme of the existing setting; empty where it might be several."""
    kinds = study.scheme.kinds
    return existing.scheme or (kinds[0] if len(kinds) == 1 else "")


def _stabilising(study: Study) -> Iterator[str]:
    """A stabilising resistance needs a leg to stand in."""
    kinds, given = study.scheme.kinds, study.candidates.stabilising_resistance_ohm
    if given != (0.0,) and not any(scheme_of(study, kind).stabilised for kind in kinds):
        ohms = ", ".join(f"{ohm:g}" for ohm in given)
        yield (
            f"candidates.stabilising_resistance_ohm: [{ohms}], but {_have(study)} no relay circuit"
            " for it;"
            " take it out or name a scheme that has one"
        )
    existing = study.candidates.existing
    if existing is None or existing.stabilising_resistance_ohm <= 0:
        return
    kind = _existing_kind(study, existing)
    if kind in kinds and not scheme_of(study, kind).stabilised:
        yield (
            f"candidates.existing.stabilising_resistance_ohm:"
            f" {existing.stabilising_resistance_ohm:g} ohm, but {kind} has no relay circuit for it;"
            " take it out"
        )


def _existing(study: Study) -> Iterator[str]:
    """The existing setting belongs to one scheme and is whole."""
    existing, kinds = study.candidates.existing, study.scheme.kinds
    if existing is None:
        return
    kind = _existing_kind(study, existing)
    if kind not in kinds:
        yield (
            f"candidates.existing.scheme: {shown(kind) if kind else 'missing'}; "
            f"name one of scheme.kind: {listed(kinds, 'or')}"
        )
        return
    scheme = scheme_of(study, kind)
    for axis in AXES:
        pickup, has = getattr(existing, f"{axis}_pickup_a"), scheme.of(axis)
        whose = "phase elements'" if axis == "phase" else "earth element's"
        if has and pickup is None:
            yield (
                f"candidates.existing.{axis}_pickup_a: missing; give the {whose} existing pick-up,"
                " in A secondary"
            )
        elif not has and pickup is not None:
            yield (
                f"candidates.existing.{axis}_pickup_a: {pickup:g} A, but {kind} has no {axis}"
                " element; take it out"
            )
    if scheme.biased and existing.first_slope is None:
        yield "candidates.existing.first_slope: missing; give the existing slope"
    for name in BIAS:
        value = getattr(existing, name)
        if not scheme.biased and value is not None:
            yield (
                f"candidates.existing.{name}: {value:g}, but {kind} has no biased element; take"
                " it out"
            )
    yield from _slope_pairs("candidates.existing", existing)


def _size(study: Study) -> Iterator[str]:
    """No more legs and CTs than the solvers hold."""
    for kind in study.scheme.kinds:
        legs, cts = scheme_of(study, kind).table.shape
        if max(legs, cts) > MOST_SOLVED:
            yield (
                f"scheme.custom: {kind} has {legs} relay circuits and return cores and {cts} CTs,"
                f" must be at most {MOST_SOLVED} of each; take some out"
            )


SCHEME_CHECKS = (
    Check(_comparison, ("study", "scheme")),
    Check(check_leads, ("scheme", "ct")),
    Check(_elements, ("scheme", "ct", "candidates")),
    Check(_two_ends, ("scheme", "ct", "candidates")),
    Check(_unused_bias, ("scheme", "ct", "candidates")),
    Check(_own, ("scheme", "ct", "candidates")),
    Check(_size, ("scheme", "ct")),
    Check(_existing, ("scheme", "ct", "candidates")),
    Check(_stabilising, ("scheme", "ct", "candidates")),
)
