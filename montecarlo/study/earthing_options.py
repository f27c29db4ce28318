"""Options of earthing the neutral: the same file with [earthing] changed, each read through the
same door."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from montecarlo.errors import StudyError
from montecarlo.quantities.wording import LABEL, fit_for_label, shown
from montecarlo.study.assumption_sets import ALONE, Parse, Studies, alone
from montecarlo.study.description import Study

KIND = "earthing_options"
MOST_OPTIONS = 12  # each is a run of its own, and a mark in a figure


def read_options(study: Study, table: Mapping[str, Any], parse: Parse) -> Studies:
    """The study with each of its options, by changing the table as the file has it.

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
        An option makes no sound study.
    """
    found: list[tuple[str, Study]] = []
    faults: list[str] = []
    for index, option in enumerate(study.earthing_options):
        changed = alone(table)
        changed["earthing"] = option.applied(changed["earthing"])
        try:
            found.append((option.name, parse(changed)))
        except StudyError as error:
            faults += [f"earthing_options[{index}]: {fault}" for fault in error.faults]
    if faults:
        raise StudyError(*dict.fromkeys(faults))
    return tuple(found)


def option_faults(study: Study) -> Iterator[str]:
    """What the options need: their kind of study, names of their own, how long a fault lasts, whole
    ratings.

    Parameters
    ----------
    study : Study

    Yields
    ------
    str
        A line a fault.
    """
    options, general = study.earthing_options, study.study
    if general.kind != KIND:
        if options:
            yield (
                f"earthing_options: study.kind is {shown(general.kind)}; give {shown(KIND)} or take"
                " the options out"
            )
        return
    if not 2 <= len(options) <= MOST_OPTIONS:
        yield (
            f"earthing_options: {len(options)}, must be 2 to {MOST_OPTIONS}, each a table"
            " [[earthing_options]]; one without keys is [earthing] as stated"
        )
    if study.fault_energy is None:
        yield (
            "fault_energy: missing; give the table with breaker_time_s, field_decay_time_constant_s"
            " and undetected_time_s"
        )
    if study.internal_faults.shares.earth == 0:
        yield (
            "internal_faults.shares.earth: 0, must be above 0; options of earthing differ in earth"
            " faults"
        )
    for key, given in (
        ("compare", general.compare != ()),
        ("compare_remanence_models", general.compare_remanence_models),
    ):
        if given:
            yield (
                f"study.{key}: is for a single choice; take it out, or run the option by itself as"
                f" {ALONE}"
            )
    yield from _ratings_and_names(study)


def _ratings_and_names(study: Study) -> Iterator[str]:
    options = study.earthing_options
    names = [option.name for option in options]
    for index, option in enumerate(options):
        place = f"earthing_options[{index}]"
        if not option.name.strip() or option.name in names[:index]:
            yield (
                f"{place}.name: {shown(option.name)} is empty or used before; give each option its"
                " own name"
            )
        elif not fit_for_label(option.name):
            yield f"{place}.name: {shown(option.name)}, {LABEL}"
        if (option.rated_current_a is None) != (option.rated_time_s is None):
            missing = "rated_time_s" if option.rated_time_s is None else "rated_current_a"
            yield f"{place}.{missing}: missing; a rating is a current and a time, give both or none"
