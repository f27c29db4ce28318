"""Judgement checks: what a study may well mean, and its reader should know. A sentence each, with
the numbers.

Numbers are taken at the centre (median) of each input. Nothing here stops a study."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from montecarlo.plant.earthing import neutral_ohm, return_admittance
from montecarlo.plant.internal import UNIFORM_POSITION
from montecarlo.plant.machine import earth_fault_reactance_pu, winding_impedance
from montecarlo.quantities import Distribution
from montecarlo.quantities.wording import listed
from montecarlo.secondary.completion import design_of, fit_of
from montecarlo.secondary.ct import ENDS
from montecarlo.secondary.measured import MISFIT_MAX_PERCENT
from montecarlo.study.axes import PICKUPS
from montecarlo.study.backup_checks import backup_cautions
from montecarlo.study.budget import too_few_by_key
from montecarlo.study.consistency import ct_key
from montecarlo.study.description import Study
from montecarlo.study.grids import snap
from montecarlo.study.scene import direct_s
from montecarlo.study.usual import usual_cautions
from montecarlo.study.wiring import wiring_cautions

__all__ = ["CAUTIONS", "Caution", "capacitance_f", "cautions", "neutrals_s"]

FEW_AMPERES = (
    25.0  # an earth-fault current below it is that of a unit-connected machine; common practice
)
MOST_HEATED_K = 760.0  # rise of a neutral resistor in its shortest duties
SEVERAL_EVENTS = 8  # a plant, below which the spread over plants is mostly noise


@dataclass(frozen=True)
class Caution:
    """The key that it is about, and one plain sentence. `standing`: it belongs to every study."""

    key: str
    text: str
    standing: bool = False


def cautions(study: Study) -> list[Caution]:
    """Everything that the reader of this study should know of its inputs, in a fixed order."""
    return [caution for check in CAUTIONS for caution in check(study)]


# --- earthing and the winding -------------------------------------------------


def capacitance_f(study: Study) -> float:
    """C_s + C_z + C_e of one phase. [F]"""
    machine = study.machine
    return (
        machine.stator_capacitance_f.centre()
        + machine.terminal_capacitance_f.centre()
        + study.network.external_capacitance_f.centre()
    )


def neutrals_s(study: Study) -> complex:
    """Admittance of all earthed neutrals. [S]"""
    own = neutral_ohm(study.earthing, study.earthing.centres(), study.machine.phase_voltage_v)
    other = study.earthing.other_neutrals_ohm
    return complex(1 / own) + (0.0 if other is None else 1 / other.centre())


def _emf_v(study: Study) -> float:
    return study.machine.phase_voltage_v * study.machine.voltage_factor.centre()


def _winding_ohm(study: Study) -> complex:
    """Z_w of the whole winding for an earth fault. [ohm]"""
    machine = study.machine
    reactances = (
        machine.subtransient_reactance_pu,
        machine.negative_sequence_reactance_pu,
        machine.zero_sequence_reactance_pu,
    )
    reactance = (
        earth_fault_reactance_pu(*(value.centre() for value in reactances))
        * machine.base_impedance_ohm
    )
    return complex(
        winding_impedance(
            1.0, machine.winding_resistance_ohm.centre(), reactance, machine.winding_exponent
        )
    )


def _terminal_fault_a(study: Study) -> tuple[float, float]:
    """A bolted earth fault at the terminals: its current, and what of it the six CTs can see.
    [A]"""
    neutrals, omega = neutrals_s(study), study.machine.omega
    back = complex(return_admittance(1 / neutrals, math.inf, capacitance_f(study), omega))
    outside = neutrals + 3j * omega * study.network.external_capacitance_f.centre()
    current = _emf_v(study) / (1 / back + _winding_ohm(study))
    return abs(current), abs(current / back * outside)


def _finest_pickup_a(study: Study) -> float:
    """Smallest pick-up of any element among the candidates. [A secondary]"""
    return min((*study.candidates.phase_pickup_a, *study.candidates.earth_pickup_a))


def check_capacitive_current(study: Study) -> Iterator[Caution]:
    capacitance, resistance = capacitance_f(study), abs(1 / neutrals_s(study))
    if capacitance <= 0:
        yield Caution(
            "machine.stator_capacitance_f",
            "No capacitance to earth is given, so charging currents are "
            "left out of the faults and the rule R <= 1/(3wC) of the resistor cannot be checked.",
        )
    elif resistance > (limit := 1 / (3 * study.machine.omega * capacitance)):
        yield Caution(
            f"earthing.{study.earthing.key}",
            f"{resistance:.4g} ohm is above 1/(3wC) = {limit:.4g} ohm (C = {capacitance * 1e6:.3g}"
            " uF a phase): intermittent earth faults may raise the voltage.",
        )


def check_heating(study: Study) -> Iterator[Caution]:
    """Rises of IEEE Std 32-1972, as quoted in secondary sources: 10 s and 60 s duty 760 K, extended
    time 610 K."""
    if (rise := study.earthing.temperature_rise_k.support()[1]) > MOST_HEATED_K:
        yield Caution(
            "earthing.temperature_rise_k",
            f"The resistor heats by up to {rise:g} K; {MOST_HEATED_K:g} K is "
            "the limit for short duty (IEEE Std 32-1972, as quoted in secondary sources).",
        )


def check_winding_exponent(study: Study) -> Iterator[Caution]:
    if study.machine.winding_exponent == 1:
        yield Caution(
            "machine.winding_exponent",
            "The winding reactance grows linearly from the neutral, as in "
            "textbook examples; for a real winding 2 (ampere-turns squared) is the better law.",
        )


def check_winding_reactance(study: Study) -> Iterator[Caution]:
    winding = abs(_winding_ohm(study))
    back = abs(
        1
        / complex(
            return_admittance(
                1 / neutrals_s(study), math.inf, capacitance_f(study), study.machine.omega
            )
        )
    )
    if winding > back / 3:
        yield Caution(
            "machine.winding_exponent",
            f"The winding's impedance {winding:.3g} ohm is not small against the earth return's"
            f" {back:.3g} ohm, so the law of its growth along the winding matters.",
        )


def check_unit_connected(study: Study) -> Iterator[Caution]:
    current, _ = _terminal_fault_a(study)
    if current < FEW_AMPERES:
        yield Caution(
            f"earthing.{study.earthing.key}",
            f"An earth fault at the terminals drives {current:.3g} A, "
            "as on a unit-connected machine: neutral voltage or neutral current, not a current "
            "differential element, is the usual protection against it.",
        )


def check_reach(study: Study) -> Iterator[Caution]:
    _, seen = _terminal_fault_a(study)
    needed = _finest_pickup_a(study) * study.ct.at("line_end").leg_ratio
    if seen < needed:
        yield Caution(
            "candidates",
            f"The finest pick-up needs {needed:.3g} A primary and a bolted earth fault at the "
            f"terminals gives the CTs {seen:.3g} A: no element can ever see an earth fault here.",
        )


def check_zone_capacitance(study: Study) -> Iterator[Caution]:
    """An earth fault outside the zone makes the zone itself feed 3w(C_s + C_z)V_N, V_N up to E."""
    if not study.candidates.earth_pickup_a or any(
        event.kind == "phase_earth" for event in study.external_events
    ):
        return
    machine, ratio = study.machine, study.ct.at("line_end").leg_ratio
    inside = machine.stator_capacitance_f.centre() + machine.terminal_capacitance_f.centre()
    fed, finest = 3 * machine.omega * inside * _emf_v(study), min(study.candidates.earth_pickup_a)
    if fed > finest * ratio:
        yield Caution(
            "candidates.earth_pickup_a",
            f"On an earth fault outside the zone the zone's own capacitance feeds up to {fed:.3g}"
            f" A, above the finest earth pick-up of {finest:g} A secondary = {finest * ratio:.3g} A"
            " primary; no event of kind phase_earth is listed, so p_false does not hold such"
            " faults.",
        )


# --- machine and load ---------------------------------------------------------


def check_voltage(study: Study) -> Iterator[Caution]:
    machine = study.machine
    if not 380 <= machine.line_voltage_v <= 30e3:
        yield Caution(
            "machine.line_voltage_v",
            f"{machine.line_voltage_v:g} V is unusual for a generator (400 V to "
            "27 kV); it is the line-to-line value in volts.",
        )
    factor = machine.voltage_factor
    low, high = factor.support()
    if low < 0.9 or high > 1.1:
        yield Caution(
            "machine.voltage_factor",
            f"The EMF before a fault reaches {low:g} ... {high:g} of the rated "
            "phase voltage; 0.9 ... 1.1 is usual in service.",
        )


def check_frequency(study: Study) -> Iterator[Caution]:
    if study.machine.frequency_hz not in (50.0, 60.0, 16.7, 50 / 3, 25.0):
        yield Caution(
            "machine.frequency_hz",
            f"{study.machine.frequency_hz:g} Hz is no usual system frequency.",
        )


def check_time_constants(study: Study) -> Iterator[Caution]:
    fast, slow = (
        value.centre()
        for value in (
            study.machine.subtransient_time_constant_s,
            study.machine.transient_time_constant_s,
        )
    )
    if fast >= slow:
        yield Caution(
            "machine.subtransient_time_constant_s",
            f"T''d = {fast:g} s is not below T'd = {slow:g} s; are the two swapped?",
        )


def check_reactance_order(study: Study) -> Iterator[Caution]:
    names = ("subtransient_reactance_pu", "transient_reactance_pu", "synchronous_reactance_pu")
    for small, large in pairwise(names):
        high, low = (
            getattr(study.machine, small).support()[1],
            getattr(study.machine, large).support()[0],
        )
        if high > low:
            yield Caution(
                f"machine.{small}",
                f"It can be drawn as high as {high:g} pu while {large} can be as low as "
                f"{low:g} pu; correlate the two or narrow them, or some machines are impossible.",
            )


def check_load(study: Study) -> Iterator[Caution]:
    low, high = study.load.current_pu.support()
    if high > 1.1:
        yield Caution(
            "load.current_pu",
            f"The load reaches {high:g} pu of the machine's rated current; above 1.1 pu "
            "is an overload, and every candidate must stay quiet in it.",
        )
    if high == low == 0:
        yield Caution(
            "load.current_pu",
            "The load is always 0: the error current that load leaves in the legs, and "
            "whether a candidate operates on load, stay unknown.",
        )


# --- current transformers and relay -------------------------------------------


def check_ct_rating(study: Study) -> Iterator[Caution]:
    rated = study.machine.rated_current_a
    for end in ENDS[: 1 if study.ct.at(ENDS[0]).primary_a == study.ct.at(ENDS[1]).primary_a else 2]:
        primary = study.ct.at(end).primary_a
        if not 0.5 <= rated / primary <= 1.2:
            yield Caution(
                ct_key(study.ct, end, "primary_a"),
                f"The machine's rated current {rated:.4g} A is "
                f"{rated / primary:.2g} of the CT's {primary:g} A; 0.5 to 1.2 is usual.",
            )


def check_relay_rating(study: Study) -> Iterator[Caution]:
    secondary = study.ct.at("line_end").secondary_a
    if secondary != study.relay.rated_current_a:
        yield Caution(
            "relay.rated_current_a",
            f"The relay is rated {study.relay.rated_current_a:g} A, the CTs "
            f"{secondary:g} A secondary; settings in per cent are of the relay's rating.",
        )


def check_perfect_cts(study: Study) -> Iterator[Caution]:
    """Spill comes from what makes the CTs of the two ends differ; without it no candidate can trip
    falsely."""
    ends = [study.ct.at(end) for end in ENDS]
    if all(ct.knee_current_a.support()[1] == 0 for ct in ends):
        yield Caution(
            "ct.knee_current_a",
            "The CTs are ideal (no exciting current): they never saturate, p_false "
            "then says nothing of saturation.",
        )
    elif all(ct.remanence_percent.support() == (0, 0) for ct in ends):
        yield Caution(
            "ct.remanence_percent",
            "No core holds remanence before an event; surveys found up to 80 % in service (IEEE"
            " C37.110-2007, as quoted in secondary sources), and p_false would be larger.",
        )
    if all(ct.turns_ratio_error_percent.support() == (0, 0) for ct in ends):
        yield Caution(
            "ct.turns_ratio_error_percent",
            "All six CTs have exactly their rated ratio, so no spill comes from unlike ratios.",
        )


def check_alike(study: Study) -> Iterator[Caution]:
    """A class or measured points give one knee; six real cores have six."""
    for table, ends in ((study.ct, ENDS), *((getattr(study.ct, end), (end,)) for end in ENDS)):
        if table is None or not any(
            study.ct.at(end).excitation_points or design_of(vars(study.ct.at(end))) for end in ends
        ):
            continue
        factor = table.knee_factor or study.ct.knee_factor
        if table.knee_voltage_v is not None and (factor is None or factor.is_number):
            key = "ct" if table is study.ct else f"ct.{ends[0]}"
            yield Caution(
                f"{key}.knee_factor",
                "The knees are exactly alike, as the class or the measured points give "
                "them; unlike cores are what makes a spill: give knee_factor a distribution.",
            )


def check_assumed_ratio(study: Study) -> Iterator[Caution]:
    """Class limits are check values: what a test must stay below."""
    told = set()
    for end in study.ct.groups:
        error, key = (
            study.ct.at(end).turns_ratio_error_percent,
            ct_key(study.ct, end, "turns_ratio_error_percent"),
        )
        if error.source.startswith("default of class") and key not in told:
            told.add(key)
            yield Caution(
                key,
                f"No ratio error is given, so {error.support()[1]:g} % either way was assumed, "
                f"evenly spread: what {error.source.removeprefix('default of ')} leaves the turns "
                "at most. A "
                "class limit is a check value, no measured error; give those of a test report.",
            )


def check_misfit(study: Study) -> Iterator[Caution]:
    """A curve that is accepted only because the study states its misfit."""
    told = set()
    for end in study.ct.groups:
        fit, key = (
            fit_of(vars(study.ct.at(end))),
            ct_key(study.ct, end, "excitation_misfit_max_percent"),
        )
        if fit is not None and fit.misfit_percent > MISFIT_MAX_PERCENT and key not in told:
            told.add(key)
            yield Caution(
                key,
                "The curve fitted to the measured points misses them by "
                f"{100 * fit.rms:.3g} % RMS and "
                f"{100 * fit.worst:.3g} % at most, more than is accepted unless stated "
                f"({MISFIT_MAX_PERCENT:g} % RMS); look at the points in the hand calculation.",
            )


def check_remanence_model(study: Study) -> Iterator[Caution]:
    if study.ct.remanence_model == "shifted_curve":
        yield Caution(
            "ct.remanence_model",
            "A shifted curve never forgets the remanence and rests at any flux: "
            "remanence_bound_percent does no more than limit remanence_percent.",
        )


def check_pickup_error(study: Study) -> Iterator[Caution]:
    if study.relay.pickup_error_percent.is_number:
        yield Caution(
            "relay.pickup_error_percent",
            "Every element operates exactly as set or off by the same"
            f" {study.relay.pickup_error_percent.centre():g} %; 2 to 5 % either way is common"
            " practice.",
        )


def check_present_step(study: Study) -> Iterator[Caution]:
    """The setting in service stays as it is, even where the relay could not be set so."""
    present, relay = study.candidates.present, study.relay
    if present is None or (relay.step_a is None and relay.range_a is None):
        return
    for name in PICKUPS:
        if (value := getattr(present, name)) is not None:
            snapped = snap((value,), relay.step_a, relay.range_a)
            if snapped.outside:
                yield Caution(
                    f"candidates.present.{name}",
                    f"{value:g} A in service cannot be set on this relay; it is judged as given.",
                )
            elif snapped.moved:
                yield Caution(
                    f"candidates.present.{name}",
                    f"{value:g} A in service is not on the relay's step; the "
                    f"nearest is {snapped.points[0]:g} A. It is judged as given.",
                )


def check_wiring(study: Study) -> Iterator[Caution]:
    yield from (Caution(*pair) for pair in wiring_cautions(study))


def check_backup(study: Study) -> Iterator[Caution]:
    yield from (Caution(*pair) for pair in backup_cautions(study))


# --- events, assumptions and what the samples can show ------------------------


def check_usual(study: Study) -> Iterator[Caution]:
    yield from (Caution(*pair) for pair in usual_cautions(study))


def check_direct_current(study: Study) -> Iterator[Caution]:
    """Without resistance outside the machine the DC component outlasts that of a terminal fault."""
    armature = study.machine.armature_time_constant_s.centre()
    for event in study.external_events:
        outside = getattr(event, "external_resistance_pu", None)
        if outside is None or outside.support() != (0, 0):
            continue
        if (lasts := direct_s(study, event)) is not None and lasts > armature * (1 + 1e-9):
            yield Caution(
                f"external_events.{event.name}.external_resistance_pu",
                "Without resistance between the "
                "terminals and the fault the DC component goes with "
                f"{1000 * lasts:.3g} ms at the centre of the inputs, slower than at the terminals "
                f"(T_a = {1000 * armature:.3g} ms), and "
                "saturates the CTs for longer; lines and transformers have some.",
            )


def check_clearing_times(study: Study) -> Iterator[Caution]:
    for event in study.external_events:
        clearing = getattr(event, "clearing_time_s", None)  # some kinds last instead
        if isinstance(clearing, Distribution) and (longest := clearing.support()[1]) > 1:
            yield Caution(
                f"external_events.{event.name}.clearing_time_s",
                f"It reaches {longest:g} s; above 1 s even "
                "back-up protection has usually cleared, and every sample is simulated that long.",
            )


def check_bolted(study: Study) -> Iterator[Caution]:
    resistance = study.internal_faults.earth_fault_resistance_ohm
    if study.internal_faults.shares.earth > 0 and resistance.support() == (0, 0):
        yield Caution(
            "internal_faults.earth_fault_resistance_ohm",
            "Every earth fault is bolted, so p_missed leaves "
            "out the faults that their own resistance hides.",
        )


def check_position(study: Study) -> Iterator[Caution]:
    position = study.internal_faults.position
    if (position.family, dict(position.parameters)) == (
        UNIFORM_POSITION.family,
        dict(UNIFORM_POSITION.parameters),
    ):
        yield Caution(
            "internal_faults.position",
            "Faults spread evenly along the winding is an assumption, for which no published "
            "support was found; p_missed is also shown for a law weighted to the line end.",
            True,
        )


def check_assumed_weights(study: Study) -> Iterator[Caution]:
    rates = [study.internal_faults.per_year, *(event.per_year for event in study.external_events)]
    fixed = sum(rate.is_number for rate in rates)
    also = (
        f", and so are {fixed} of {len(rates)} frequencies a year, which are plain numbers"
        if fixed
        else ""
    )
    yield Caution(
        "internal_faults.shares",
        f"The shares of the fault types are this study's assumptions{also}; the "
        "intervals do not hold their uncertainty.",
        True,
    )


def check_samples(study: Study) -> Iterator[Caution]:
    general = study.study
    if (each := general.samples / general.plants) < SEVERAL_EVENTS:
        yield Caution(
            "study.samples",
            f"{general.samples} samples on {general.plants} plants are {each:.3g} events a "
            f"plant; below {SEVERAL_EVENTS} the spread over plants is mostly noise.",
        )


def check_provable(study: Study) -> Iterator[Caution]:
    for key, text in too_few_by_key(study).items():
        yield Caution(key, text)


def check_event_kinds(study: Study) -> Iterator[Caution]:
    kinds = {event.kind for event in study.external_events}
    if len(kinds) == 1:
        yield Caution(
            "external_events",
            f"Only {listed(kinds)} stands for everything that happens outside the zone; "
            "other kinds of event are other risks.",
        )


CAUTIONS: tuple[Callable[[Study], Iterator[Caution]], ...] = (
    check_wiring,
    check_usual,
    check_capacitive_current,
    check_heating,
    check_winding_exponent,
    check_winding_reactance,
    check_unit_connected,
    check_reach,
    check_zone_capacitance,
    check_voltage,
    check_frequency,
    check_time_constants,
    check_reactance_order,
    check_load,
    check_ct_rating,
    check_relay_rating,
    check_perfect_cts,
    check_alike,
    check_assumed_ratio,
    check_misfit,
    check_remanence_model,
    check_pickup_error,
    check_present_step,
    check_backup,
    check_direct_current,
    check_clearing_times,
    check_bolted,
    check_position,
    check_assumed_weights,
    check_samples,
    check_provable,
    check_event_kinds,
)
