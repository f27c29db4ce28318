"""Invented tables of a finished run, for figures and texts: no engine behind them."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.estimates.refusals import Refusal

FIVE = ("per_phase", "two_phase_one_earth", "biased", "restricted_earth_fault", "second_cores")


def candidates(
    ohms: tuple[float, ...] = (0.0, 300.0),
    kinds: tuple[str, ...] = ("two_phase_one_earth", "per_phase"),
    earths: tuple[float, ...] = (0.02, 0.05, 0.1),
    seed: int = 1,
) -> pd.DataFrame:
    """Candidates as a result has them: finer earth pick-ups miss less and trip more, resistance
    calms them."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    rng = np.random.default_rng(seed)
    for kind, ohm, phase, delay in product(kinds, ohms, (0.1, 0.2), (0.0, 0.1)):
        for earth in earths if kind == "two_phase_one_earth" else (np.nan,):
            finest = phase if np.isnan(earth) else min(phase, earth)
            missed = min(0.95, 4 * finest + rng.uniform(0, 0.02))
            false = 0.3 * np.exp(-40 * finest - ohm / 100 - 30 * delay)
            false = 0.0 if false < 1e-4 else float(false)
            rows.append(
                {
                    "scheme": kind,
                    "phase_pickup_a": phase,
                    "earth_pickup_a": earth,
                    "stabilising_resistance_ohm": ohm,
                    "delay_s": delay,
                    "first_slope": np.nan,
                    "second_slope": np.nan,
                    "turning_point_a": np.nan,
                    "p_missed": missed,
                    "p_missed_low": missed - 0.01,
                    "p_missed_high": missed + 0.01,
                    "p_false": false,
                    "p_false_low": 0.6 * false,
                    "p_false_high": 1.5 * false + 4e-4,
                    "p_no_false_trip": np.exp(-36 * false),
                    "p_no_false_trip_low": np.exp(-36 * (1.5 * false + 4e-4)),
                    "p_no_false_trip_high": np.exp(-36 * 0.6 * false),
                    "protected_median": 1 - missed,
                    "usable": not (finest < 0.03 and ohm == 0),
                    "allowed": 1.4 * false + 3e-4 <= 0.01,
                    "limit_used": 100 * (1.4 * false + 3e-4),
                    "load_operates_share": 0.0,
                    "p_false_bound": 1.4 * false + 3e-4,
                    "batch": 1,
                    "chosen": False,
                    "existing": False,
                    "refusals": (),
                }
            )
    frame = pd.DataFrame(rows)
    frame.insert(0, "candidate", np.arange(1, len(frame) + 1))
    return frame


def refused(frame: pd.DataFrame, which: pd.Series[bool], refusal: Refusal) -> pd.DataFrame:
    """The same with these candidates refused."""
    return frame.assign(refusals=[(refusal,) if yes else () for yes in which])


def peak_voltage(frame: pd.DataFrame) -> pd.DataFrame:
    """Peak voltages of every circuit among the candidates."""
    circuits = frame[["scheme", "stabilising_resistance_ohm"]].drop_duplicates(ignore_index=True)
    return circuits.assign(peak_formula_v=900.0, peak_simulated_v=1240.0)


def chosen_and_existing(
    frame: pd.DataFrame, chosen: int, existing: int | None = None
) -> pd.DataFrame:
    """The same with these two marked."""
    return frame.assign(
        chosen=frame["candidate"] == chosen, existing=frame["candidate"] == (existing or 0)
    )


def protected_winding(numbers: tuple[int, ...], ends: tuple[float, ...]) -> pd.DataFrame:
    """Detection curves that rise around each of `ends` (of the winding); above 1 nothing is ever
    detected."""
    import pandas as pd

    x = np.linspace(0, 1, 41)
    frames = []
    for number, end in zip(numbers, ends, strict=True):
        p = np.clip((x - end) / 0.1 + 0.5, 0, 1)
        frames.append(
            pd.DataFrame(
                {
                    "candidate": number,
                    "x": x,
                    "p_detected": p,
                    "low": np.clip(p - 0.03, 0, 1),
                    "high": np.clip(p + 0.03, 0, 1),
                }
            )
        )
    return pd.concat(frames, ignore_index=True)
