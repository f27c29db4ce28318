"""The one door: a study file in, a `Study` out, or every fault of the file at once; past it nobody
checks again."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, cast

from pydantic import TypeAdapter, ValidationError

from montecarlo.errors import StudyError
from montecarlo.quantities.files import OversizeError, read_bounded
from montecarlo.quantities.wording import (
    NOT_TOO_NEAR_ZERO,
    bare,
    one_line,
    shortened,
    too_near_zero,
)
from montecarlo.relays.places import ENDS, GROUPS
from montecarlo.relays.schemes import SchemeChoice, build
from montecarlo.study.alternatives import read_alternatives
from montecarlo.study.assumption_sets import read_assumption_sets
from montecarlo.study.axes import OTHER_KEYS
from montecarlo.study.candidates import grids_of
from montecarlo.study.consistency import CHECKS, check_relay
from montecarlo.study.description import Study
from montecarlo.study.earthing_options import read_options
from montecarlo.study.other_units import in_amperes, in_other_units
from montecarlo.study.ranges import are_searched
from montecarlo.study.relay_steps import snapped
from montecarlo.study.renamed import old_words
from montecarlo.study.reword import reworded
from montecarlo.study.scheme_checks import check_scheme
from montecarlo.study.turn_shares import with_catalogue_shares

LARGEST_FILE = 1_000_000  # bytes of a study file; the worked ones have a hundredth of it
MOST_PARTS = 100  # of a key; the time to read one goes with their square
MOST_DEPTH = 20  # of tables and lists inside each other
MOST_TABLES = 1000  # of one list of tables, as [[external_events]]
MOST_LETTERS = 10_000  # of one text; a cell of a workbook holds three times as many
INSIDE = (Mapping, list, str)  # what may hold too much

# parts from the beginning of a word or a quote on, so that no letter is looked at more than
# MOST_PARTS times
LONG_KEY = re.compile(
    rf"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){{{MOST_PARTS - 1}}}"""
)


def read_study(path: str | Path, *, samples: int | None = None, seed: int | None = None) -> Study:
    """The study in a TOML file.

    Parameters
    ----------
    path : str or Path
    samples, seed : int, optional
        In place of those of the file.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        The file is no sound study: every fault, a line each.
    """
    path = Path(path)
    return study_of(study_bytes(path), path, samples=samples, seed=seed)


def study_of(
    content: bytes, path: Path, *, samples: int | None = None, seed: int | None = None
) -> Study:
    """The study in the bytes of a file, as `read_study` gives it.

    Parameters
    ----------
    content : bytes
    path : Path
        Of the file; CSV files lie beside it.
    samples, seed : int, optional
        In place of those of the file.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        As in `read_study`.
    """
    table = _table(content, one_line(str(path)))
    general = table.get("study")
    if isinstance(general, dict):
        given = {"samples": samples, "seed": seed}
        table["study"] = general | {key: value for key, value in given.items() if value is not None}
    return parse_study(table, path.parent)


def study_bytes(path: Path) -> bytes:
    """The bytes of a study file, at most LARGEST_FILE.

    Parameters
    ----------
    path : Path

    Returns
    -------
    bytes

    Raises
    ------
    StudyError
        It cannot be read.
    """
    name = one_line(str(path))
    try:
        if path.is_dir():
            raise StudyError(f"{name}: is a folder; name the study file in it")
        if not path.exists():
            raise StudyError(
                f"{name}: no such file; check the path, or make a starter with the command new"
            )
        if not path.is_file():
            raise StudyError(f"{name}: is not an ordinary file; name a TOML file")
        return read_bounded(path, LARGEST_FILE)
    except OversizeError as error:
        raise StudyError(
            f"{name}: {error}, must be at most {LARGEST_FILE}; long lists of values belong in a CSV"
            " file beside it"
        ) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise StudyError(
            f"{name}: cannot be read: {one_line(reason)}; check the path and its permissions"
        ) from None


def _table(content: bytes, name: str) -> dict[str, Any]:
    """What stands in a study file; `name` for the faults."""
    try:
        text = content.decode("utf-8-sig")
        long = LONG_KEY.search(text)
        if long:
            line = text.count("\n", 0, long.start()) + 1
            raise StudyError(
                f"{name}: line {line}: a key of {MOST_PARTS} parts or more; mend that place"
            )
        table = tomllib.loads(text)
        if table:
            return table
        raise StudyError(
            f"{name}: holds no keys; make a starter with the command new, or name another file"
        )
    except UnicodeDecodeError as error:
        raise StudyError(
            f"{name}: byte {error.start + 1} is not UTF-8 text; save the file as UTF-8"
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise StudyError(
            f"{name}: not valid TOML: {shortened(str(error))}; mend that place"
        ) from None
    except RecursionError:
        raise StudyError(
            f"{name}: not valid TOML: tables or lists nested too deeply; mend that place"
        ) from None
    except ValueError as error:  # a number of too many digits
        raise StudyError(
            f"{name}: cannot be read: {shortened(str(error))}; mend that place"
        ) from None


def parse_study(table: Mapping[str, Any], folder: Path) -> Study:
    """The study in a table already read.

    Parameters
    ----------
    table : mapping
    folder : Path
        Where its CSV files lie.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        As in `read_study`.
    """
    refused = list(_beyond_bounds(table)) or list(old_words(table))
    if refused:
        raise StudyError(*refused)
    faults: list[str] = []
    try:
        study = Study.model_validate(dict(table), context=_context(table, folder))
        sound = frozenset(Study.model_fields)
    except ValidationError as error:
        faults += reworded(error, table)
        study, sound = what_is_sound(table, folder)
    study, wrong = in_amperes(study, sound)
    faults += wrong
    if wrong or in_other_units(study, sound):
        sound -= {"candidates"}  # its grids are not known
    if {"candidates", "relay"} <= sound and not any(check_relay(study)):
        study, outside = snapped(study)
        faults += outside
    study, wrong = with_catalogue_shares(study, sound)
    faults += wrong
    faults += _faults_together(study, sound)
    if faults:
        raise StudyError(*dict.fromkeys(map(one_line, faults)))

    def parse(changed: dict[str, Any]) -> Study:
        return parse_study(changed, folder)

    if study.policy.assumption_sets:
        study._assumption_sets = read_assumption_sets(study, table, parse)
    study._alternatives = read_alternatives(study, table, parse)
    if study.earthing_options:
        study._options = read_options(study, table, parse)
    return study


def _context(table: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """What the tables need while they are read: the folder, and which CTs a scheme uses."""
    return {"folder": folder, "cts_in_use": _cts_in_use(table, folder)}


def _cts_in_use(table: Mapping[str, Any], folder: Path) -> tuple[str, ...]:
    """Places whose CTs a scheme uses. Of schemes that are not sound nothing is known: then those
    with a table, so that nobody is asked for keys that he may not need."""
    try:
        choice = SchemeChoice.model_validate(table.get("scheme"), context={"folder": folder})
        alone: dict[str, Any] = {"scheme": choice}
        known = not any(check_scheme(Study.model_construct(**alone)))
    except ValidationError:
        known = False
    if known:
        used = {group for kind in choice.kinds for group in build(choice, kind).groups}
    else:
        tables = table.get("ct")
        used = set(GROUPS).intersection(tables) if isinstance(tables, Mapping) else set()
    return tuple(group for group in GROUPS if group in used) or ENDS


def _faults_together(study: Study, sound: frozenset[str]) -> Iterator[str]:
    """What makes a study meaningless though every key is right by itself, of its sound parts."""
    if "scheme" in sound:
        wrong = list(check_scheme(study))
        yield from wrong
        if wrong:
            sound -= {"scheme"}  # what rests on it cannot be judged
    for check in CHECKS:
        if sound.issuperset(check.needs):
            yield from check.faults(study)


def _beyond_bounds(table: Mapping[str, Any]) -> Iterator[str]:
    """Keys with more inside than any study needs, since what follows calls itself for every level
    and compares names; and with numbers too near 0."""
    waiting = [(bare(key), value, 1) for key, value in table.items() if isinstance(value, INSIDE)]
    while waiting:
        path, node, depth = waiting.pop()
        if isinstance(node, str):
            if len(node) > MOST_LETTERS:
                yield (
                    f"{path}: a text of {len(node)} characters, must be at most {MOST_LETTERS};"
                    " shorten it"
                )
            continue
        if isinstance(node, list) and len(node) > MOST_TABLES and isinstance(node[0], Mapping):
            yield f"{path}: {len(node)} tables, must be at most {MOST_TABLES}; leave some out"
            continue
        within = [
            (f"{path}[{key}]" if isinstance(node, list) else f"{path}.{bare(key)}", value)
            for key, value in (node.items() if isinstance(node, Mapping) else enumerate(node))
            if isinstance(value, INSIDE) or too_near_zero(value)
        ]
        near = [
            f"{key}: {value:g}, {NOT_TOO_NEAR_ZERO}"
            for key, value in within
            if isinstance(value, float)
        ]
        yield from near[:1] if isinstance(node, list) else near
        inner = [(key, value, depth + 1) for key, value in within if isinstance(value, INSIDE)]
        if inner and depth == MOST_DEPTH:
            yield (
                f"{path}: tables or lists more than {MOST_DEPTH} deep inside each other; mend that"
                " place"
            )
            return
        waiting += inner


def what_is_sound(table: Mapping[str, Any], folder: Path) -> tuple[Study, frozenset[str]]:
    """The tables of a study that can be read, without the others.

    Parameters
    ----------
    table : mapping
    folder : Path
        Where its CSV files lie.

    Returns
    -------
    tuple of Study and frozenset of str
        A study that has these tables alone, and their names; none where the table holds too much.
    """
    parts: dict[str, Any] = {}
    if any(_beyond_bounds(table)):
        return Study.model_construct(**parts), frozenset()
    context = _context(table, folder)
    for name, field in Study.model_fields.items():
        if name in table:
            try:
                value = tuple(table[name]) if isinstance(table[name], list) else table[name]
                adapter: TypeAdapter[Any] = TypeAdapter(cast(Any, field.annotation))
                parts[name] = adapter.validate_python(value, strict=True, context=context)
            except ValidationError:
                continue
        elif not field.is_required():
            parts[name] = field.default
    return Study.model_construct(**parts), frozenset(parts)


# --- the study's digest -------------------------------------------------------


def digest(study: Study) -> str:
    """SHA-256 (hex) of everything in the study that changes a number: not its title, not which of
    its results are compared (unless that keeps circuits in a race), not which share of samples
    without a result ends it, not which misfit of a curve is accepted, not how far inputs are moved
    after the choice, not the sources, not what its report is filed under, not how its records are
    sampled.

    Assumption sets, alternatives and options count as read too: their changes may name CSV files,
    whose numbers matter.

    Parameters
    ----------
    study : Study

    Returns
    -------
    str
    """
    table = study.model_dump(mode="json")
    del (
        table["study"]["title"],
        table["study"]["radius"],
        table["policy"]["margins"],
        table["policy"]["front"],
        table["study"]["unresolved_share_max"],
        table["document"],
        table["waveforms"],
    )
    if not study.study.racing:
        del table["study"]["compare"]
    for cts in (table["ct"], *(table["ct"][group] for group in GROUPS)):
        if cts is not None:
            del cts["excitation_misfit_max_percent"]
    for settings in (table["candidates"], table["candidates"]["existing"] or {}):
        for key in OTHER_KEYS & settings.keys():  # amperes by now
            del settings[key]
    if are_searched(grids_of(study)):
        table["candidates"]["searched"] = True
    table["scheme"]["kind"] = list(study.scheme.kinds)
    others = (*study.assumption_sets, *study.alternative_studies, *study.options)
    if others:
        table["as_read"] = [[name, digest(other)] for name, other in others]
    text = json.dumps(
        _without_sources(table), sort_keys=True, separators=(",", ":"), allow_nan=False
    )
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _without_sources(value: Any) -> Any:
    """Quantities without their source; {value = 3, source = ...} is 3."""
    if isinstance(value, list):
        return [_without_sources(item) for item in value]
    if not isinstance(value, dict):
        return value
    rest = {key: _without_sources(item) for key, item in value.items() if key != "source"}
    return rest["value"] if set(rest) == {"value"} else rest
