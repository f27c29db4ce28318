"""What commissioning measurements say of a finished run: its installations weighted by how well
each explains them, and the probabilities that follow, before and after."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.errors import StudyError
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.reweigh import (
    Sums,
    change,
    effective_installations,
    likelihood_weights,
    reweighted,
)
from montecarlo.estimates.totals import Total, mover
from montecarlo.frames.candidates import setting_columns
from montecarlo.frames.limits import limit_columns
from montecarlo.quantities import Array
from montecarlo.quantities.wording import shown
from montecarlo.study.axes import Setting, grids_in
from montecarlo.study.candidates import candidate_lattices, settings_of, with_found
from montecarlo.study.description import Study
from studies.commissioning.expected import Sheet
from studies.commissioning.gate_tests import every_line
from studies.commissioning.lines import BY_PRIMARY, BY_SECONDARY, Line
from studies.measured.text import answer, measurements, moved
from studies.measured.values import Measured, read_measured
from studies.report.blocks import Block
from studies.report.inputs import study_again
from studies.report.record import PROVENANCE
from studies.report.results import no_results, read_results

if TYPE_CHECKING:
    import pandas as pd

LEAST_INSTALLATIONS = 10  # effective; below it nothing is concluded
FAR = 4  # standard uncertainties from the nearest installation: unsupported
CURRENT_MOST = 1.25  # of the sheet's test current, for which it was planned
LARGEST_ARRAYS = 1 << 32  # bytes
ARRAYS = "installations.npz"
INPUT = "input/"  # before the keys of inputs in installations.npz


@dataclass(frozen=True, eq=False)
class Run:
    """A results folder as it was written: the study, its candidates, the chosen one's place, arrays
    of installations.npz."""

    study: Study
    settings: list[Setting]
    chosen: int
    arrays: Mapping[str, Array]

    @property
    def inputs(self) -> dict[str, Array]:
        """The sampled installations by key."""
        keys = [key for key in self.arrays if key.startswith(INPUT)]
        return {key.removeprefix(INPUT): self.arrays[key] for key in keys}

    def sums(self, name: str) -> Sums:
        """What one stratum's samples showed of every installation."""
        total, trials, unresolved = (
            self.arrays[f"{name}/{part}"] for part in ("total", "trials", "unresolved")
        )
        return Sums(total, trials, unresolved, f"{name}/noise" in self.arrays)


@dataclass(frozen=True, eq=False)
class Weighed:
    """Before and after, a row a candidate; and what is to be said of it."""

    frame: pd.DataFrame
    text: tuple[Block, ...]


def weigh(folder: Path, path: Path) -> Weighed:
    """What measured values say of a run.

    Parameters
    ----------
    folder : Path
        As the command run has written it.
    path : Path
        commissioning.csv, filled in.

    Returns
    -------
    Weighed

    Raises
    ------
    StudyError
        Where they do not fit the run, or no sampled installation fits them.
    """
    filled_in = read_measured(path)
    run = _read_run(folder)
    sheet = Sheet(run.study, run.settings[run.chosen], run.inputs)
    expected, aside = expected_of(sheet, filled_in, path)
    if not expected:
        raise StudyError(
            f"{path}: only points on slopes and operating times are filled in, which change no"
            " weight; fill in currents of CTs and relay circuits, or pick-ups, too"
        )
    rows, installations = [*expected], np.stack([*expected.values()])
    weights = _weights(rows, installations, path)
    frame = _frame(run, weights)
    text = (
        measurements(rows, installations, weights, aside),
        answer(frame, run.chosen),
        moved(run.inputs, weights),
    )
    return Weighed(frame, text)


# --- reading a run ------------------------------------------------------------


def _read_run(folder: Path) -> Run:
    results = read_results(folder, ARRAYS)
    record, content = results.record, results.content(ARRAYS, LARGEST_ARRAYS)
    try:
        study_file, study_digest = record["study_file"], record["study_digest"]
        seed, samples, chosen = record["seed"], record["samples_asked"], record["chosen"]
        found = [grids_in(one) for one in record.get("found", ())]
    except KeyError:
        raise no_results(folder, ARRAYS) from None
    if not isinstance(chosen, int | None):
        raise results.changed(PROVENANCE)
    if chosen is None:
        raise StudyError(
            f"{folder}: no candidate was chosen in this run, so there is no commissioning sheet;"
            " run a study with a choice first"
        )
    study = study_again(folder, study_file, samples=samples, seed=seed, expected=study_digest)
    with np.load(BytesIO(content), allow_pickle=False) as arrays:
        kept = {name: arrays[name] for name in arrays.files}
    study = with_found(study, found)
    settings = settings_of(candidate_lattices(study))
    if not 1 <= chosen <= len(settings):
        raise results.changed(PROVENANCE)
    return Run(study, settings, chosen - 1, kept)


# --- what each installation expects --------------------------------------------------


def expected_of(
    sheet: Sheet, rows: Sequence[Measured], path: Path
) -> tuple[dict[Measured, Array], dict[Measured, Array]]:
    """What each installation would show, of every row that weights installations, and of the
    others.

    Points on slopes weight none, since the study holds no error of a relay's slopes, nor do
    operating times, which depend on the point on wave.

    Parameters
    ----------
    sheet : Sheet
    rows : sequence of Measured
    path : Path
        Where they stand.

    Returns
    -------
    tuple of dict of Measured to ndarray

    Raises
    ------
    StudyError
        Naming each row that is not on the sheet, or has another unit or current.
    """
    lines = {(line.test, line.quantity): line for line in every_line(sheet)}
    expected: dict[Measured, Array] = {}
    aside: dict[Measured, Array] = {}
    faults: list[str] = []
    for row in rows:
        where, line = f"{path} line {row.line}", lines.get((row.test, row.quantity))
        fault = _unknown(row, lines) if line is None else _unfit(row, line)
        if fault:
            faults.append(f"{where}: {fault}")
        elif line is not None:
            injected_a = getattr(row, line.injected)
            planned = math.isnan(injected_a) or math.isnan(line.injected_a)
            installations = line.installations(line.injected_a if planned else injected_a)
            (expected if line.weighs else aside)[row] = installations
    if faults:
        raise StudyError(*faults)
    return expected, aside


def _unknown(row: Measured, lines: Iterable[tuple[str, str]]) -> str:
    """A row that is not on the sheet."""
    known = [quantity for test, quantity in lines if test == row.test]
    if known:
        cure = _near(row.quantity, known)
        return f"quantity {shown(row.quantity)} is not in test {row.test}; {cure}"
    return (
        f"test {shown(row.test)} with {shown(row.quantity)} is not on the commissioning sheet;"
        f" {_near(row.test, [test for test, _ in lines])}"
    )


def _unfit(row: Measured, line: Line) -> str:
    """A unit, a column or a current that the sheet has otherwise; else empty."""
    wrong = BY_PRIMARY if line.injected == BY_SECONDARY else BY_SECONDARY
    misplaced_a, injected_a = getattr(row, wrong), getattr(row, line.injected)
    if not math.isnan(misplaced_a):
        return (
            f"{wrong} {misplaced_a:g} A has no place in test {row.test}; take the column"
            f" {line.injected}, in its unit"
        )
    if row.unit != line.unit:
        return (
            f"unit {shown(row.unit)}, must be {shown(line.unit)} as on the commissioning sheet;"
            " convert the measured value and its uncertainty"
        )
    if injected_a > CURRENT_MOST * line.injected_a:
        return (
            f"{line.injected} {injected_a:g} A, must be at most {CURRENT_MOST:g} times the sheet's"
            f" {line.injected_a:g} A; leave the row out"
        )
    return ""


def _near(name: str, names: Sequence[str]) -> str:
    near = get_close_matches(name, names, 1)
    return f"did you mean {near[0]}?" if near else "take one of " + ", ".join(dict.fromkeys(names))


def _weights(rows: Sequence[Measured], expected: Array, path: Path) -> Array:
    """Of the installations, (M,); refused where no installation, or too few, explain what was
    measured."""
    measured, uncertainty = (
        np.array([getattr(row, name) for row in rows]) for name in ("measured", "uncertainty")
    )
    away = np.abs(expected - measured[:, None]).min(axis=1) / uncertainty
    faults = [
        f"{path} line {row.line}: {row.measured:g} {row.unit} of {row.test}, {row.quantity}: no"
        f" sampled installation comes within {FAR} uncertainties of it (they lie at"
        f" {installations.min():.4g} to {installations.max():.4g}); check wiring, range and unit,"
        " or the study's inputs"
        for row, installations, far in zip(rows, expected, away, strict=True)
        if not far <= FAR
    ]
    if faults:
        raise StudyError(*faults)
    weights = likelihood_weights(expected, measured, uncertainty)
    if not (few := effective_installations(weights)) >= LEAST_INSTALLATIONS:
        raise StudyError(
            f"{path}: {few:.1f} effective of {weights.size} sampled installations fit these values"
            f" together, at least {LEAST_INSTALLATIONS} are needed; raise study.installations and"
            " run again, leave out rows that repeat others, or check whether an uncertainty is too"
            " small"
        )
    return weights


# --- before and after ---------------------------------------------------------


def _frame(run: Run, weights: Array) -> pd.DataFrame:
    import pandas as pd

    plain, of = np.full(weights.shape, 1 / weights.size), weights_of(run.study)
    numbers = np.arange(1, len(run.settings) + 1)
    columns: dict[str, Any] = {"candidate": numbers}
    columns["scheme"] = [setting.scheme for setting in run.settings]
    columns |= setting_columns(run.study, run.settings)
    sides = {"p_missed": (of.internal, of.shares), "p_false": (of.external, of.event_shares)}
    for quantity, (names, shares) in sides.items():
        kinds = [run.sums(name) for name in names]
        parts = [share * kind.means for share, kind in zip(shares, kinds, strict=True)]
        moved_by = change(np.sum(parts, axis=0), weights)
        columns |= limit_columns(quantity, _total(kinds, shares, plain))
        columns |= limit_columns(f"{quantity}_weighed", _total(kinds, shares, weights))
        columns |= limit_columns(f"{quantity}_change", moved_by)
    return pd.DataFrame(columns).assign(chosen=numbers == run.chosen + 1)


def _total(kinds: Sequence[Sums], shares: Sequence[float], weights: Array) -> Total:
    """Types together; their errors, on the same installations, count as if fully correlated."""
    parts = [reweighted(kind, weights) for kind in kinds]
    p, low, high = (np.stack(part, axis=-1) for part in zip(*parts, strict=True))
    return mover(np.array(shares), p, low, high, np.ones((len(kinds), len(kinds))))
