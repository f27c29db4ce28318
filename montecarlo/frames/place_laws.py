"""What the law of the fault's place along the winding makes of missed faults."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.place_laws import (
    LAWS,
    STATED,
    MissedUnder,
    best_under,
    missed_under,
)
from montecarlo.frames.batches import number_of
from montecarlo.frames.optimality import allowed, missed_by_block
from montecarlo.quantities import Flags
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.axes import Setting

if TYPE_CHECKING:
    import pandas as pd

BEST = "best"  # the role of what another law would choose


def place_laws(outcome: Outcome, roles: Mapping[str, int]) -> pd.DataFrame:
    """Missed faults of some candidates under other laws of the place of an earth fault.

    Parameters
    ----------
    outcome : Outcome
    roles : mapping of int
        Numbers of candidates, by what each is.

    Returns
    -------
    DataFrame
        A row a law and candidate: `law`, its `factor`, `exponent` and `flat_share` as of
        `PlaceLaw`, `role`, `candidate`, `p_missed_earth` of the earth faults and `p_missed` of all
        [-]; the other types keep to the study's law. Role "best": of the settings that the policy
        allows the one that misses least under this law, where another one does so under the law
        stated and the difference is sure. Empty without earth faults.
    """
    import pandas as pd

    rows = []
    if EARTH in outcome.first.strata:
        settings = outcome.settings
        wanted = {role: settings[number - 1] for role, number in roles.items()}
        rows = [row for role, setting in wanted.items() for row in _rows(outcome, role, setting)]
        for k, setting in _better(outcome):
            rows.append([*_rows(outcome, BEST, setting)][k])
    return pd.DataFrame([row for row in rows if math.isfinite(row["p_missed"])])


def _rows(outcome: Outcome, role: str, setting: Setting) -> Iterator[dict[str, Any]]:
    """Of one candidate, law by law."""
    batch = outcome.batch_of(setting)
    at = batch.settings.index(setting)
    earth = _under(outcome, batch, np.arange(len(batch.settings)) == at).p[:, 0]
    total = batch.judgement.missed.total[at]
    for law, p in zip(LAWS, earth, strict=True):
        yield {
            "law": law.kind.value,
            "factor": law.factor,
            "exponent": law.exponent,
            "flat_share": law.flat,
            "role": role,
            "candidate": number_of(outcome, setting),
            "p_missed_earth": float(p),
            "p_missed": float(total + _share(outcome) * (p - earth[LAWS.index(STATED)])),
        }


def _under(outcome: Outcome, batch: Batch, wanted: Flags) -> MissedUnder:
    cdf = outcome.study.internal_faults.position.cdf
    return missed_under(batch.strata[EARTH], LAWS, cdf, wanted)


def _share(outcome: Outcome) -> float:
    """Of earth faults in those within the scheme's scope."""
    weights = weights_of(outcome.study)
    return dict(zip(weights.internal, weights.shares, strict=True))[EARTH]


def _better(outcome: Outcome) -> Iterator[tuple[int, Setting]]:
    """Laws, by their place, under which another allowed setting is surely better."""
    if (found := allowed(outcome)) is None or outcome.chosen is None:
        return
    batch, may = found
    settings = [setting for setting, yes in zip(batch.settings, may, strict=True) if yes]
    stated, earth = LAWS.index(STATED), _under(outcome, batch, may)
    share, total = _share(outcome), batch.judgement.missed.total[may]
    whole = total + share * (earth.p - earth.p[stated])
    by_block = missed_by_block(outcome, batch)[may]
    by_block = by_block + share * (earth.by_block - earth.by_block[stated])
    chosen = settings.index(outcome.chosen)
    for law, best in best_under(whole, by_block, stated, chosen).items():
        yield law, settings[best]
