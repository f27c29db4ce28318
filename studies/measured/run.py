"""What commissioning measurements say of a finished run: its plants weighted by how well each
explains them, and the probabilities that follow, before and after."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.workers.software import PRODUCT
from montecarlo.errors import StudyError
from montecarlo.estimates.choose import Weights, weights_of
from montecarlo.estimates.reweigh import (
    Sums,
    change,
    effective_plants,
    likelihood_weights,
    reweighted,
)
from montecarlo.estimates.totals import Total, mover
from montecarlo.frames.candidates import setting_columns
from montecarlo.quantities import Array
from montecarlo.quantities.files import read_bounded
from montecarlo.quantities.wording import shown
from montecarlo.study.candidates import Setting, candidate_lattices, settings_of
from montecarlo.study.description import Study
from studies.commissioning.expected import Sheet
from studies.commissioning.sheet import (
    SECOND,
    SECONDARY,
    SUDDEN,
    pickup_name,
    pickup_unit,
    slope_name,
    test_name,
    time_name,
)
from studies.measured.text import answer, measurements, moved
from studies.measured.values import Measured, read_measured
from studies.report.blocks import Block
from studies.report.inputs import study_again
from studies.report.record import PROVENANCE, is_as_sealed, read_record

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Update", "update"]

LEAST_PLANTS = 10  # effective; below it nothing is concluded
FAR = 4  # standard uncertainties from the nearest plant: unsupported
CURRENT_MOST = 1.25  # of the sheet's test current, for which it was planned
LARGEST_ARRAYS = 1 << 32  # bytes
ARRAYS = "plants.npz"
INPUT = "input/"  # before the keys of inputs in plants.npz


@dataclass(frozen=True, eq=False)
class Run:
    """A results folder as it was written: the study, its candidates, the chosen one's place, arrays
    of plants.npz."""

    folder: Path
    study: Study
    settings: list[Setting]
    chosen: int
    arrays: Mapping[str, Array]

    @property
    def sheet(self) -> Sheet:
        return Sheet(
            self.study,
            self.settings[self.chosen],
            {
                key.removeprefix(INPUT): values
                for key, values in self.arrays.items()
                if key.startswith(INPUT)
            },
        )

    def sums(self, name: str) -> Sums:
        total, trials, unresolved = (
            self.arrays[f"{name}/{part}"] for part in ("total", "trials", "unresolved")
        )
        return Sums(total, trials, unresolved, f"{name}/noise" in self.arrays)


@dataclass(frozen=True, eq=False)
class Update:
    """Before and after, a row a candidate; and what is to be said of it."""

    frame: pd.DataFrame
    text: tuple[Block, ...]


def update(folder: Path, path: Path) -> Update:
    """Read a run and measured values; raises StudyError where they do not fit it, or no sampled
    plant them."""
    filled_in = read_measured(path)
    run = _read_run(folder)
    sheet = run.sheet
    aside = _aside(sheet, filled_in, path)
    rows = [row for row in filled_in if row not in aside]
    if not rows:
        raise StudyError(
            f"{path}: only points on slopes and operating times are filled in, which weight no"
            " plant; fill in currents of CTs and legs, or pick-ups, too"
        )
    expected = _expected(sheet, rows, path)
    weights = _weights(rows, expected, path)
    frame = _frame(run, weights)
    inputs = {
        key.removeprefix(INPUT): values
        for key, values in run.arrays.items()
        if key.startswith(INPUT)
    }
    return Update(
        frame,
        (
            measurements(rows, expected, weights, aside),
            answer(frame, run.chosen),
            moved(inputs, weights),
        ),
    )


# --- reading a run ------------------------------------------------------------


def _read_run(folder: Path) -> Run:
    try:
        record = read_record(folder / PROVENANCE)
        if record.get("product") != PRODUCT:
            raise ValueError
        study_file, chosen, seed, samples = (
            record[key] for key in ("study_file", "chosen", "seed", "samples_asked")
        )
        study_digest, arrays_digest = record["study_digest"], record["sha256"][ARRAYS]
        if not (
            isinstance(study_file, str)
            and Path(study_file).name == study_file
            and isinstance(chosen, int | None)
        ):
            raise ValueError
        content = read_bounded(folder / ARRAYS, LARGEST_ARRAYS)
    except (OSError, ValueError, KeyError, TypeError):
        raise StudyError(
            f"{folder}: is no folder of a finished run (its {PROVENANCE} and {ARRAYS} are needed);"
            " name the folder that the command run has written"
        ) from None
    if not is_as_sealed(record):
        raise StudyError(
            f"{folder}: {PROVENANCE} is not as the run left it (or an older version of the "
            "program ran it); run the study again"
        )
    if sha256(content).hexdigest() != arrays_digest:
        raise StudyError(f"{folder}: {ARRAYS} is not as the run left it; run the study again")
    if chosen is None:
        raise StudyError(
            f"{folder}: no candidate was chosen in this run, so there is no commissioning sheet;"
            " run a study with a choice first"
        )
    study = study_again(folder, study_file, samples=samples, seed=seed, expected=study_digest)
    with np.load(BytesIO(content), allow_pickle=False) as arrays:
        kept = {name: arrays[name] for name in arrays.files}
    settings = settings_of(candidate_lattices(study))
    if not 1 <= chosen <= len(settings):
        raise StudyError(f"{folder}: {PROVENANCE} is not as the run left it; run the study again")
    return Run(folder, study, settings, chosen - 1, kept)


# --- what each plant expects --------------------------------------------------


def _expected(sheet: Sheet, rows: Sequence[Measured], path: Path) -> Array:
    """Of every row what each plant would show, (K, M)."""
    injections = {injection.name: injection for injection in sheet.injections}
    pickups = {
        (test_name(injection), pickup_name(sheet, number)): (injection, number)
        for injection, number in sheet.pickup_tests
    }
    faults: list[str] = []
    found: list[Array] = []
    for row in rows:
        where = f"{path} line {row.line}"
        unit = SECONDARY
        _column_taken(row, "injected_primary_a", where)
        if (row.test, row.quantity) in pickups:
            injection, number = pickups[row.test, row.quantity]
            unit, plants = pickup_unit(injection), sheet.pickup(injection, number).plants
        elif row.test in injections:
            asked = replace(
                injections[row.test],
                current_a=_injected(
                    row, injections[row.test].current_a, "injected_primary_a", where
                ),
            )
            known = {each.quantity: each.plants for each in sheet.expected(asked)}
            if row.quantity not in known:
                cure = _near(
                    row.quantity, [*known, *(name for test, name in pickups if test == row.test)]
                )
                faults.append(
                    f"{where}: quantity {shown(row.quantity)} is not in test {row.test}; {cure}"
                )
                continue
            plants = known[row.quantity]
        else:
            others = (
                *(test for test, _ in pickups),
                *(test.name for test in sheet.slope_tests),
                SUDDEN,
            )
            names = [*injections, *dict.fromkeys(test for test in others if test not in injections)]
            faults.append(
                f"{where}: test {shown(row.test)} with {shown(row.quantity)} is not on the"
                f" commissioning sheet; {_near(row.test, names)}"
            )
            continue
        if row.unit != unit:
            faults.append(
                f"{where}: unit {shown(row.unit)}, must be {shown(unit)} as on the commissioning"
                " sheet; convert the measured value and its uncertainty"
            )
        found.append(plants)
    if faults:
        raise StudyError(*faults)
    return np.stack(found)


def _injected(row: Measured, planned_a: float, column: str, where: str) -> float:
    """The current that was really injected, the sheet's unless the row says another."""
    injected_a: float = getattr(row, column)
    if injected_a > CURRENT_MOST * planned_a:
        raise StudyError(
            f"{where}: {column} {injected_a:g} A, must be at most {CURRENT_MOST:g} times the "
            f"sheet's {planned_a:g} A; leave the row out"
        )
    return planned_a if math.isnan(injected_a) else injected_a


def _column_taken(row: Measured, column: str, where: str) -> None:
    """A primary current does not stand in the column of secondary ones, nor the other way round."""
    primary, secondary = "injected_primary_a", "injected_secondary_a"
    wrong = primary if column == secondary else secondary
    if not math.isnan(getattr(row, wrong)):
        raise StudyError(
            f"{where}: {wrong} {getattr(row, wrong):g} A has no place in test {row.test}; take the"
            f" column {column}, in its unit"
        )


def _aside(sheet: Sheet, rows: Sequence[Measured], path: Path) -> dict[Measured, Array]:
    """Of the rows that weight no plant what they are compared with: points on slopes, since the
    study holds no error of a relay's slopes, and operating times, which depend on the point on
    wave."""
    slopes = {(test.name, slope_name(sheet, test)): test for test in sheet.slope_tests}
    timed = {(SUDDEN, time_name(sheet, test.element)): test for test in sheet.time_tests}
    found: dict[Measured, Array] = {}
    for row in rows:
        key, where, column = (
            (row.test, row.quantity),
            f"{path} line {row.line}",
            "injected_secondary_a",
        )
        if key in slopes or key in timed:
            _column_taken(row, column, where)
            _check_unit(row, SECONDARY if key in slopes else SECOND, where)
        if key in slopes:
            held_a = _injected(row, slopes[key].point.held_a, column, where)
            found[row] = sheet.slope_point(slopes[key], held_a)
        elif key in timed:
            found[row] = sheet.operating_times_s(timed[key]).ravel()
    return found


def _check_unit(row: Measured, unit: str, where: str) -> None:
    if row.unit != unit:
        raise StudyError(
            f"{where}: unit {shown(row.unit)}, must be {shown(unit)} as on the commissioning sheet;"
            " convert the measured value and its uncertainty"
        )


def _near(name: str, names: Sequence[str]) -> str:
    near = get_close_matches(name, names, 1)
    return f"did you mean {near[0]}?" if near else "take one of " + ", ".join(dict.fromkeys(names))


def _weights(rows: Sequence[Measured], expected: Array, path: Path) -> Array:
    """Of the plants, (M,); refused where no plant, or too few, explain what was measured."""
    measured, uncertainty = (
        np.array([getattr(row, name) for row in rows]) for name in ("measured", "uncertainty")
    )
    away = np.abs(expected - measured[:, None]).min(axis=1) / uncertainty
    faults = [
        f"{path} line {row.line}: {row.measured:g} {row.unit} of {row.test}, {row.quantity}: no"
        f" sampled plant comes within {FAR} uncertainties of it (they lie at {plants.min():.4g} to"
        f" {plants.max():.4g}); check wiring, range and unit, or the study's inputs"
        for row, plants, far in zip(rows, expected, away, strict=True)
        if not far <= FAR
    ]
    if faults:
        raise StudyError(*faults)
    weights = likelihood_weights(expected, measured, uncertainty)
    if not (few := effective_plants(weights)) >= LEAST_PLANTS:
        raise StudyError(
            f"{path}: only {few:.1f} effective of {weights.size} sampled plants support these"
            f" values together, at least {LEAST_PLANTS} are needed; run the study with more plants"
            " (study.plants), leave rows out that say the same, or check whether an uncertainty is"
            " too small"
        )
    return weights


# --- before and after ---------------------------------------------------------


def _frame(run: Run, weights: Array) -> pd.DataFrame:
    import pandas as pd

    plain, of = np.full(weights.shape, 1 / weights.size), weights_of(run.study)
    columns: dict[str, Any] = {
        "candidate": np.arange(1, len(run.settings) + 1),
        "scheme": [setting.scheme for setting in run.settings],
    }
    columns |= setting_columns(run.study, run.settings)
    for quantity, names, shares in _sides(of):
        kinds = [run.sums(name) for name in names]
        means = np.sum(
            [share * kind.means for share, kind in zip(shares, kinds, strict=True)], axis=0
        )
        for suffix, found in (
            ("", _total(kinds, shares, plain)),
            ("_updated", _total(kinds, shares, weights)),
            ("_change", change(means, weights)),
        ):
            columns |= {
                f"{quantity}{suffix}{end}": values
                for end, values in zip(("", "_low", "_high"), found, strict=True)
            }
    return pd.DataFrame(columns).assign(chosen=np.arange(len(run.settings)) == run.chosen)


def _sides(of: Weights) -> list[tuple[str, tuple[str, ...], tuple[float, ...]]]:
    return [("p_missed", of.internal, of.shares), ("p_false", of.external, of.event_shares)]


def _total(kinds: Sequence[Sums], shares: Sequence[float], weights: Array) -> Total:
    """Types together; their errors, on the same plants, count as if fully correlated."""
    parts = [reweighted(kind, weights) for kind in kinds]
    p, low, high = (np.stack(part, axis=-1) for part in zip(*parts, strict=True))
    return mover(np.array(shares), p, low, high, np.ones((len(kinds), len(kinds))))
