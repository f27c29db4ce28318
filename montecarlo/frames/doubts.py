"""What speaks against a chosen setting although the policy allows it: numbers without words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from enum import Enum
from typing import Any

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.shares import shares_of_total
from montecarlo.frames.digits import rounded_values
from montecarlo.quantities import Array
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import End, ends_of_ranges
from montecarlo.study.description import Study

OFTEN = 0.20  # p_false of one kind of event; common practice, no source
HALF = 0.50  # of all false trips


class DoubtKind(Enum):
    """What is doubtful in a kind of event."""

    TRIPS_OFTEN = "trips_often"  # p_false of it is above `OFTEN`
    MAKES_MOST = "makes_most"  # its share of all false trips is above `HALF`


@dataclass(frozen=True)
class EventDoubt:
    """A kind of event that a mix by rates may hide.

    value: with its 95 % limits; limit: what it is above; share: of this kind in all events."""

    why: DoubtKind
    event: str
    value: float
    low: float
    high: float
    limit: float
    share: float


Doubt = EventDoubt | End


def as_data(doubt: Doubt) -> dict[str, Any]:
    """A doubt as the record of provenance keeps it.

    Parameters
    ----------
    doubt : EventDoubt or End

    Returns
    -------
    dict
        Ready for JSON.
    """
    record = rounded_values(asdict(doubt)) if isinstance(doubt, EventDoubt) else asdict(doubt)
    return (
        {"kind": doubt.why.value, **{key: record[key] for key in record if key != "why"}}
        if isinstance(doubt, EventDoubt)
        else {"kind": "end_of_range", **record}
    )


def doubts_of(outcome: Outcome, setting: Setting) -> tuple[Doubt, ...]:
    """Of a chosen setting, by the independent sample that it was chosen in.

    Parameters
    ----------
    outcome : Outcome
    setting : Setting

    Returns
    -------
    tuple of Doubt
    """
    batch = outcome.batch_of(setting)
    return (
        *event_doubts(outcome.study, batch, batch.settings.index(setting)),
        *ends_of_ranges(outcome.study, setting),
    )


def event_doubts(study: Study, batch: Batch, at: int) -> Iterator[EventDoubt]:
    """Kinds of event with p above `OFTEN`; a kind whose share of the false trips is above `HALF`
    with the whole of its interval. With one kind there is no mix and no share to tell.

    Parameters
    ----------
    study : Study
    batch : Batch
    at : int
        Place of the candidate in the batch.

    Yields
    ------
    EventDoubt
    """
    weight = weights_of(study)
    found = [batch.strata[name].estimate() for name in weight.external]
    limits = [
        np.array([[getattr(each, part)[at]] for each in found]) for part in ("p", "low", "high")
    ]
    shares = [*shares_of_total(weight.event_shares, *limits)]

    def doubt(kind: DoubtKind, k: int, told: Sequence[Array], limit: float) -> EventDoubt:
        p, low, high = (float(part[k, 0]) for part in told)
        return EventDoubt(
            kind, weight.external[k].kind, p, low, high, limit, weight.event_shares[k]
        )

    events = range(len(found))
    for k in events:
        if limits[0][k, 0] > OFTEN:
            yield doubt(DoubtKind.TRIPS_OFTEN, k, limits, OFTEN)
    for k in events:
        if len(found) > 1 and shares[1][k, 0] > HALF:
            yield doubt(DoubtKind.MAKES_MOST, k, shares, HALF)
