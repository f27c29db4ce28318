"""What makes up the false trips and the missed earth faults of the settings that matter, without
words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from montecarlo.engine.run import Outcome
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.missed_places import MissedPlaces, missed_by_place
from montecarlo.frames.limits import limit_columns, with_limits
from montecarlo.sampling.stratum import EARTH, Side

if TYPE_CHECKING:
    import pandas as pd

CLASSES = 10  # of fault resistance, at most
PARTS = np.arange(21) / 20  # of the winding


def false_trip_sources(
    outcome: Outcome, by_type: pd.DataFrame, roles: Mapping[str, int]
) -> pd.DataFrame:
    """Share of each external event in the false trips of some candidates.

    Parameters
    ----------
    outcome : Outcome
    by_type : DataFrame
        As of `types.by_type`.
    roles : mapping of int
        Numbers of candidates, by what each is.

    Returns
    -------
    DataFrame
        A row a candidate and event: `role`, `candidate`, `event`, `share_of_events`, `p_false` of
        this event and `share_of_false_trips`, both with limits [-]. Of candidates with false trips
        only.
    """
    import pandas as pd

    weights = weights_of(outcome.study)
    kinds = [name.kind for name in weights.external]
    of_events = dict(zip(kinds, weights.event_shares, strict=True))
    rows = by_type[(by_type["side"] == Side.EXTERNAL.value) & by_type["share_of_total"].notna()]
    parts = []
    for role, number in roles.items():
        own = rows[rows["candidate"] == number]
        parts.append(
            pd.DataFrame(
                {
                    "role": role,
                    "candidate": own["candidate"],
                    "event": own["type"],
                    "share_of_events": own["type"].map(of_events),
                    **_renamed(own, "p", "p_false"),
                    **_renamed(own, "share_of_total", "share_of_false_trips"),
                }
            )
        )
    return pd.concat(parts, ignore_index=True) if parts else rows.iloc[:0]


def _renamed(rows: pd.DataFrame, name: str, to: str) -> dict[str, pd.Series[float]]:
    """An estimate and its limits under another name."""
    pairs = zip(with_limits(to), with_limits(name), strict=True)
    return {new: rows[old] for new, old in pairs}


def missed_fault_places(outcome: Outcome, roles: Mapping[str, int]) -> pd.DataFrame:
    """Earth faults that some candidates miss, by place along the winding and fault resistance.

    Parameters
    ----------
    outcome : Outcome
    roles : mapping of int
        Numbers of candidates, by what each is.

    Returns
    -------
    DataFrame
        A row a candidate, class of resistance and part of the winding: `role`, `candidate`,
        `resistance_from_ohm`, `resistance_to_ohm`, `x_from`, `x_to` [-], `share_of_faults` of all
        earth faults, `p_missed` of those there, with limits, `share_of_missed` of all earth faults
        that the candidate misses [-]. Empty without earth faults.
    """
    import pandas as pd

    cdf, every = outcome.study.internal_faults.position.cdf, outcome.settings
    frames = []
    for role, number in roles.items() if EARTH in outcome.first.strata else ():
        setting = every[number - 1]
        batch = outcome.batch_of(setting)
        at = batch.settings.index(setting)
        found = missed_by_place(batch.strata[EARTH], at, cdf, classes=CLASSES, places=PARTS)
        if found is not None:
            frames.append(_rows(found).assign(role=role, candidate=number))
    columns = ["role", "candidate", *_COLUMNS]
    return (
        pd.concat(frames, ignore_index=True)[columns] if frames else pd.DataFrame(columns=columns)
    )


_COLUMNS = (
    "resistance_from_ohm",
    "resistance_to_ohm",
    "x_from",
    "x_to",
    "share_of_faults",
    *with_limits("p_missed"),
    "share_of_missed",
)


def _rows(found: MissedPlaces) -> pd.DataFrame:
    import pandas as pd

    classes, parts = found.share_of_faults.shape
    return pd.DataFrame(
        {
            "resistance_from_ohm": np.repeat(found.from_ohm, parts),
            "resistance_to_ohm": np.repeat(found.to_ohm, parts),
            "x_from": np.tile(found.places[:-1], classes),
            "x_to": np.tile(found.places[1:], classes),
            "share_of_faults": found.share_of_faults.ravel(),
            **limit_columns("p_missed", (part.ravel() for part in found.p_missed)),
            "share_of_missed": found.share_of_missed.ravel(),
        }
    )
