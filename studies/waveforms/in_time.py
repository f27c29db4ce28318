"""What passes in the cases that matter most, as a table: primary currents, secondary currents and
fluxes of two CTs, the leg of the element that decides, and what it measures."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import StringIO
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.quantities import Array
from montecarlo.quantities.digits import alike
from montecarlo.relays.places import NEUTRAL_CONDUCTOR, PHASES, PLACES
from montecarlo.relays.schemes import Scheme
from montecarlo.study.axes import Setting
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.report.numbers import amount
from studies.waveforms.cases import Case

if TYPE_CHECKING:
    import pandas as pd

WORST_CASES, MISSED_CASE = "worst_cases", "missed_case"  # figures, and a table each
BESIDE = 2  # cases of external events side by side
CYCLES = 14  # that are shown at most
PER_CYCLE = 96  # rows a cycle, about
BEFORE = 11  # of them before the largest value where it comes late
PRIMARY = tuple(place for place in PLACES if not place.startswith("second_"))


@dataclass(frozen=True, eq=False)
class Shown:
    """A case and what its columns mean. cts: the two CTs, places; delay_s: of its element; trips_s:
    when it trips, NaN if it does not; cleared_s: of a setting with biased phase elements, which may
    trip on what decays, when the contacts open, NaN if they do not while it is shown."""

    name: str
    case: Case
    element: str
    cts: tuple[str, ...]
    delay_s: float
    cleared_s: float
    frame: pd.DataFrame

    @property
    def trips_s(self) -> float:
        return float(self.case.starts_s[self.case.element]) + self.delay_s


def worst_of(cases: Iterable[tuple[str, Case]]) -> list[tuple[str, Case]]:
    """The first false trips by name, or the events closest below the setting where there is
    none."""
    named = list(cases)
    for kind in ("false_trip", "near_false_trip"):
        if found := [(name, case) for name, case in named if case.kind == kind]:
            return found[:BESIDE]
    return []


def missed_of(cases: Iterable[tuple[str, Case]]) -> list[tuple[str, Case]]:
    """The strongest missed internal fault by name, if there is one."""
    return [(name, case) for name, case in cases if case.kind == "strongest_missed"][:1]


def shown(study: Study, setting: Setting, name: str, case: Case) -> Shown:
    """A case's columns on the part of its time that matters."""
    scheme = scheme_of(study, setting.scheme)
    cts, rows = _cts(scheme, case), _window(study, case)
    frame = _frame(scheme, name, case, cts).iloc[rows].reset_index(drop=True)
    biased = any(scheme.elements[k].bias for k in scheme.of("phase"))
    in_sight = biased and case.cleared_s <= frame["time_s"].iloc[-1]
    return Shown(
        name,
        case,
        scheme.element_name(case.element),
        tuple(PLACES[scheme.places[ct]] for ct in cts),
        setting.delay_of(scheme.elements[case.element].axis),
        case.cleared_s if in_sight else math.nan,
        frame,
    )


def _cts(scheme: Scheme, case: Case) -> list[int]:
    """Of the CTs that drive the element's leg the one whose current suffers most, and that of the
    same phase at the other end, else the next."""
    leg = scheme.watch[case.element]
    error = alike(np.sqrt(np.mean((case.ideal_a - case.cts_a) ** 2, axis=1)))
    driving = sorted(np.flatnonzero(scheme.table[leg]).tolist(), key=lambda ct: -error[ct])
    first, *others = driving
    phase = PLACES[scheme.places[first]].rpartition(".")[2]
    same = [ct for ct in others if PLACES[scheme.places[ct]].endswith(f".{phase}")]
    return sorted([first, *(same or others)[:1]])


def _window(study: Study, case: Case) -> slice:
    """All of a short case from a cycle before the event; of a long one the cycles around the
    largest measured value."""
    cycle_s = 1 / study.machine.frequency_hz
    per_cycle = round(case.rate_hz * cycle_s)
    most, every = CYCLES * per_cycle, max(1, per_cycle // PER_CYCLE)
    first = int(np.searchsorted(case.times_s, 0.5 / case.rate_hz - cycle_s))
    if case.times_s.size - first <= most:
        return slice(first, None, every)
    ratio = case.difference_a[case.element] / case.threshold_a[case.element]
    start = max(first, int(np.argmax(ratio)) - BEFORE * per_cycle)
    start = min(start, case.times_s.size - most)
    return slice(start, start + most, every)


def _frame(scheme: Scheme, name: str, case: Case, cts: Sequence[int]) -> pd.DataFrame:
    import pandas as pd

    columns: dict[str, Any] = {"case": name, "time_s": case.times_s}
    for ct, place in enumerate(scheme.places):
        if PLACES[place] in PRIMARY:
            columns[f"{PLACES[place]}_primary_a"] = case.primary_a[ct]
    for number, ct in enumerate(cts, 1):
        columns[f"ct_{number}"] = PLACES[scheme.places[ct]]
        columns[f"ct_{number}_secondary_a"] = case.cts_a[ct]
        columns[f"ct_{number}_ideal_a"] = case.ideal_a[ct]
        columns[f"ct_{number}_flux_of_knee"] = case.flux[ct]
    element = case.element
    return pd.DataFrame(
        columns
        | {
            "element": scheme.element_name(element),
            "leg_a": case.legs_a[scheme.watch[element]],
            "measured_a": case.difference_a[element],
            "operates_above_a": case.threshold_a[element],
        }
        | _gate(scheme, case)
    )


def _gate(scheme: Scheme, case: Case) -> dict[str, Array]:
    """Of the element on the same leg that has one: of a high-set element its neighbour's."""
    leg = scheme.watch[case.element]
    for element in case.gated:
        if scheme.watch[element] == leg:
            return {"gate_on": case.gate_on[element] * 1.0}
    return {}


def table_of(cases: Iterable[Shown]) -> bytes:
    """Their columns as CSV, a case below the other."""
    import pandas as pd

    return as_csv(pd.concat([one.frame for one in cases], ignore_index=True))


def as_csv(frame: pd.DataFrame) -> bytes:
    """A table of numbers and texts, numbers with six figures."""
    text = StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(frame.columns)
    rows.writerows(zip(*(map(_cell, frame[name].to_list()) for name in frame), strict=True))
    return text.getvalue().encode()


def _cell(value: str | float) -> str:
    """Six figures of a number, nothing for NaN; a text as it is."""
    if isinstance(value, str):
        return value
    return "" if math.isnan(value) else f"{value:.6g}"


def primary_lines(frame: pd.DataFrame) -> dict[str, Array]:
    """Primary currents to be drawn by place: those of one end only where both ends carry the same.
    [A]"""
    lines: dict[str, Array] = {}
    for place in PRIMARY:
        if (column := f"{place}_primary_a") in frame and frame[column].notna().all():
            values = frame[column].to_numpy(float)
            phase = place.rpartition(".")[2]
            same = [name for name in lines if name.endswith(f".{phase}") and phase in PHASES]
            if not any(np.allclose(lines[name], values, rtol=1e-6, atol=1e-6) for name in same):
                lines[place] = values
    if not np.any(lines.get(NEUTRAL_CONDUCTOR, 0.0)):  # clear of earth
        lines.pop(NEUTRAL_CONDUCTOR, None)
    return lines


def how_often(weight: float) -> str:
    """Of a weighted sample: how likely it is."""
    times = amount(float(f"{1 / weight:.2g}"))
    return f"drawn {times} times as often as it occurs"


def tells_trip(one: Shown) -> bool:
    """Whether the setting trips in the case."""
    return not math.isnan(one.trips_s)


def tells_gate(one: Shown) -> bool:
    """Whether a gate may hold an element on the same leg back."""
    return "gate_on" in one.frame


def gate_starts(one: Shown) -> Array:
    """When the gate starts within what is shown. [s]"""
    on = one.frame["gate_on"].to_numpy(float)
    starts = np.flatnonzero(np.diff(on) > 0) + 1
    return np.asarray(one.frame["time_s"].to_numpy(float)[starts])


def tells_clearing(one: Shown) -> bool:
    """Whether the opening of the contacts is shown."""
    return not math.isnan(one.cleared_s)
