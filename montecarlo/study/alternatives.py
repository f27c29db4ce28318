"""Alternatives of a study: the same file with some keys changed, each a study that makes its own
choice."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from montecarlo.errors import StudyError
from montecarlo.quantities.wording import shown
from montecarlo.study.assumption_sets import ALONE, CHANGEABLE, Parse, Studies, alone, read_changed
from montecarlo.study.description import Study

KIND = "alternatives"

# Each alternative chooses among its own candidates; seed and numbers of samples make the random
# numbers common.
TABLES = (
    *CHANGEABLE,
    "scheme",
    "relay",
    "backup",
    "fault_energy",
    "damage",
    "dependability",
    "candidates",
    "policy",
)


def read_alternatives(study: Study, table: Mapping[str, Any], parse: Parse) -> Studies:
    """The study with each of its `alternatives`, of the kind of one study alone.

    Parameters
    ----------
    study : Study
    table : mapping
        Of the file.
    parse : callable
        Table in, study out.

    Returns
    -------
    tuple of (str, Study)

    Raises
    ------
    StudyError
        An alternative makes no sound study.
    """
    if study.study.kind != KIND:
        if study.alternatives:
            raise StudyError(
                f"alternatives: study.kind is {shown(study.study.kind)}; give {shown(KIND)} or take"
                " the alternatives out"
            )
        return ()
    found = read_changed(
        "alternatives", study.alternatives, alone(table), TABLES, parse, [*_faults(study)]
    )
    if faults := [text for at, (_, one) in enumerate(found) for text in _units(study, one, at)]:
        raise StudyError(*faults)
    return found


def _units(study: Study, other: Study, at: int) -> Iterator[str]:
    """What is compared must be counted in one unit."""
    damage = study.damage, other.damage
    costs = study.policy.least_annual_cost, other.policy.least_annual_cost
    for key, own, changed in (
        ("damage.reference_a", *(one and one.reference_a for one in damage)),
        ("policy.least_annual_cost.unit", *(one and one.unit for one in costs)),
    ):
        if None not in (own, changed) and own != changed:
            yield (
                f"alternatives[{at}].changes: {key} becomes {shown(changed)}, must stay"
                f" {shown(own)} as in the study, which alternatives are compared with; take it out"
            )


def _faults(study: Study) -> Iterator[str]:
    if not study.alternatives:
        yield (
            f"alternatives: none, but study.kind is {shown(KIND)}; give at least one table"
            " [[alternatives]] with name and changes"
        )
    if study.study.compare_remanence_models:
        yield (
            "study.compare_remanence_models: true in a study of alternatives; make the other model"
            ' an alternative, changes = { "ct.remanence_model" = ... }'
        )
    if study.study.compare:
        yield (
            "study.compare: compares candidates of a single study; take it out, or run the file as"
            f" {shown(ALONE)}"
        )
