"""What makes the current transformers of a study meaningless: a line a fault."""

from __future__ import annotations

import math
from collections.abc import Iterator

from montecarlo.relays.places import ENDS, GROUPS
from montecarlo.secondary.ct import CtPlaces
from montecarlo.secondary.excitation import excitation_table
from montecarlo.study.check import Check
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.scheme_checks import check_leads

# A matching transformer's taps, common practice, no source; the rest is spill on load.
MATCHED_WITHIN = 0.05


def ct_key(ct: CtPlaces, end: str, name: str) -> str:
    """The key under which the file gives what the CTs of one end have.

    Parameters
    ----------
    ct : CtPlaces
    end : str
        One of `GROUPS`.
    name : str
        Of a field.

    Returns
    -------
    str
    """
    override = getattr(ct, end)
    own = override is not None and name in override.model_fields_set
    return f"ct.{end}.{name}" if own else f"ct.{name}"


def _ratios(study: Study) -> Iterator[str]:
    """CTs of different ratio that share a leg need matching, or the load would spill through its
    element."""
    pairs = {ENDS} if {*ENDS} <= {*study.ct.groups} else set()
    if not any(check_leads(study)):
        pairs = {
            (groups[0], group)
            for kind in study.scheme.kinds
            for groups in scheme_of(study, kind).sharing
            for group in groups[1:]
        }
    for first, group in sorted(pairs, key=lambda pair: [GROUPS.index(name) for name in pair]):
        one, other = study.ct.at(first), study.ct.at(group)
        if not math.isclose(one.leg_ratio, other.leg_ratio, rel_tol=MATCHED_WITHIN):
            keys = [
                ct_key(study.ct, place, name)
                for name in ("primary_a", "secondary_a", "ratio_matching")
                for place in (group, first)
            ]
            own = [key for key in keys if key.count(".") == 2]
            key = own[0] if own else f"ct.{group}.ratio_matching"
            needed = other.turns_ratio / one.leg_ratio
            yield (
                f"{key}: {first} has {one.primary_a:g}/{one.secondary_a:g} A, {group}"
                f" {other.primary_a:g}/{other.secondary_a:g} A; load current would then flow"
                f" through the elements; give both the same ratio, or ct.{group}.ratio_matching ="
                f" {needed:.5g}"
            )


def _remanence(study: Study) -> Iterator[str]:
    """A core cannot rest at more flux than its loop holds."""
    for end in study.ct.groups:
        at = study.ct.at(end)
        low, high = at.remanence_percent.support()
        if not max(-low, high) <= at.remanence_bound_percent:
            bound = at.remanence_bound_percent
            cure = "leave out the larger"
            if at.remanence_percent.is_number:
                cure = "give a smaller number"
            elif at.remanence_percent.is_continuous:
                cure = f"truncate = [-{bound:g}, {bound:g}]"
            yield (
                f"{ct_key(study.ct, end, 'remanence_percent')}: reaches {low:g} ... {high:g} %,"
                f" must stay within {ct_key(study.ct, end, 'remanence_bound_percent')} = {bound:g}"
                f" % either way; {cure}"
            )


def _excitation(study: Study) -> Iterator[str]:
    """An excitation curve with both stops exists only for ankle ratios inside a range that the
    bound decides."""
    for end in study.ct.groups:
        at = study.ct.at(end)
        low, high = at.ankle_ratio.support()
        table = excitation_table(at.remanence_bound_percent, at.saturation_exponent)
        least, most = table.ankle_range
        if not (least <= low and high <= most):
            given = f"{low:g}" if low == high else f"{low:g} ... {high:g}"
            yield (
                f"{ct_key(study.ct, end, 'ankle_ratio')}: {given}, must stay within {least:.3f}"
                f" ... {most:.3f}, the range of a core with a remanence bound of"
                f" {at.remanence_bound_percent:g} %; narrow it or change remanence_bound_percent"
            )


CT_CHECKS = (
    Check(_ratios, ("ct", "scheme")),
    Check(_remanence, ("ct",)),
    Check(_excitation, ("ct",)),
)
