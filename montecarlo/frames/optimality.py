"""How much better the best setting that the policy allows may be than the chosen one."""

from __future__ import annotations

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.estimates.assemble import LEVEL, total_by_block
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.optimality import Gap, optimality_gap
from montecarlo.frames.batches import numbers_of
from montecarlo.quantities import Array, Flags


def allowed(outcome: Outcome) -> tuple[Batch, Flags] | None:
    """The sample that has the candidates, and which of them the policy allows in the whole of it.

    Of two such samples the independent one. The limits of a block alone would be coarse: it has a
    sixteenth of the samples. Circuits that were left out early are none of them.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    (Batch, (C,) array of bool) or None
        None where the smallest p_missed was not what was sought, or no setting is chosen.
    """
    policy, fresh = outcome.study.policy, outcome.fresh
    if outcome.chosen is None or policy.least_annual_cost or policy.assumption_sets:
        return None
    if fresh is not None and {*outcome.first.settings} <= {*fresh.settings}:
        batch, judged, own = fresh, fresh.verdict, np.arange(len(fresh.settings))
    else:
        batch, judged = outcome.first, outcome.judgement_with_refused()
        own = numbers_of(outcome, batch.settings) - 1
    whole = np.isfinite(missed_by_block(outcome, batch)).all(axis=1)
    may = (judged.usable & judged.allowed)[own] & whole
    return (batch, may) if may[batch.settings.index(outcome.chosen)] else None


def missed_by_block(outcome: Outcome, batch: Batch) -> Array:
    """p_missed of every candidate in each block of installations. [-]

    Parameters
    ----------
    outcome : Outcome
    batch : Batch

    Returns
    -------
    (C, blocks) array
        NaN in a block without a result of some type.
    """
    weights = weights_of(outcome.study)
    return total_by_block([batch.strata[name] for name in weights.internal], weights.shares)


def gap_of_choice(outcome: Outcome) -> Gap | None:
    """The optimality gap of the chosen setting in p_missed [-], among the judged settings that the
    policy allows.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    Gap or None
        None as of `allowed`.
    """
    if (found := allowed(outcome)) is None or outcome.chosen is None:
        return None
    batch, may = found
    at = int(may[: batch.settings.index(outcome.chosen)].sum())
    return optimality_gap(missed_by_block(outcome, batch)[may], at, LEVEL)
