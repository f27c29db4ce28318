"""Currents of settings that a file gives in other units, while it is read made secondary amperes:
all that follows knows one unit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from montecarlo.quantities import Plain, meaning_of
from montecarlo.quantities.wording import listed
from montecarlo.study.axes import CURRENTS, OTHER_KEYS, OTHER_UNITS, Candidates, ExistingSetting
from montecarlo.study.description import Study
from montecarlo.study.grids import Axis, without_dust

TABLES = frozenset({"candidates", "relay", "machine", "ct"})  # what the conversion needs


@dataclass(frozen=True)
class _Current:
    """A current of a table of settings and the one key that gives it."""

    path: str  # of the table
    section: Candidates | ExistingSetting
    name: str  # in secondary amperes
    key: str  # as given

    @property
    def factor(self) -> str:
        """Which of `OTHER_UNITS` it has, empty for secondary amperes."""
        return self.key.removeprefix(self.name.removesuffix("a")) if self.key != self.name else ""


def in_amperes(study: Study, sound: frozenset[str]) -> tuple[Study, list[str]]:
    """The study with every current of its settings in secondary amperes.

    Parameters
    ----------
    study : Study
    sound : frozenset of str
        Its tables without a fault.

    Returns
    -------
    Study
        The same where a base of a current is not known.
    list of str
        What is wrong, a line each: two keys for one current, a current out of range.
    """
    if "candidates" not in sound:
        return study, []
    currents, faults = _given(study)
    if faults or not sound >= TABLES:
        return study, faults
    ampere = _amperes(study)
    changed: dict[str, dict[str, object]] = {}
    for one in currents:
        value = getattr(one.section, one.key)
        points = value if isinstance(value, tuple) else (value,)
        amperes = tuple(without_dust(point * ampere[one.factor]) for point in points)
        faults += _out_of_range(one, points, amperes)
        unset = () if isinstance(value, tuple) else None
        held: object = amperes if isinstance(value, tuple) else amperes[0]
        changed.setdefault(one.path, {}).update({one.key: unset, one.name: held})
    if faults or not changed:
        return study, faults
    candidates = study.candidates
    if candidates.existing is not None and "candidates.existing" in changed:
        existing = candidates.existing.model_copy(update=changed.pop("candidates.existing"))
        candidates = candidates.model_copy(update={"existing": existing})
    candidates = candidates.model_copy(update=changed.get("candidates", {}))
    candidates._given = tuple((one.name, one.key) for one in currents if one.path == "candidates")
    return study.model_copy(update={"candidates": candidates}), faults


def in_other_units(study: Study, sound: frozenset[str]) -> bool:
    """Whether a current of the settings is still in another unit, as a base of it is not known.

    Parameters
    ----------
    study : Study
    sound : frozenset of str
        Its tables without a fault.

    Returns
    -------
    bool
    """
    if "candidates" not in sound:
        return False
    tables = (study.candidates, study.candidates.existing)
    return any(getattr(table, key, None) for table in tables for key in OTHER_KEYS)


def _keys(name: str) -> list[str]:
    return [name, *(name.removesuffix("a") + unit for unit in OTHER_UNITS)]


def _given(study: Study) -> tuple[list[_Current], list[str]]:
    """The currents in other units, and those that have two keys."""
    tables: list[tuple[str, Candidates | ExistingSetting]] = [("candidates", study.candidates)]
    if study.candidates.existing is not None:
        tables.append(("candidates.existing", study.candidates.existing))
    currents, faults = [], []
    for path, section in tables:
        for name in CURRENTS:
            keys = [key for key in _keys(name) if getattr(section, key) not in (None, ())]
            if len(keys) > 1:
                others = listed(f"{path}.{key}" for key in keys[:-1])
                faults.append(f"{path}.{keys[-1]}: given beside {others}; keep one of them")
            elif keys and keys[0] != name:
                currents.append(_Current(path, section, name, keys[0]))
    return currents, faults


def _amperes(study: Study) -> dict[str, float]:
    """Secondary amperes of one of each unit."""
    relay_a = study.relay.rated_current_a
    machine_a = study.machine.rated_current_a / study.ct.stating.leg_ratio
    return {
        "relay_percent": relay_a / 100,
        "relay_pu": relay_a,
        "machine_percent": machine_a / 100,
        "machine_pu": machine_a,
    }


def _out_of_range(
    one: _Current, given: tuple[float, ...], amperes: tuple[float, ...]
) -> Iterator[str]:
    meaning = meaning_of(type(one.section).model_fields[one.name])
    unit = meaning_of(type(one.section).model_fields[one.key])
    assert isinstance(meaning, (Axis, Plain))
    assert isinstance(unit, (Axis, Plain))
    for point, current in zip(given, amperes, strict=True):
        if not meaning.holds(current):
            yield (
                f"{one.path}.{one.key}: {unit.told(point)} is {current:g} A secondary,"
                f" {meaning.limits}"
            )
            return
