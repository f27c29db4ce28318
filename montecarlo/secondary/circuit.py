"""The secondary circuit: CTs that drive legs. One network for every scheme.

    i_leg = A·i            i = i_source - i_m            dλ/dt = R·i + Aᵀ·diag(R_leg)·A·i

`A` (legs x CTs) says which CT drives which leg with which sign; the solvers know nothing else of a
scheme."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from montecarlo.quantities import Array, Index
from montecarlo.relays.places import GROUP_OF, PLACES, SINGLE, places_of
from montecarlo.secondary.ct import CtPlaces
from montecarlo.secondary.remanence import RemanenceModel

# Fields of a bank that are (n, ct).
PER_CT = ("turns", "series_ohm", "knee_flux_wb", "knee_current_a", "remanence")


@dataclass(frozen=True, eq=False)
class CtBank:
    """The sampled CTs. n samples, ct places; secondary side, SI."""

    turns: Array  # (n, ct) primary over secondary current, ratio error included
    series_ohm: Array  # (n, ct) winding and one-way lead
    knee_flux_wb: Array  # (n, ct) peak flux linkage at the knee voltage
    knee_current_a: Array  # (n, ct) RMS exciting current at the knee; 0 for an ideal CT
    coefficients: Array  # (4, n, ct) a, b, c1, c2 of the excitation characteristic
    exponent: Index  # (ct,) odd power of the saturated branch
    remanence: Array  # (n, ct) flux before the event, in units of the knee flux
    remanence_model: RemanenceModel = "stop_operators"

    def __len__(self) -> int:
        return len(self.turns)


def build_bank(
    ct: CtPlaces, samples: Mapping[str, Array], omega: float, *, loops: bool = False
) -> CtBank:
    """The CTs of a block of samples, one a place of `PLACES`; NaN where the study has none.

    Parameters
    ----------
    ct : CtPlaces
        The table [ct].
    samples : mapping of str to ndarray, (n, 6)
        By "ct.<field>" and "ct.<group>.<field>"; columns 0-2 and 3-5 are those of the two ends.
    omega : float
        (rad/s).
    loops : bool
        Six-wire leads: each CT's lead goes there and back, as that of the CT in the neutral
        conductor always does.

    Returns
    -------
    CtBank
        (n, places).
    """
    n = len(samples["ct.lead_resistance_ohm"])  # which always has a value
    stand = {group: _columns(group) for group in ct.groups}

    def values(field: str, without: float = np.nan) -> Array:
        base = samples.get(f"ct.{field}")
        out = np.full((n, len(PLACES)), np.nan)
        for group, (places, columns) in stand.items():
            own = samples.get(f"ct.{group}.{field}", base)
            out[:, places] = without if own is None else own[:, columns]
        return out

    ankle = values("ankle_ratio")
    curves = np.full((4, n, len(PLACES)), np.nan)
    exponent = np.full(len(PLACES), 15)
    nominal = np.full(len(PLACES), np.nan)
    for group, (places, _) in stand.items():
        cts = ct.at(group)
        curves[..., places] = cts.curve(ankle[:, places])
        exponent[places] = cts.saturation_exponent
        nominal[places] = cts.turns_ratio
    ways = np.array([2.0 if loops or group in SINGLE else 1.0 for group in GROUP_OF])
    return CtBank(
        turns=nominal * (1 + values("turns_ratio_error_percent") / 100),
        series_ohm=values("winding_resistance_ohm") + ways * values("lead_resistance_ohm"),
        knee_flux_wb=np.sqrt(2) * (values("knee_voltage_v") * values("knee_factor", 1.0)) / omega,
        knee_current_a=values("knee_current_a"),
        coefficients=curves,
        exponent=exponent,
        remanence=values("remanence_percent") / 100,
        remanence_model=ct.remanence_model,
    )


def _columns(group: str) -> tuple[slice, slice]:
    """A group's places, and its columns among the six of the two ends."""
    places = places_of(group)
    first = 3 if group == "line_end" else 0
    return slice(places[0], places[-1] + 1), slice(first, first + len(places))


def take(bank: CtBank, index: Any) -> CtBank:
    """The same CTs for a selection or a repetition of samples.

    Parameters
    ----------
    bank : CtBank
    index : index, slice or ndarray
        Of samples.

    Returns
    -------
    CtBank
    """
    return replace(
        bank,
        coefficients=bank.coefficients[:, index],
        **{name: getattr(bank, name)[index] for name in PER_CT},
    )


def at_places(bank: CtBank, places: tuple[int, ...]) -> CtBank:
    """The CTs of one scheme, in the order of its table's columns.

    Parameters
    ----------
    bank : CtBank
        Of all places.
    places : tuple of int

    Returns
    -------
    CtBank
        (n, len(places)).
    """
    p = list(places)
    return replace(
        bank,
        exponent=bank.exponent[p],
        coefficients=bank.coefficients[..., p],
        **{name: getattr(bank, name)[:, p] for name in PER_CT},
    )
