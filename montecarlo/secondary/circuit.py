"""The secondary circuit: CTs that drive legs. One network for every scheme.

    i_leg = A·i            i = i_source - i_m            dλ/dt = R·i + Aᵀ·diag(R_leg)·A·i

`A` (legs x CTs) says which CT drives which leg with which sign; the solvers know nothing else of a scheme.
The six CTs are ordered neutral end L1, L2, L3, line end L1, L2, L3.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.secondary.ct import ENDS, CtPlaces
from montecarlo.secondary.excitation import excitation_table


@dataclass(frozen=True, eq=False)
class CtBank:
    """The sampled CTs. n samples, ct places; secondary side, SI."""

    turns: Array                 # (n, ct) primary over secondary current, ratio error included
    series_ohm: Array            # (n, ct) winding and one-way lead
    knee_flux_wb: Array          # (n, ct) peak flux linkage at the knee voltage
    knee_current_a: Array        # (n, ct) RMS exciting current at the knee; 0 for an ideal CT
    coefficients: Array          # (4, n, ct) a, b, c1, c2 of the excitation characteristic
    exponent: NDArray[np.int64]  # (ct,) odd power of the saturated branch
    remanence: Array             # (n, ct) flux before the event, in units of the knee flux

    def __len__(self) -> int:
        return len(self.turns)


def build_bank(ct: CtPlaces, samples: Mapping[str, Array], omega: float) -> CtBank:
    """The CTs of a block of samples. samples["ct.<field>"] and samples["ct.<end>.<field>"]: (n, 6)."""
    ends = [ct.at(end) for end in ENDS]
    n = len(samples["ct.winding_resistance_ohm"])

    def values(field: str, without: float = np.nan) -> Array:
        out = np.array(samples.get(f"ct.{field}", np.full((n, 6), without)), float)
        for places, end in ((slice(0, 3), "neutral_end"), (slice(3, 6), "line_end")):
            if f"ct.{end}.{field}" in samples:
                out[:, places] = samples[f"ct.{end}.{field}"][:, places]
        return out

    ankle = values("ankle_ratio")
    tables = [excitation_table(end.remanence_bound_percent, end.saturation_exponent) for end in ends]
    coefficients = np.concatenate([tables[0].at(ankle[:, :3]), tables[1].at(ankle[:, 3:])], axis=-1)
    nominal = np.repeat([end.turns_ratio for end in ends], 3)
    return CtBank(
        turns=nominal * (1 + values("turns_ratio_error_percent") / 100),
        series_ohm=values("winding_resistance_ohm") + values("lead_resistance_ohm"),
        knee_flux_wb=np.sqrt(2) * (values("knee_voltage_v") * values("knee_factor", 1.0)) / omega,
        knee_current_a=values("knee_current_a"),
        coefficients=coefficients,
        exponent=np.repeat([end.saturation_exponent for end in ends], 3),
        remanence=values("remanence_percent") / 100,
    )


def take(bank: CtBank, index: Any) -> CtBank:
    """The same CTs for a selection or a repetition of samples."""
    return CtBank(bank.turns[index], bank.series_ohm[index], bank.knee_flux_wb[index], bank.knee_current_a[index],
                  bank.coefficients[:, index], bank.exponent, bank.remanence[index])
