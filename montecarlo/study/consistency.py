"""What makes a study meaningless though every key is right by itself: a line a fault.

Each check names the top-level tables that it needs and runs when these were read, so that its
faults are reported together with the faults of the others."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from montecarlo.plant.earthing import WAYS_TO_EARTH
from montecarlo.quantities import number
from montecarlo.quantities.wording import LABEL, WORD, fit_for_label, is_word, listed, shown
from montecarlo.relays.schemes import AXES
from montecarlo.sampling.inputs import correlation_faults, list_inputs
from montecarlo.secondary.ct import ENDS, GROUPS, CtPlaces
from montecarlo.secondary.excitation import excitation_table
from montecarlo.study.backup_checks import backup_faults
from montecarlo.study.candidates import biases_of, candidate_lattices
from montecarlo.study.check import Check
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.earthing_options import option_faults
from montecarlo.study.scheme_checks import SCHEME_CHECKS, check_pilots, check_scheme

__all__ = ["CHECKS", "MOST_CANDIDATES", "Check", "check_relay", "count_candidates", "ct_key"]

MOST_CANDIDATES = 100_000
POLICIES = ("p_false_max", "false_per_year_max", "least_annual_cost")
MOST_PAIRS = 50  # each is a sentence of the result
MATCHED_WITHIN = (
    0.05  # a matching transformer's taps, common practice, no source; the rest is spill on load
)


def check_samples(study: Study) -> Iterator[str]:
    general = study.study
    for key in ("samples", "earth_fault_samples"):
        count = getattr(general, key)
        if count is not None and not count >= general.plants:
            yield (
                f"study.{key}: {count}, must be at least study.plants = {general.plants}, one event"
                " a plant; take more samples or fewer plants"
            )


def check_compare(study: Study) -> Iterator[str]:
    pairs = study.study.compare
    if not pairs or any(check_scheme(study)):
        return
    if not len(pairs) <= MOST_PAIRS:
        yield f"study.compare: {len(pairs)} pairs, must be at most {MOST_PAIRS}; leave some out"
        return
    last = sum(math.prod(lattice.shape) for lattice in candidate_lattices(study))
    for index, pair in enumerate(pairs):
        if wrong := [number for number in pair if not 1 <= number <= last]:
            yield (
                f"study.compare[{index}]: {listed(map(str, wrong))}, must be candidates' numbers, 1"
                f" ... {last}; take them from candidates.csv"
            )
        elif pair[0] == pair[1]:
            yield (
                f"study.compare[{index}]: {pair[0]} stands there twice, must be two candidates;"
                " name another"
            )


def check_reactances(study: Study) -> Iterator[str]:
    names = ("subtransient_reactance_pu", "transient_reactance_pu", "synchronous_reactance_pu")
    for small, large in pairwise(names):
        one, other = (getattr(study.machine, name).centre() for name in (small, large))
        if not one <= other:
            yield (
                f"machine.{small}: {one:g} pu, must be at most machine.{large} = {other:g} pu; "
                "are the two swapped?"
            )


def check_earthing(study: Study) -> Iterator[str]:
    """One way to give the neutral's resistor, whole; heating needs the alloy."""
    earthing = study.earthing
    given = [way for way in WAYS_TO_EARTH if any(getattr(earthing, key) is not None for key in way)]
    ways = (
        "give exactly one of resistance_ohm, current_limit_a, and transformer_ratio with"
        " secondary_resistance_ohm"
    )
    if len(given) != 1:
        yield f"earthing: {listed(way[0] for way in given) or 'no resistor'} given; {ways}"
        return
    yield from (
        f"earthing.{key}: missing; an earthing transformer needs {listed(WAYS_TO_EARTH[2])}"
        for key in given[0]
        if getattr(earthing, key) is None
    )
    for key in ("transformer_resistance_ohm", "transformer_reactance_ohm"):
        if given[0] != WAYS_TO_EARTH[2] and getattr(earthing, key) is not None:
            yield (
                f"earthing.{key}: there is no earthing transformer; take it out or give"
                f" {listed(WAYS_TO_EARTH[2])}"
            )
    coefficient = earthing.temperature_coefficient_per_k
    if earthing.temperature_rise_k.support()[1] > 0 and coefficient.support() == (0, 0):
        yield (
            "earthing.temperature_coefficient_per_k: 0, and temperature_rise_k then changes"
            " nothing; give that of the alloy, as 0.001 for a stainless steel or 0.00012 for an"
            " aluminium-chromium steel"
        )


def check_relay(study: Study) -> Iterator[str]:
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


def check_delays(study: Study) -> Iterator[str]:
    """Phasor solutions count the delay and one cycle; slower than the allowed time is never in
    time."""
    allowed, cycle = study.internal_faults.allowed_time_s, 1 / study.machine.frequency_hz
    delays = [("candidates.delay_s", delay) for delay in study.candidates.delay_s]
    if study.candidates.present is not None:
        delays.append(("candidates.present.delay_s", study.candidates.present.delay_s))
    for key, delay in delays:
        if not delay + cycle <= allowed * (1 + 1e-12):
            yield (
                f"{key}: {delay:g} s, must be at most internal_faults.allowed_time_s less one cycle"
                f" = {allowed - cycle:g} s; shorten the delay or allow more time"
            )


def check_durations(study: Study) -> Iterator[str]:
    """What is simulated of a lasting event must hold the longest delay and the cycle that is
    measured: an element that would still wait at the end of the window would count as silent."""
    delays = [
        *study.candidates.delay_s,
        *([study.candidates.present.delay_s] if study.candidates.present else []),
    ]
    slowest, cycle = max(delays), 1 / study.machine.frequency_hz
    for event in study.external_events:
        # others are cleared, and end by themselves
        duration = getattr(event, "duration_s", None)
        if duration is not None and not duration >= (slowest + cycle) * (1 - 1e-12):
            yield (
                f"external_events.{event.name}.duration_s: {duration:g} s, must be at least the"
                f" longest delay of the candidates and one cycle = {slowest + cycle:g} s; simulate"
                " the event for longer or shorten the delay"
            )


def count_candidates(study: Study) -> int:
    """Settings that the grids span, over all schemes, without the present one."""
    grids, total = study.candidates, 0
    for kind in study.scheme.kinds:
        scheme = scheme_of(study, kind)
        axes = [
            grids.delay_s,
            *([grids.phase_pickup_a] if scheme.of("phase") else []),
            *([grids.earth_pickup_a] if scheme.of("earth") else []),
            *([grids.stabilising_resistance_ohm] if scheme.stabilised else []),
            *([biases_of(study)] if scheme.biased else []),
        ]
        total += math.prod(map(len, axes))
    return total


def check_count(study: Study) -> Iterator[str]:
    if any(check_scheme(study)):
        return
    if not (count := count_candidates(study)) <= MOST_CANDIDATES:
        yield (
            f"candidates: {count} settings in all, must be at most {MOST_CANDIDATES}; take coarser"
            " grids"
        )


def check_shares(study: Study) -> Iterator[str]:
    if study.internal_faults.shares.inter_turn >= 1:
        yield (
            "internal_faults.shares.inter_turn: 1, must be below 1; no fault is left that a"
            " longitudinal differential scheme can see"
        )


def check_events(study: Study) -> Iterator[str]:
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


def check_policy(study: Study) -> Iterator[str]:
    policy = study.policy
    given = [key for key in POLICIES if getattr(policy, key) is not None]
    if len(given) != 1:
        yield f"policy: {listed(given) or 'none'} given; give exactly one of {listed(POLICIES)}"
    if (cost := policy.least_annual_cost) is not None and cost.missed_fault == cost.false_trip == 0:
        yield (
            "policy.least_annual_cost: missed_fault and false_trip are both 0, so every setting"
            " costs the same; give at least one above 0"
        )
    if cost is not None and not fit_for_label(cost.unit):
        yield f"policy.least_annual_cost.unit: {shown(cost.unit)}, {LABEL}"


def ct_key(ct: CtPlaces, end: str, name: str) -> str:
    """The key under which the file gives what the CTs of one end have."""
    override = getattr(ct, end)
    own = override is not None and name in override.model_fields_set
    return f"ct.{end}.{name}" if own else f"ct.{name}"


def check_ratios(study: Study) -> Iterator[str]:
    """CTs of different ratio that share a leg need matching, or the load would spill through its
    element."""
    pairs = {ENDS}
    if not any(check_scheme(study)) and not any(check_pilots(study)):
        pairs = {
            (groups[0], group)
            for kind in study.scheme.kinds
            for groups in scheme_of(study, kind).sharing
            for group in groups[1:]
        }
    for first, group in sorted(pairs, key=lambda pair: [GROUPS.index(name) for name in pair]):
        one, other = study.ct.at(first), study.ct.at(group)
        if not math.isclose(one.leg_ratio, other.leg_ratio, rel_tol=MATCHED_WITHIN):
            key = next(
                (
                    key
                    for name in ("primary_a", "secondary_a", "ratio_matching")
                    for place in (group, first)
                    if (key := ct_key(study.ct, place, name)).count(".") == 2
                ),
                f"ct.{group}.ratio_matching",
            )
            needed = other.turns_ratio / one.leg_ratio
            yield (
                f"{key}: {first} has {one.primary_a:g}/{one.secondary_a:g} A, {group}"
                f" {other.primary_a:g}/{other.secondary_a:g} A; the load would spill through the"
                f" elements: give both the same ratio, or ct.{group}.ratio_matching = {needed:.5g}"
            )


def check_remanence(study: Study) -> Iterator[str]:
    """A core cannot rest at more flux than its loop holds."""
    for end in study.ct.groups:
        at = study.ct.at(end)
        low, high = at.remanence_percent.support()
        if not max(-low, high) <= at.remanence_bound_percent:
            bound = at.remanence_bound_percent
            cure = (
                "give a smaller number"
                if at.remanence_percent.is_number
                else (
                    f"truncate = [-{bound:g}, {bound:g}]"
                    if at.remanence_percent.is_continuous
                    else "leave out the larger"
                )
            )
            yield (
                f"{ct_key(study.ct, end, 'remanence_percent')}: reaches {low:g} ... {high:g} %,"
                f" must stay within {ct_key(study.ct, end, 'remanence_bound_percent')} = {bound:g}"
                f" % either way; {cure}"
            )


def check_excitation(study: Study) -> Iterator[str]:
    """An excitation curve with both stops exists only for ankle ratios inside a range that the
    bound decides."""
    for end in study.ct.groups:
        at = study.ct.at(end)
        low, high = at.ankle_ratio.support()
        least, most = excitation_table(
            at.remanence_bound_percent, at.saturation_exponent
        ).ankle_range
        if not (least <= low and high <= most):
            yield (
                f"{ct_key(study.ct, end, 'ankle_ratio')}:"
                f" {f'{low:g}' if low == high else f'{low:g} ... {high:g}'}, must stay within"
                f" {least:.3f} ... {most:.3f}, what a core with a remanence bound of"
                f" {at.remanence_bound_percent:g} % can have; narrow it or change"
                " remanence_bound_percent"
            )


def check_position(study: Study) -> Iterator[str]:
    """The probability of a missed earth fault is exact in the position: it must be drawn by itself,
    per event."""
    if study.internal_faults.position.varies == "plant":
        yield "internal_faults.position: varies = 'plant', must vary per event; leave varies out"
    for index, pair in enumerate(study.correlations):
        if "internal_faults.position" in pair.between:
            yield (
                f"correlations[{index}].between: 'internal_faults.position' cannot be correlated,"
                " since earth faults are solved along the whole winding; drop the pair"
            )


def check_correlations(study: Study) -> Iterator[str]:
    if any(check_events(study)) or any(check_scheme(study)):
        # events and legs without names of their own have inputs without keys of their own
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
            elif (
                key in inputs
                and inputs[key].uncertain
                and not inputs[key].distribution.is_continuous
            ):
                yield (
                    f"{place} is {inputs[key].distribution.family}; a correlation needs continuous "
                    "distributions, fit one or drop the correlation"
                )
    yield from correlation_faults(tuple(inputs.values()), study.ties)


EVERYTHING = tuple(Study.model_fields)
CHECKS: tuple[Check, ...] = (
    Check(check_samples, ("study",)),
    Check(check_reactances, ("machine",)),
    *SCHEME_CHECKS,
    Check(check_earthing, ("earthing",)),
    Check(check_relay, ("relay",)),
    Check(check_delays, ("machine", "internal_faults", "candidates")),
    Check(check_durations, ("machine", "candidates", "external_events")),
    Check(check_count, ("scheme", "candidates", "ct")),
    Check(check_compare, ("study", "scheme", "candidates", "ct", "relay")),
    Check(check_shares, ("internal_faults",)),
    Check(check_events, ("external_events",)),
    Check(option_faults, ("study", "internal_faults", "fault_energy", "earthing_options")),
    Check(backup_faults, ("machine", "backup")),
    Check(check_policy, ("policy",)),
    Check(check_ratios, ("ct", "scheme")),
    Check(check_remanence, ("ct",)),
    Check(check_excitation, ("ct",)),
    Check(check_position, ("internal_faults", "correlations")),
    Check(check_correlations, EVERYTHING),
)
