"""What makes a study meaningless though every key is right by itself: a line a fault.

Each check names the top-level tables that it needs and runs when these were read, so that its
faults are reported together with the faults of the others."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from montecarlo.quantities import number
from montecarlo.quantities.wording import LABEL, WORD, fit_for_label, is_word, listed, shown
from montecarlo.relays.schemes import AXES
from montecarlo.sampling.inputs import correlation_faults, list_inputs
from montecarlo.study.axes import DELAYS
from montecarlo.study.backup_checks import backup_faults
from montecarlo.study.budget import samples_that_show, shown_at_best, weighted_samples
from montecarlo.study.candidates import candidate_lattices, grids_of, is_searched
from montecarlo.study.chain_checks import CHAIN_CHECKS
from montecarlo.study.check import Check
from montecarlo.study.clearing_checks import CLEARING_CHECKS
from montecarlo.study.ct_checks import CT_CHECKS
from montecarlo.study.description import Study
from montecarlo.study.earthing_checks import EARTHING_CHECKS
from montecarlo.study.earthing_options import option_faults
from montecarlo.study.gate_checks import GATE_CHECKS
from montecarlo.study.internal_checks import INTERNAL_CHECKS
from montecarlo.study.nonlinear_checks import NONLINEAR_CHECKS
from montecarlo.study.ranges import are_searched, combinations
from montecarlo.study.scheme_checks import SCHEME_CHECKS
from montecarlo.study.winding_checks import WINDING_CHECKS

MOST_CANDIDATES = 100_000
POLICIES = ("p_false_max", "false_per_year_max", "least_annual_cost")
MOST_PAIRS = 50  # each is a sentence of the result


def _samples(study: Study) -> Iterator[str]:
    general = study.study
    for key in ("samples", "earth_fault_samples"):
        count = getattr(general, key)
        if count is not None and not count >= general.installations:
            yield (
                f"study.{key}: {count}, must be at least study.installations ="
                f" {general.installations}, one event per installation; take more samples or fewer"
                " installations"
            )


def _compare(study: Study) -> Iterator[str]:
    pairs = study.study.compare
    if pairs and is_searched(study):
        yield (
            "study.compare: pairs of numbers, but the ranges in [candidates] are"
            " searched, so that no candidate has a number before the run; leave compare out, or"
            " give lists of settings"
        )
        return
    if not pairs:
        return
    if not len(pairs) <= MOST_PAIRS:
        yield f"study.compare: {len(pairs)} pairs, must be at most {MOST_PAIRS}; leave some out"
        return
    last = sum(math.prod(lattice.shape) for lattice in candidate_lattices(study))
    for index, pair in enumerate(pairs):
        wrong = [number for number in pair if not 1 <= number <= last]
        if wrong:
            yield (
                f"study.compare[{index}]: {listed(map(str, wrong))}, must be candidates' numbers, 1"
                f" ... {last}; take them from candidates.csv"
            )
        elif pair[0] == pair[1]:
            yield (
                f"study.compare[{index}]: {pair[0]} stands there twice, must be two candidates;"
                " name another"
            )


def _reactances(study: Study) -> Iterator[str]:
    names = ("subtransient_reactance_pu", "transient_reactance_pu", "synchronous_reactance_pu")
    for small, large in pairwise(names):
        one, other = (getattr(study.machine, name).centre() for name in (small, large))
        if not one <= other:
            yield (
                f"machine.{small}: {one:g} pu, must be at most machine.{large} = {other:g} pu; "
                "are the two swapped?"
            )


def check_relay(study: Study) -> Iterator[str]:
    """The relay's range, its step, one burden an element.

    Parameters
    ----------
    study : Study

    Yields
    ------
    str
        A line a fault.
    """
    relay = study.relay
    if relay.range_a is not None:
        low, high = relay.range_a
        if not 0 <= low < high:
            yield (
                f"relay.range_a: {shown(list(relay.range_a))}, must be [low, high] with 0 <= low <"
                " high, in A"
            )
        elif relay.step_a is not None and not relay.step_a <= high - low:
            yield (
                f"relay.step_a: {relay.step_a:g} A, must be at most the width of relay.range_a = "
                f"{high - low:g} A; give the smallest step of the setting"
            )
    for axis in AXES:
        if getattr(relay, f"{axis}_burden_va") is not None and getattr(
            relay, f"{axis}_burden_ohm"
        ) != number(0.0):
            yield (
                f"relay.{axis}_burden_va: relay.{axis}_burden_ohm is given as well; give the burden"
                " in VA at setting or in ohms"
            )


def _delays(study: Study) -> Iterator[str]:
    """Phasor solutions count the delay and one cycle; slower than the allowed time is never in
    time."""
    allowed, cycle = study.internal_faults.allowed_time_s, 1 / study.machine.frequency_hz
    for key, delay in _all_delays(study):
        if not delay + cycle <= allowed * (1 + 1e-12):
            yield (
                f"{key}: {delay:g} s, must be at most internal_faults.allowed_time_s less one cycle"
                f" = {allowed - cycle:g} s; shorten the delay or allow more time"
            )


def _all_delays(study: Study) -> list[tuple[str, float]]:
    """Key and value of every delay. [s]"""
    delays = []
    for name in DELAYS:
        delays += [(f"candidates.{name}", delay) for delay in getattr(study.candidates, name)]
        own = getattr(study.candidates.existing, name, None)
        delays += [] if own is None else [(f"candidates.existing.{name}", own)]
    return delays


def _durations(study: Study) -> Iterator[str]:
    """What is simulated of a lasting event must hold the longest delay and the cycle that is
    measured: an element that would still wait at the end of the window would count as silent."""
    slowest = max(delay for _, delay in _all_delays(study))
    least = slowest + 1 / study.machine.frequency_hz
    for event in study.external_events:
        # others are cleared, and end by themselves
        duration = getattr(event, "duration_s", None)
        if duration is not None and not duration >= least * (1 - 1e-12):
            yield (
                f"external_events.{event.name}.duration_s: {duration:g} s, must be at least the"
                f" longest delay of the candidates and one cycle = {least:g} s; simulate the event"
                " for longer or shorten the delay"
            )


def _count(study: Study) -> Iterator[str]:
    grids = grids_of(study)
    count = combinations(grids)
    if not are_searched(grids) and not count <= MOST_CANDIDATES:
        yield (
            f"candidates: {count} settings in all, must be at most {MOST_CANDIDATES}; take coarser"
            " grids"
        )


def _shares(study: Study) -> Iterator[str]:
    if study.internal_faults.shares.inter_turn >= 1:
        yield (
            "internal_faults.shares.inter_turn: 1, must be below 1; no fault is left on which a"
            " longitudinal differential scheme can operate"
        )


def _events(study: Study) -> Iterator[str]:
    events = study.external_events
    if not events:
        yield (
            "external_events: [] is empty; give at least one event, each a table"
            " [[external_events]]"
        )
        return
    names = [event.name for event in events]
    for index, name in enumerate(names):
        if not is_word(name):
            yield (
                f"external_events[{index}].name: {shown(name)}, must be {WORD} that does not start"
                " with a digit; it becomes part of keys and file columns"
            )
        elif name in names[:index]:
            yield (
                f"external_events[{index}].name: {shown(name)} is used before; give each event its"
                " own name"
            )
        elif name.lower() in map(str.lower, names[:index]):
            yield (
                f"external_events[{index}].name: {shown(name)} differs from one before in capital"
                " letters only, which file names may not; give each event its own name"
            )
    if not any(event.per_year.support()[1] > 0 for event in events):
        yield (
            "external_events: per_year is 0 for every event; give at least one a frequency above 0"
        )


def _policy(study: Study) -> Iterator[str]:
    policy = study.policy
    given = [key for key in POLICIES if getattr(policy, key) is not None]
    if len(given) != 1:
        yield f"policy: {listed(given) or 'none'} given; give exactly one of {listed(POLICIES)}"
    yield from _least_radius(study)
    cost = policy.least_annual_cost
    if cost is None:
        return
    if cost.missed_fault == cost.false_trip == 0:
        yield (
            "policy.least_annual_cost: missed_fault and false_trip are both 0, and every setting"
            " costs the same; give at least one above 0"
        )
    if not fit_for_label(cost.unit):
        yield f"policy.least_annual_cost.unit: {shown(cost.unit)}, {LABEL}"


def _least_radius(study: Study) -> Iterator[str]:
    policy = study.policy
    least, reach = policy.least_radius, policy.margins.reach
    if least is None:
        return
    if policy.least_annual_cost is not None and policy.p_false_max_each is None:
        yield (
            f"policy.least_radius: {least:g} half-widths, but policy.least_annual_cost has no limit"
            " that could break; give policy.p_false_max_each too, or leave least_radius out"
        )
    if least > reach:
        yield (
            f"policy.least_radius: {least:g} half-widths, must be at most policy.margins.reach ="
            f" {reach:g}; lower it or raise the reach"
        )


def _front(study: Study) -> Iterator[str]:
    """The front lies between two limits, and the samples can show the larger one at least."""
    if "front" not in study.policy.model_fields_set:
        return
    high, low = study.policy.front
    place = f"policy.front: {shown([high, low])}"
    if not 1 >= high > low > 0:
        yield (
            f"{place}, must be the largest and the smallest limit on p_false, with 1 >= largest >"
            " smallest > 0, as [0.1, 1e-5]"
        )
    elif not weighted_samples(study) and high < (best := shown_at_best(study)):
        yield (
            f"{place}, {study.study.samples} samples of each event show {best:.2g} at best; raise"
            f" the larger limit, or study.samples to {samples_that_show(study, high)}"
        )


def _position(study: Study) -> Iterator[str]:
    """The probability of a missed earth fault is exact in the position: it must be drawn by itself,
    per event."""
    if study.internal_faults.position.varies == "installation":
        yield (
            "internal_faults.position: varies = 'installation', must vary per event; leave varies"
            " out"
        )
    for index, pair in enumerate(study.correlations):
        if "internal_faults.position" in pair.between:
            yield (
                f"correlations[{index}].between: 'internal_faults.position' cannot be correlated,"
                " since earth faults are solved along the whole winding; drop the pair"
            )


def _correlations(study: Study) -> Iterator[str]:
    if any(_events(study)):
        # events without names of their own have inputs without keys of their own
        return
    inputs = {item.key: item for item in list_inputs(study)}
    for index, (one, other, _) in enumerate(study.ties):
        for key in dict.fromkeys((one, other)):
            place = f"correlations[{index}].between: {shown(key)}"
            if key.endswith(".per_year"):
                yield (
                    f"{place} is a frequency; only inputs of the events themselves can be"
                    " correlated"
                )
                continue
            item = inputs.get(key)
            if item is not None and item.uncertain and not item.distribution.is_continuous:
                yield (
                    f"{place} is {item.distribution.family}; a correlation needs continuous "
                    "distributions, fit one or drop the correlation"
                )
    yield from correlation_faults(tuple(inputs.values()), study.ties)


EVERYTHING = tuple(Study.model_fields)
CHECKS: tuple[Check, ...] = (
    Check(_samples, ("study",)),
    Check(_reactances, ("machine",)),
    *SCHEME_CHECKS,
    *GATE_CHECKS,
    *NONLINEAR_CHECKS,
    *EARTHING_CHECKS,
    Check(check_relay, ("relay",)),
    *CHAIN_CHECKS,
    Check(_delays, ("machine", "internal_faults", "candidates")),
    Check(_durations, ("machine", "candidates", "external_events")),
    Check(_count, ("scheme", "candidates", "ct")),
    Check(_compare, ("study", "scheme", "candidates", "ct", "relay")),
    Check(_shares, ("internal_faults",)),
    *INTERNAL_CHECKS,
    *WINDING_CHECKS,
    Check(_events, ("external_events",)),
    Check(option_faults, ("study", "internal_faults", "fault_energy", "earthing_options")),
    Check(backup_faults, ("machine", "backup", "earthing")),
    *CLEARING_CHECKS,
    Check(_policy, ("policy",)),
    Check(_front, ("study", "states", "external_events", "policy")),
    *CT_CHECKS,
    Check(_position, ("internal_faults", "correlations")),
    Check(_correlations, EVERYTHING),
)
