"""Cases at the boundary of a setting as records for injection into a relay, and their index."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from montecarlo.quantities.wording import listed
from montecarlo.relays.places import GROUP_OF, PHASES, PLACES
from montecarlo.relays.schemes import Scheme
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.axes import Setting
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from studies.report.safety import INJECTION
from studies.report.setting_words import setting_lines, setting_row
from studies.waveforms.cases import Case
from studies.waveforms.comtrade import Channel, Record
from studies.waveforms.in_time import how_often
from studies.waveforms.sampled import Sampled, external_s
from studies.waveforms.status import statuses, told

if TYPE_CHECKING:
    import pandas as pd

FOLDER = "waveforms"
FORMS: tuple[Literal["ASCII", "BINARY"], ...] = ("ASCII", "BINARY")
WORDS = {
    "false_trip": "an external event on which the setting trips",
    "near_false_trip": "an external event on which the setting only just restrains",
    "weakest_detected": "an internal fault that the setting only just detects",
    "strongest_missed": "an internal fault that the setting only just misses",
}


Made = Mapping[str, tuple[Case, Sampled]]  # by name, each at the sampling rate of its record


def records(study: Study, setting: Setting, cases: Made) -> dict[str, bytes]:
    """Configuration, data and a header in words of every case, in both forms, by file name."""
    scheme, files = scheme_of(study, setting.scheme), dict[str, bytes]()
    channels = _channels(study, scheme)
    for name, (case, made) in cases.items():
        flags = statuses(study, setting, case, made.times_s)
        record = Record(
            study.study.title,
            f"{name} {case.stratum} {case.installation}/{case.event}",
            study.machine.frequency_hz,
            made.rate_hz,
            int(np.argmin(np.abs(made.times_s))),
            channels,
            np.concatenate([made.cts_a, made.legs_a]),
            flags,
        )
        words = _header(study, setting, case, made, told(flags)).encode()
        for form in FORMS:
            configuration, data = record.files(form)
            base = f"{FOLDER}/{name}_{form.lower()}"
            files |= {f"{base}.cfg": configuration, f"{base}.dat": data, f"{base}.hdr": words}
    return files


def index(study: Study, setting: Setting, cases: Made, searched: dict[str, int]) -> pd.DataFrame:
    """One row a case: where it comes from, how near the boundary it lies, what is expected of the
    elements."""
    import pandas as pd

    scheme, error = scheme_of(study, setting.scheme), pickup_error_percent(study)
    rows: list[dict[str, Any]] = []
    for name, (case, made) in cases.items():
        at = int(np.argmax(case.quantity_a / case.setting_a))
        rows.append(
            {
                "file": f"{FOLDER}/{name}",
                "case": case.kind,
                "side": case.stratum.side.value,
                "type": case.stratum.kind,
                "installation": case.installation,
                "event": case.event,
                "searched": searched[case.stratum],
                "drawn_over_occurring": 1.0 if case.weight is None else 1 / case.weight,
                "element": scheme.element_name(at),
                "critical_pickup_a": case.quantity_a[at],
                "setting_a": case.setting_a[at],
                "margin": case.ratio - 1,
                "expected": _expected(scheme, case, error),
                "pickup_error_percent": error,
                "peak_secondary_a": made.peak_a,
                "before_s": made.before_s,
                "duration_s": made.lasts_s,
                "rate_hz": made.rate_hz,
            }
        )
    return pd.DataFrame(rows)


def pickup_error_percent(study: Study) -> float:
    """The larger of the two 95 % limits of a relay's pick-up error, without its sign."""
    key = "relay.pickup_error_percent"
    (error,) = (item.distribution for item in list_inputs(study) if item.key == key)
    if error.is_number:
        return abs(error.centre())
    return float(np.abs(error.ppf(np.array([0.025, 0.975]))).max())


def names_of(cases: Sequence[Case]) -> list[str]:
    """The kind of each case with its number among its kind, 1 the nearest to the boundary or the
    worst."""
    kinds = [case.kind for case in cases]
    return [f"{kind}_{kinds[:at].count(kind) + 1}" for at, kind in enumerate(kinds)]


def _channels(study: Study, scheme: Scheme) -> list[Channel]:
    def channel(name: str, ct: int, phase: str) -> Channel:
        data = study.ct.at(GROUP_OF[scheme.places[ct]])
        return Channel(name, phase if phase in PHASES else "", data.primary_a, data.secondary_a)

    cts = [
        channel(PLACES[place], ct, PLACES[place].rpartition(".")[2])
        for ct, place in enumerate(scheme.places)
    ]
    return cts + [
        channel(f"relay circuit {leg.name}", int(np.flatnonzero(row)[0]), leg.name)
        for leg, row in zip(scheme.legs, scheme.table, strict=True)
    ]


def _sums(scheme: Scheme) -> list[str]:
    """What each leg carries, in the channels' names."""
    sums = []
    for leg, row in zip(scheme.legs, scheme.table, strict=True):
        terms = [
            ("+ " if row[ct] > 0 else "- ")
            + ("" if abs(row[ct]) == 1 else f"{abs(row[ct]):g} x ")
            + PLACES[scheme.places[ct]]
            for ct in np.flatnonzero(row)
        ]
        sums.append(f"relay circuit {leg.name} = {' '.join(terms)}")
    return sums


def _expected(scheme: Scheme, case: Case, error_percent: float) -> str:
    ratios = dict(enumerate(case.quantity_a / case.setting_a))
    operating = [scheme.element_name(number) for number, ratio in ratios.items() if ratio > 1]
    off = error_percent / 100
    near = [scheme.element_name(number) for number, x in ratios.items() if abs(x - 1) <= off]
    text = "none operates"
    if operating:
        text = f"{listed(operating)} operate{'s' if len(operating) == 1 else ''}"
    return text + (
        f"; {listed(near)} within the pick-up error: it may operate or not" if near else ""
    )


def _header(
    study: Study, setting: Setting, case: Case, made: Sampled, statuses: Sequence[str]
) -> str:
    scheme = scheme_of(study, setting.scheme)
    settings = "; ".join(
        f"{name} {value}" for name, value in setting_lines(study, setting_row(study, setting))
    )
    elements = listed(
        f"{scheme.element_name(k)} at {value:g} A"
        for k, value in enumerate(case.setting_a)
        if math.isfinite(value)
    )
    sample = f"installation {case.installation}, event {case.event}"
    if case.weight is not None:
        sample = f"weighted sample {case.installation} ({how_often(case.weight)})"
    lines = [
        study.study.title,
        f"{case.stratum}, {sample}: {WORDS[case.kind]}.",
        f"Settings: {settings}.",
        f"Elements: {elements}.",
        f"Expected: {_expected(scheme, case, pickup_error_percent(study))}.",
        "A simulated case, not a measurement.",
        f"Largest secondary current: {made.peak_a:.4g} A peak.",
        f"Sampling rate: {made.rate_hz:g} Hz, without frequencies above half of it.",
        f"Length of the record: {made.lasts_s:.3g} s.",
        f"The event begins at the trigger, {made.before_s:g} s after the start of the record.",
        _until_then(external_s(study, case)),
        "CT channels: secondary current of each CT into its lead, in amperes.",
        "Positive: a primary current from the neutral to the terminals.",
        "Relay circuit channels: the current through each. The elements measure it.",
        *_sums(scheme),
        *statuses,
        "Before a record is injected:",
        *(f"{number}. {sentence}" for number, sentence in enumerate(INJECTION, 1)),
    ]
    return "\r\n".join(lines) + "\r\n"


def _until_then(external_s: float) -> str:
    """What comes before the event."""
    if external_s:
        return (
            f"The record shows load and then an external fault, which lasts up to {external_s:g} s."
        )
    return "The record shows the load current until then."
