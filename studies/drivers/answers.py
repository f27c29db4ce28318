"""A whole study of drivers: the ordinary choice, then everything that says what decides how the
chosen setting performs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, zip_longest

import numpy as np

from montecarlo.engine.batch import STATED
from montecarlo.engine.guard import ROWS, Unresolved, looked_at
from montecarlo.engine.keep import KeepRows
from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.run import Outcome, run
from montecarlo.engine.winding import POSITION
from montecarlo.engine.workers import Workers, workers_of
from montecarlo.errors import StudyError
from montecarlo.estimates.choose import cost_weights
from montecarlo.estimates.drivers import (
    Bands,
    Bound,
    Elasticity,
    Rule,
    Sampled,
    Shift,
    Worth,
    elasticity,
    gap,
    shift,
    total_of,
    worths,
)
from montecarlo.estimates.intervals import Estimate
from montecarlo.frames.candidates import candidates
from montecarlo.frames.choosing import nearest
from montecarlo.quantities import Array
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import Stratum
from montecarlo.sampling.streams import stream
from montecarlo.study.axes import Setting
from montecarlo.study.budget import limit_of_p_false
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from studies.drivers.effects import EffectsOf, effects
from studies.drivers.samples import Change, changed, changes_of, sampled

MISSED, FALSE = "p_missed", "p_false"
MOST_CHANGED = 8  # inputs whose what-if is worked out
MOST_SETTINGS = 500


@dataclass(frozen=True)
class Answer:
    """How one probability of the setting answers to one input."""

    key: str
    quantity: str
    elasticity: Elasticity
    shift: Shift


@dataclass(frozen=True)
class WhatIf:
    """One probability of the setting with one input changed, and the change, paired row by row."""

    change: Change
    quantity: str
    then: Estimate
    difference: Estimate


@dataclass(frozen=True, eq=False)
class Drivers:
    """Everything is told of `setting`: the chosen one, or without a choice the one nearest to the
    policy's limit."""

    outcome: Outcome
    setting: Setting
    effects: Sequence[EffectsOf]
    now: dict[str, Estimate]  # of the rows that all below rests on
    effective: dict[str, float]  # hits among them, as independent ones
    answers: Sequence[Answer]
    what_if: Sequence[WhatIf]
    worths: dict[str, Worth]  # by installation input
    rows: dict[Stratum, int]
    unresolved: Sequence[Unresolved]  # rows without a result


def find_drivers(
    study: Study,
    *,
    workers: int | Workers | None = None,
    progress: Progress = silent,
    keep_samples: KeepRows | None = None,
) -> Drivers:
    """Run the study's choice, then its drivers.

    Parameters
    ----------
    study : Study
    workers : int or Workers, optional
    progress : callable, optional
    keep_samples : KeepRows, optional
        Takes the samples of the study's own batch.

    Returns
    -------
    Drivers

    Raises
    ------
    StudyError
        For a study that this kind cannot answer, or where too many samples have no result.
    """
    _check(study)
    crew = workers_of(workers)
    outcome = run(
        study,
        workers=crew,
        progress=progress,
        keep_samples=keep_samples,
        racing=False,  # effects are asked of every candidate
    )
    setting = outcome.chosen or _nearest(outcome)
    at, densities = outcome.first.settings.index(setting), outcome.first.known[STATED].densities
    missed, false = sampled(study, outcome.first.lattices, densities, crew, progress)
    sides, every = {MISSED: missed, FALSE: false}, [*missed, *false]
    lost = [
        row
        for sample in every
        for row in looked_at(study, sample.name, ROWS, sample.lost, len(sample.w))
    ]
    answers = [
        answer
        for quantity, samples in sides.items()
        for answer in _answers(study, quantity, samples, at)
    ]
    changes = changes_of(study, _decisive(answers))
    then, lost_then = changed(study, setting, densities, every, changes, crew, progress)
    what_if = [
        _what_if(change, quantity, samples, then[change], at)
        for change in changes
        for quantity, samples in sides.items()
    ]
    sobol = effects(study, setting, crew, progress)
    lost += [*lost_then, *chain.from_iterable(part.unresolved(study) for part in sobol)]
    return Drivers(
        outcome,
        setting,
        sobol,
        {key: total_of(some, [s.y[:, at] for s in some]) for key, some in sides.items()},
        {key: _effective(some, at) for key, some in sides.items()},
        answers,
        what_if,
        _worths(study, _rule(study, outcome, at, missed, false), every),
        {sample.name: len(sample.w) for sample in every},
        lost,
    )


def _answers(study: Study, quantity: str, samples: Sequence[Sampled], at: int) -> Iterator[Answer]:
    bands = Bands(at, stream(study.study.seed, quantity, 0, 0, "drivers.dead"))
    for key in _keys(study, samples):
        yield Answer(key, quantity, elasticity(samples, at, key), shift(samples, at, key, bands))


def _what_if(
    change: Change,
    quantity: str,
    samples: Sequence[Sampled],
    then: Mapping[Stratum, Array],
    at: int,
) -> WhatIf:
    changed_y = [then.get(sample.name, sample.y[:, at]) for sample in samples]
    return WhatIf(change, quantity, *gap(samples, changed_y, at))


def _worths(study: Study, rule: Rule, every: Sequence[Sampled]) -> dict[str, Worth]:
    """Of every input that varies from installation to installation."""
    by_lot = stream(study.study.seed, "worth", 0, 0, "drivers.lots")
    varies = {item.key: item.varies for item in list_inputs(study)}
    installations = [key for key in _keys(study, every) if varies[key] == "installation"]
    return worths(every, installations, rule, by_lot)


def _check(study: Study) -> None:
    count = sum(int(np.prod(lattice.shape)) for lattice in candidate_lattices(study))
    faults = []
    if count > MOST_SETTINGS:
        faults.append(
            f"candidates: {count} settings, at most {MOST_SETTINGS} with study.kind = "
            '"uncertainty_drivers", each kept on every sample; thin the grids'
        )
    if study.states.open_ct_circuit_counts:
        faults.append(
            "states.open_ct_circuit_counts: true, and an open CT circuit is no event that"
            ' study.kind = "uncertainty_drivers" samples; set it to false for this study'
        )
    if study.policy.assumption_sets:
        faults.append(
            f"policy.assumption_sets: {len(study.policy.assumption_sets)}, and study.kind ="
            ' "uncertainty_drivers" asks about the study as stated; take them out, or run each as'
            " a study of its own"
        )
    if faults:
        raise StudyError(*faults)


def _keys(study: Study, samples: Sequence[Sampled]) -> list[str]:
    return [
        item.key
        for item in list_inputs(study)
        if any(item.key in sample.scores for sample in samples)
    ]


def _effective(samples: Sequence[Sampled], place: int) -> float:
    """(Σ)²/Σ of squares of what each row adds to the total; conditional probabilities count as
    parts."""
    added = np.concatenate([s.share / len(s.w) * s.w * s.y[:, place] for s in samples])
    return float(added.sum() ** 2 / max(float(added @ added), 1e-300))


def _decisive(answers: Sequence[Answer]) -> list[str]:
    """The inputs whose elasticities stand furthest from 0 with all of their limits, by turns for
    each probability. Where along the winding a fault strikes is not among them: nobody can measure
    or specify it."""

    def strength(answer: Answer) -> float:
        return max(max(float(part.low), -float(part.high), 0.0) for part in answer.elasticity)

    ranked = [
        [
            answer.key
            for answer in sorted(answers, key=strength, reverse=True)
            if answer.quantity == quantity and strength(answer) > 0 and answer.key != POSITION
        ]
        for quantity in (MISSED, FALSE)
    ]
    turns = chain.from_iterable(zip_longest(*ranked))
    return [*dict.fromkeys(key for key in turns if key is not None)][:MOST_CHANGED]


def _nearest(outcome: Outcome) -> Setting:
    """The setting that comes closest to the policy, where none is chosen."""
    number = nearest(candidates(outcome), or_any=True)
    assert number is not None
    return outcome.settings[number - 1]


def _rule(
    study: Study, outcome: Outcome, place: int, missed: Sequence[Sampled], false: Sequence[Sampled]
) -> Rule:
    """The policy on estimates, moved so that these samples as a whole choose what the study chose:
    each candidate has the bounds and the aim of the study's batch, or of the fresh batch that
    refused it."""
    judged = outcome.judgement_with_refused()
    p = {
        sample.name: np.asarray((sample.w[:, None] * sample.y).mean(axis=0))
        for sample in (*missed, *false)
    }
    of_missed, of_false = (
        {sample.name: sample.share for sample in side} for side in (missed, false)
    )
    costs = cost_weights(study) or None

    def here(weights: Mapping[Stratum, float]) -> Array:
        return np.asarray(sum(weight * p[name] for name, weight in weights.items()), float)

    limit, each = limit_of_p_false(study), study.policy.p_false_max_each
    whole = Bound.like(of_false, limit, judged.bound, judged.false.total, here(of_false))
    kinds = [
        Bound.like({name: 1.0}, each, bound, p[name], here({name: 1.0}))
        for name, bound in judged.each.items()
        if each is not None
    ]
    return Rule(
        of_missed,
        of_false,
        judged.usable if judged.usable.any() else np.ones_like(judged.usable),
        (whole, *kinds),
        costs,
        judged.aim - here(costs or of_missed),
        place,
    )
