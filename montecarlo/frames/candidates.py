"""One row a candidate: what it is, what the samples show of it, and what the policy says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.engine.sizes import designs
from montecarlo.estimates.assemble import (
    Gathered,
    installation_means,
    line_end_total,
    over_installations,
    protected_winding,
    weighted,
)
from montecarlo.estimates.choose import Judgement, Weights, weights_of
from montecarlo.estimates.refusals import stated_refusals
from montecarlo.estimates.totals import Total, none_within
from montecarlo.frames import choosing
from montecarlo.frames.batches import Numbers, rows_of_all
from montecarlo.frames.limits import limit_columns
from montecarlo.frames.rare import origin
from montecarlo.quantities import Array
from montecarlo.quantities.digits import alike
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import EARTH, INTER_TURN
from montecarlo.sampling.transform import all_installations
from montecarlo.study.axes import AXES, Setting
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.strata import internal_shares

if TYPE_CHECKING:
    import pandas as pd


def candidates(outcome: Outcome) -> pd.DataFrame:
    """Every candidate of a run.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a candidate, in the order of their numbers. Settings in the units of their column,
        probabilities [-], `batch` 2 where an independent sample has the candidate: the chosen one,
        its neighbours, the runner-up and the existing one, and whatever independent samples
        refused. `refusals`: a tuple of `Refusal`, empty for one that may be chosen.
    """
    return rows_of_all(outcome, _rows)


def _rows(outcome: Outcome, batch: Batch, numbers: Numbers) -> pd.DataFrame:
    """One row a candidate of the batch, in the order of its settings."""
    import pandas as pd

    study, settings, judgement = outcome.study, batch.settings, batch.judgement
    weight = weights_of(study)
    internal = [batch.strata[name] for name in weight.internal]
    external = [batch.strata[name] for name in weight.external]
    protected = protected_winding(batch.strata[EARTH]) if EARTH in batch.strata else None
    false_p95, above = _false_over_installations(study, batch, weight)
    quiet = none_within(
        Total(*(weight.events_per_year * part for part in judgement.false)), study.policy.years
    )
    return pd.DataFrame(
        {
            "candidate": numbers,
            "scheme": [setting.scheme for setting in settings],
            **setting_columns(study, settings),
            **limit_columns("p_missed", judgement.missed),
            **_of_all_faults(study, internal, judgement.missed),
            **limit_columns("p_false", judgement.false),
            "missed_per_year": weight.internal_per_year * weight.in_scope * judgement.missed.total,
            "false_per_year": weight.events_per_year * judgement.false.total,
            **limit_columns("p_no_false_trip", quiet),
            **{
                f"protected_{part}": np.nan if protected is None else getattr(protected, part)
                for part in ("median", "p05", "p95")
            },
            "missed_line_end_law": line_end_total(internal, weight.shares),
            "outside_scope_per_year": weight.internal_per_year * weight.outside_scope,
            "installation_missed_p95": over_installations(internal, np.array(weight.shares)).p95,
            "installation_false_p95": false_p95,
            "installations_above_limit": above,
            **({} if judgement.cost is None else limit_columns("cost_per_year", judgement.cost)),
            **_of_each_kind(judgement),
            **_with_backup(study, batch, weight),
            **choosing.worst_columns(batch),
            "usable": judgement.usable,
            "allowed": judgement.allowed,
            "load_operates_share": judgement.load_share,
            "unresolved": judgement.unresolved.astype(int),
            "batch": batch.number,
            "samples": batch.samples,
            "chosen": [setting == outcome.chosen for setting in settings],
            "p_false_bound": judgement.bound,
            "p_false_from": origin(external, len(settings)),
            "limit_used": judgement.limit_used,
            "existing": [setting == outcome.existing for setting in settings],
            "open_ct_circuit_operates_share": judgement.open_ct_circuit_share,
            "refusals": [
                stated_refusals(study, judgement, batch.verdict, at) for at in range(len(settings))
            ],
        }
    )


def _of_all_faults(study: Study, internal: Sequence[Gathered], counted: Total) -> dict[str, Array]:
    """p_missed_all of a study with a winding: of faults between turns too, which no scheme sees
    where they are not sampled."""
    if study.winding is None:
        return {}
    unseen = study.internal_faults.shares.inter_turn
    shares = internal_shares(study)
    if INTER_TURN in shares:
        return limit_columns("p_missed_all", weighted(internal, tuple(shares.values())))
    return limit_columns("p_missed_all", Total(*(unseen + (1 - unseen) * one for one in counted)))


def _of_each_kind(judgement: Judgement) -> dict[str, Any]:
    """The kind of event with the largest bound, and that bound, as `policy.p_false_max_each`
    judges; {} without it."""
    if not judgement.each:
        return {}
    kinds, bounds = [name.kind for name in judgement.each], np.stack([*judgement.each.values()])
    return {
        "p_false_each_bound": bounds.max(axis=0),
        "worst_event": [kinds[at] for at in alike(bounds).argmax(axis=0)],
    }


def setting_columns(study: Study, settings: Sequence[Setting]) -> dict[str, list[float]]:
    """Every setting of each candidate; NaN for what its scheme does not have.

    Parameters
    ----------
    study : Study
    settings : sequence of Setting

    Returns
    -------
    dict of list of float
        By the settings' axes, in their units.
    """
    schemes = {kind: scheme_of(study, kind) for kind in {setting.scheme for setting in settings}}
    columns: dict[str, list[float]] = {}
    for axis in AXES:
        values = (
            getattr(setting, axis.key) if axis.in_scheme(schemes[setting.scheme]) else None
            for setting in settings
        )
        columns[axis.key] = [np.nan if value is None else value for value in values]
    return columns


def _with_backup(study: Study, batch: Batch, weight: Weights) -> dict[str, Array]:
    """What the back-up alone catches of the internal faults within reach, and what nobody does; {}
    without one. A type clear of earth is nothing to it: there nobody catches what the differential
    misses."""
    if study.backup is None:
        return {}
    nobody = weighted(
        [batch.nobody.get(name, batch.strata[name]) for name in weight.internal], weight.shares
    )
    return {
        "p_backup_only": np.maximum(batch.judgement.missed.total - nobody.total, 0.0),
        **limit_columns("p_nobody", nobody),
        "nobody_per_year": weight.internal_per_year * weight.in_scope * nobody.total,
    }


def _false_over_installations(study: Study, batch: Batch, weight: Weights) -> tuple[Array, Array]:
    """95 % quantile over installations of p_false, and the share of installations above the
    policy's limit. A rate that is a distribution is each installation's own; a limit a year is
    compared with the installation's false trips a year."""
    external = [batch.strata[name] for name in weight.external]
    installations = all_installations(
        list_inputs(study),
        study.ties,
        seed=study.study.seed,
        design=designs(study)[0],
        round_=batch.round_,
    )
    rates = np.stack([installations[key] for key in weight.rate_keys])
    shares = rates / np.maximum(rates.sum(axis=0), 1e-300)
    spread = over_installations(external, shares, study.policy.p_false_max or np.inf)
    if study.policy.least_annual_cost is not None:
        return spread.p95, np.full(spread.p95.shape, np.nan)  # no limit to be above
    if study.policy.false_per_year_max is None:
        return spread.p95, spread.above
    means, noise = installation_means(external, rates)
    scale = max(float(rates.sum(axis=0).max()), 1e-300)  # installation_spread keeps to [0, 1]
    from montecarlo.estimates.spread import installation_spread

    yearly = installation_spread(
        means / scale, noise / scale**2, study.policy.false_per_year_max / scale
    )
    return spread.p95, yearly.above
