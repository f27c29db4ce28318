"""Variants of a study: the same file with some keys changed, each a study that makes its own
choice."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from montecarlo.errors import StudyError
from montecarlo.quantities.wording import shown
from montecarlo.study.description import Study
from montecarlo.study.scenarios import ALONE, CHANGEABLE, Parse, Studies, alone, read_changed

KIND = "variants"

# Each variant chooses among its own candidates; seed and numbers of samples make the random
# numbers common.
TABLES = (*CHANGEABLE, "scheme", "relay", "backup", "candidates", "policy")


def read_variants(study: Study, table: Mapping[str, Any], parse: Parse) -> Studies:
    """The study with each of its `variants`, of the kind of one study alone.

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
        A variant makes no sound study.
    """
    if study.study.kind != KIND:
        if study.variants:
            raise StudyError(
                f"variants: study.kind is {shown(study.study.kind)}; give {shown(KIND)} or take the"
                " variants out"
            )
        return ()
    return read_changed("variants", study.variants, alone(table), TABLES, parse, [*_faults(study)])


def _faults(study: Study) -> Iterator[str]:
    if not study.variants:
        yield (
            f"variants: none, but study.kind is {shown(KIND)}; give at least one table [[variants]]"
            " with name and changes"
        )
    if study.study.compare_remanence_models:
        yield (
            "study.compare_remanence_models: true in a study of variants; make the other model a"
            ' variant, changes = { "ct.remanence_model" = ... }'
        )
    if study.study.compare:
        yield (
            "study.compare: compares candidates of a single study; take it out, or run the file as"
            f" {shown(ALONE)}"
        )
