"""What a run has to say of itself, a sentence each: the words to the engine's notes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.enlarging import MOST_TIMES, Enlarged
from montecarlo.engine.guard import Unresolved
from montecarlo.engine.notes import (
    BurdenCircuits,
    EarthFaultCount,
    Interpolated,
    InTime,
    LeftOut,
    ReEntered,
    Rounded,
    WeightedSamples,
)
from montecarlo.engine.precision import Precise
from montecarlo.engine.run import Incident, Note, Outcome, Refused
from montecarlo.engine.search import Searched
from montecarlo.engine.winding import STEADY_INTERVALS, TRANSIENT_INTERVALS
from montecarlo.estimates.rare import HITS
from montecarlo.frames.unresolved import unresolved_of
from montecarlo.sampling.design import BLOCKS
from montecarlo.study.budget import too_few
from montecarlo.study.event_cautions import too_few_words
from montecarlo.study.grids import Moved
from studies.report.words import counted, plural

if TYPE_CHECKING:
    from montecarlo.frames.result import Result
    from montecarlo.study.description import Study

MOST_PAIRS = 6  # pick-ups that are named in a sentence


def sentences(result: Result) -> tuple[str, ...]:
    """Everything that a run has to say of itself."""
    return tuple(filter(None, _run_sentences(result.outcome)))


def to_know(result: Result) -> list[str]:
    """Of these what a reader of the result must know."""
    outcome = result.outcome
    notes = [sentence(note) for note in outcome.notes if not is_computed(note)]
    rare = any(isinstance(note, WeightedSamples) for note in outcome.notes)
    found = [
        *move_sentences(outcome.study),
        *notes,
        *map(too_few_words, too_few(outcome.study)),
        unresolved_sentence(unresolved_of(outcome)),
        RARE if rare else "",
    ]
    return [text for text in found if text]


def computed(result: Result) -> list[str]:
    """And the rest: how it was computed."""
    return [sentence(note) for note in result.outcome.notes if is_computed(note)]


def is_computed(note: Note) -> bool:
    """Whether a note says how a run was made, which belongs to an appendix."""
    return isinstance(note, COMPUTED)


def only_of_other(result: Result) -> list[str]:
    """What the run with the other remanence model alone has to say; empty without one."""
    if (other := result.other) is None:
        return []
    own, lost = result.outcome.notes, unresolved_of(other.outcome)
    told = [sentence(note) for note in other.outcome.notes if note not in own]
    if lost != unresolved_of(result.outcome):
        told.append(unresolved_sentence(lost))
    return [f"With {other.study.ct.remanence_model}: {text}" for text in told]


def sentences_of_all(results: Mapping[str, Result]) -> dict[str, list[str]]:
    """Of several runs: each sentence, and the names of those that say it."""
    said: dict[str, list[str]] = {}
    for name, result in results.items():
        for sentence in sentences(result):
            said.setdefault(sentence, []).append(name)
    return said


def with_sentences(result: Result) -> dict[str, Any]:
    """The record of a run's provenance, with its sentences."""
    record = {**result.provenance, "sentences": [*sentences(result)]}
    if result.other is not None:
        record["other_model"] = {**record["other_model"], "sentences": [*sentences(result.other)]}
    return record


def move_sentences(study: Study) -> Iterator[str]:
    """What reading moved to the relay's steps."""
    for move in study.moves:
        yield from _moved(move)


def _moved(move: Moved) -> Iterator[str]:
    if move.pairs:
        pairs = ", ".join(f"{one:g} to {other:g}" for one, other in move.pairs[:MOST_PAIRS])
        more = len(move.pairs) - MOST_PAIRS
        rest = f" and {more} more" if more > 0 else ""
        yield f"{move.key}: moved to the relay's step of {move.step_a:g} A: {pairs} A{rest}."
    if move.lost:
        yield (
            f"{move.key}: {move.lost} of {move.given} pick-ups fell on another's step;"
            f" {move.left} are left."
        )


def _run_sentences(outcome: Outcome) -> Iterator[str]:
    after = [note for note in outcome.notes if isinstance(note, AFTER)]
    yield from move_sentences(outcome.study)
    yield from (sentence(note) for note in outcome.notes if note not in after)
    yield from map(too_few_words, too_few(outcome.study))
    yield from map(sentence, after)
    yield unresolved_sentence(unresolved_of(outcome))


def sentence(note: Note) -> str:
    """What a note says."""
    if isinstance(note, Incident):
        return EVENTS[note]
    return WORDS[type(note)](note)


def unresolved_sentence(rows: Sequence[Unresolved]) -> str:
    """One sentence about all samples of a run; "" where nothing was drawn."""
    drawn = sum(row.drawn for row in rows)
    lost = sum(row.number for row in rows)
    if not drawn:
        return ""
    if not lost:
        return f"Samples without a result: none of {drawn:,}."
    worst = max(rows, key=lambda row: row.share)
    why = f": {worst.why}" if worst.why else ""
    return (
        f"Samples without a result: {lost:,} of {drawn:,}, at most {100 * worst.share:.2g} % of a"
        f" type ({worst.name}{why}). None was dropped; unresolved.csv says how each is counted."
    )


# --- how it was computed ------------------------------------------------------


def _rounded(note: Rounded) -> str:
    design = note.design
    two = ", a power of two" if design.net else ""
    return (
        f"The study asks for {counted(design.samples, 'sample')} on"
        f" {counted(design.installations, 'installation')}; {design.samples_drawn:,} were drawn,"
        f" on {counted(design.installations_rounded, 'installation')} with"
        f" {counted(design.events_per_installation, 'event')} each{two}."
    )


def _left_out(note: LeftOut) -> str:
    out = (
        f"{counted(note.circuits, 'relay circuit')} with {counted(note.candidates, 'candidate')},"
        " which surely cannot be chosen,"
    )
    if note.samples == note.of_samples:
        return f"No weighted samples of rare false trips were drawn of {out[:-1]}."
    return (
        f"After {note.samples:,} of {note.of_samples:,} samples {out} were left out. Their figures"
        " rest on these samples."
    )


def _burden_circuits(note: BurdenCircuits) -> str:
    return (
        "A burden in VA at setting, or a non-linear resistor, changes the relay circuit with the"
        f" pick-up: {note.candidates} candidates need {counted(note.circuits, 'circuit')}."
    )


def _in_time(note: InTime) -> str:
    return (
        "Earth faults were solved in time, with remanence, where a pick-up drives more than a"
        " quarter of the knee voltage through the fault's path, or where the CTs take more exciting"
        f" current than the element. These circuits: {'; '.join(map(str, note.circuits))}. All"
        " others were solved by phasors."
    )


def _earth_faults(note: EarthFaultCount) -> str:
    design = note.design
    a_circuit = design.samples_drawn * (STEADY_INTERVALS + 1)
    more = ""
    if note.in_time:
        more = f", and {note.in_time:,.0f} more in time at {TRANSIENT_INTERVALS + 1} places"
    return (
        f"{design.samples_drawn:,} earth faults on {BLOCKS} randomised Sobol' nets"
        f" ({counted(design.installations_rounded, 'installation')},"
        f" {counted(design.events_per_installation, 'event')} each) were solved at"
        f" {STEADY_INTERVALS + 1} places along the winding. That makes"
        f" {a_circuit:,} solutions a circuit, {note.by_phasors:,.0f} in all{more}."
    )


def _interpolated(note: Interpolated) -> str:
    return (
        "Places between the solved ones along the winding are interpolated. With half as many"
        f" solved places the critical position would move by {100 * note.moves:.2g} % of the"
        " winding on average."
    )


def _re_entered(note: ReEntered) -> str:
    return (
        f"In {100 * note.share:.2g} % of the cases the unprotected part of the winding is not one"
        " stretch from the neutral. Missed faults then count everything up to its far end, which"
        " overstates them."
    )


def _weighted_samples(note: WeightedSamples) -> str:
    sources = (
        (note.alone, f"from {note.samples} weighted samples"),
        (note.few, "from few weighted samples that operate, with limits as wide as the counts'"),
        (note.left, "from counts, for the reasons in rare.csv"),
    )
    parts = [f"{number} {source}" for number, source in sources if number]
    text = f"{note.stratum}: candidates with rare false trips: {note.rare}."
    if parts:
        text += f" Sources of their p_false: {'; '.join(parts)}."
    if note.compared:
        text += (
            f" Where both can be used ({counted(note.compared, 'candidate')}) they differ by at"
            f" most {note.apart:.1f} standard errors."
        )
    return text


# --- what became of independent samples ---------------------------------------


def _precise(note: Precise) -> str:
    def width(share: float) -> str:
        return f"{100 * share:.2g} %" if np.isfinite(share) else "nothing seen"

    parts = [
        f"{name} +-{width(got)} of itself (asked {width(asked)})"
        for name, asked, got in note.reached
    ]
    sizes = f"{note.samples} samples a type, {note.earth_faults} earth faults"
    if note.weighted is not None:
        sizes += f", {_to(note.weighted)} weighted samples an event"
    short = ""
    if note.most is not None:
        short = (
            f" That is short of what was asked, with at most {note.most} of each"
            " (study.precision.most_samples)."
        )
    return f"Precision of the chosen setting: {', '.join(parts)}, from {sizes}.{short}"


def _to(ends: Iterable[int]) -> str:
    return " to ".join(str(end) for end in dict.fromkeys(ends))


def _enlarged(note: Enlarged) -> str:
    plan, own = note.plan, note.own
    name = f"{note.stratum}, {note.assumption_set}" if note.assumption_set else note.stratum
    why = (
        f"Candidate {note.candidate} would have some {plan.seen.steady_hits:.0f} effective hits in"
        f" {plan.seen.trials} samples; steady limits need {HITS:.0f}"
    )
    limit = (
        f" {plan.wanted} would be needed; at most {MOST_TIMES} times the study's own number are"
        " drawn."
    )
    if plan.samples == own:
        return (
            f"{name}: the independent sample has {own} weighted samples, too few for narrow limits."
            f" {why}.{limit}"
        )
    short = limit if plan.wanted > plan.samples else ""
    return (
        f"{name}: the independent sample has {plan.samples} weighted samples instead of {own}."
        f" {why}.{short}"
    )


def _refused(note: Refused) -> str:
    of = f" of {note.scheme}" if note.scheme else ""
    candidates = plural("candidate", note.number)
    they = "they" if note.number > 1 else "it"
    if note.chosen:
        return (
            f"{note.number} better {candidates}{of} in the selection sample did not keep to the"
            " policy on independent samples. The chosen setting is the first that did."
        )
    return (
        f"{note.number} {candidates}{of} met the policy in the selection sample. On independent"
        f" samples {they} did not."
    )


AFTER = (Precise, Enlarged, Incident, Refused)  # what comes of independent samples
COMPUTED = (
    Rounded,
    BurdenCircuits,
    InTime,
    EarthFaultCount,
    Interpolated,
    WeightedSamples,
    Enlarged,
)  # how a run was made, for an appendix
RARE = "Rare false trips come from weighted samples where counts see too few; rare.csv has both."


def _searched(note: Searched) -> str:
    return (
        f"The ranges span {note.spanned:,} settings. A search judged {note.judged:,} of them in"
        f" {counted(note.rounds, 'round')} on {note.samples:,} samples of each type, then"
        f" {note.left:,} on all samples. It follows the best setting of each round, so a better one"
        " far from its path is not excluded."
    )


EVENTS = {
    Incident.SEARCH_ENDED: (
        "The search for settings ended before every step beside the best setting was judged. Take"
        " shorter ranges about it and run again."
    ),
    Incident.DRAWN_LARGER: (
        "The first independent sample missed the precision; these figures are of a larger one."
    ),
    Incident.NOT_ASKED: (
        "Relay circuits that were left out early were not asked for a setting. To ask them too, set"
        " study.racing = false."
    ),
    Incident.MISSES_LIMIT: (
        "On the random numbers that all alternatives share the chosen setting misses the policy's"
        " limit."
    ),
}
WORDS: dict[type, Callable[[Any], str]] = {
    Rounded: _rounded,
    LeftOut: _left_out,
    BurdenCircuits: _burden_circuits,
    InTime: _in_time,
    EarthFaultCount: _earth_faults,
    Interpolated: _interpolated,
    ReEntered: _re_entered,
    WeightedSamples: _weighted_samples,
    Precise: _precise,
    Enlarged: _enlarged,
    Refused: _refused,
    Searched: _searched,
}
