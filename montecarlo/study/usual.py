"""Where quantities usually lie, and those of a study that lie elsewhere: per cent given per unit,
kV for V, ms for s.

Wider than what a good machine has and narrower than what the file refuses. Zero stands for "left
out" and is not looked at."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Literal

import numpy as np

from montecarlo.plant.earthing import neutral_ohm
from montecarlo.sampling.inputs import list_inputs
from montecarlo.secondary.ct import GROUPS
from montecarlo.study.axes import PICKUPS
from montecarlo.study.description import Study

__all__ = ["USUAL", "Unusual", "Usual", "unusual", "usual_cautions"]

SMALL_TOLERANCE_PERCENT = 0.3  # a tolerance band below it is rather a share: 0.1 for 10 %
PERCENT, PREFIX = (
    (100.0,),
    (1000.0, 1e6),
)  # what a slip makes of a share, of a quantity with a prefix
SHARES = ("%", "pu", "-", "a year")
PRACTICE = "common practice, no source"
CLASSES = "class limits of IEC 61869-2, as tabulated in secondary sources"
SURVEYS = "surveys found up to 80 % (IEEE C37.110-2007, as quoted in secondary sources)"
TEXTBOOK = "tables of machine constants in textbooks, from memory"
EARTHED = "resistance earthing from 1 A to 2 kA, IEEE C62.92.2, from memory"
FAILURES = "surveys of generator failures, from memory"


@dataclass(frozen=True)
class Usual:
    """The range of the quantities whose key a pattern fits."""

    pattern: str
    unit: str
    low: float
    high: float
    source: str = PRACTICE
    look_at: Literal["centre", "largest"] = (
        "centre"  # the median, or the largest magnitude that can be drawn
    )

    @property
    def factors(self) -> tuple[float, ...]:
        """By which a slip is off, the likeliest first."""
        if self.unit == "deg":
            return (180 / math.pi,)
        return PERCENT if self.unit in SHARES else (*PERCENT, *PREFIX) if self == PICKUP else PREFIX


@dataclass(frozen=True)
class Unusual:
    """A quantity outside its range, and what it would be a factor off, where that lies inside."""

    key: str
    value: float
    usual: Usual
    meant: float | None


USUAL: tuple[Usual, ...] = (
    Usual("study.unresolved_share_max", "-", 1e-6, 0.2),
    Usual("machine.subtransient_reactance_pu", "pu", 0.04, 0.7, TEXTBOOK),
    Usual("machine.transient_reactance_pu", "pu", 0.06, 1.0, TEXTBOOK),
    Usual("machine.synchronous_reactance_pu", "pu", 0.3, 3.5, TEXTBOOK),
    Usual("machine.negative_sequence_reactance_pu", "pu", 0.04, 0.8, TEXTBOOK),
    Usual("machine.zero_sequence_reactance_pu", "pu", 0.005, 0.5, TEXTBOOK),
    Usual("machine.subtransient_time_constant_s", "s", 0.005, 0.3, TEXTBOOK),
    Usual("machine.transient_time_constant_s", "s", 0.1, 5.0, TEXTBOOK),
    Usual("machine.armature_time_constant_s", "s", 0.01, 1.0, TEXTBOOK),
    Usual("machine.stator_capacitance_f", "F", 2e-9, 5e-6),
    Usual("machine.terminal_capacitance_f", "F", 1e-9, 5e-6),
    Usual("network.external_capacitance_f", "F", 1e-9, 2e-5),
    Usual("network.reactance_pu", "pu", 0.005, 10.0),
    Usual("states.overload_current_pu", "pu", 1.0, 2.0),
    Usual("states.open_pilot_per_year", "a year", 1e-6, 1.0),
    Usual("ct*.turns_ratio_error_percent", "%", 0.05, 3.0, CLASSES, "largest"),
    Usual("ct*.remanence_percent", "%", 1.0, 100.0, SURVEYS, "largest"),
    Usual("ct*.knee_voltage_v", "V", 5.0, 5000.0),
    Usual("ct*.knee_current_a", "A", 2e-4, 5.0),
    Usual("ct*.winding_resistance_ohm", "ohm", 0.02, 100.0),
    Usual("ct*.lead_resistance_ohm", "ohm", 0.005, 20.0),
    Usual("ct*.return_core_ohm", "ohm", 0.005, 20.0),
    Usual("scheme.phase_stabilising_ohm", "ohm", 1.0, 2e4),
    Usual("relay.*_burden_va", "VA", 0.005, 30.0),
    Usual(
        "relay.pickup_error_percent",
        "%",
        0.1,
        20.0,
        "2 to 5 % either way is common practice",
        "largest",
    ),
    Usual(
        "backup.*.error_percent",
        "%",
        0.1,
        20.0,
        "2 to 5 % either way is common practice",
        "largest",
    ),
    Usual("internal_faults.per_year", "a year", 1e-4, 0.3, FAILURES),
    Usual("internal_faults.earth_fault_resistance_ohm", "ohm", 1e-3, 5e3),
    Usual("internal_faults.phase_fault_resistance_ohm", "ohm", 1e-5, 5.0),
    Usual("external_events.*.per_year", "a year", 1e-5, 2000.0),
    Usual("external_events.*.external_reactance_pu", "pu", 5e-4, 5.0),
    Usual("external_events.*.external_resistance_pu", "pu", 1e-4, 0.5),
    Usual("external_events.*.fault_resistance_ohm", "ohm", 1e-3, 5e3),
    Usual("external_events.*.zero_sequence_reactance_pu", "pu", 0.005, 5.0),
    Usual("external_events.*.transformer_reactance_pu", "pu", 0.03, 0.6, TEXTBOOK),
    Usual("external_events.*.grid_reactance_pu", "pu", 0.005, 10.0),
    Usual("external_events.*.air_core_reactance_pu", "pu", 0.05, 10.0),
    Usual("external_events.*.residual_flux_pu", "pu", 0.01, 0.95, PRACTICE, "largest"),
    Usual("external_events.*.angle_deg", "deg", 6.5, 180.0, "2 pi rad is 6.28", "largest"),
    Usual("external_events.*.clearing_time_s", "s", 0.01, 5.0),
    Usual("fault_energy.breaker_time_s", "s", 0.02, 0.5),
    Usual("fault_energy.field_decay_time_constant_s", "s", 0.05, 20.0),
    Usual("policy.p_false_max", "-", 1e-7, 0.05),
    Usual("policy.false_per_year_max", "a year", 1e-7, 1.0),
    Usual("candidates.stabilising_resistance_ohm", "ohm", 5.0, 2e4),
    Usual("candidates.slope1", "-", 0.02, 2.0),
    Usual("candidates.slope2", "-", 0.02, 2.0),
)
# Of what a key gives on the study's own base, under the key itself.
CURRENT = Usual("earthing", "A at rated phase voltage", 0.5, 2500.0, EARTHED)
RESISTANCE = Usual(
    "machine.winding_resistance_ohm", "pu of the machine's rating", 1e-4, 0.05, TEXTBOOK
)
PICKUP = Usual("candidates", "times the relay's rated current", 0.001, 3.0)


def unusual(study: Study) -> list[Unusual]:
    """Every quantity outside its range, one for each key."""
    found = [
        _outside(key, value, usual) for key, value, usual in (*_listed(study), *_on_own_base(study))
    ]
    return [one for one in found if one is not None]


def _outside(key: str, value: float, usual: Usual) -> Unusual | None:
    slack = 1e-9 * value
    if value == 0 or usual.low - slack <= value <= usual.high + slack:
        return None
    factors = usual.factors if value < usual.low else [1 / factor for factor in usual.factors]
    meant = next(
        (value * factor for factor in factors if usual.low <= value * factor <= usual.high), None
    )
    return Unusual(key, value, usual, meant)


def _listed(study: Study) -> Iterator[tuple[str, float, Usual]]:
    """Key, size and range of every quantity that the table names."""
    for item in list_inputs(study):
        if (usual := _usual(item.key)) is None or _as_in_ct(study, item.key):
            continue
        low, high = item.distribution.support()
        value = max(-low, high) if usual.look_at == "largest" else item.distribution.centre()
        yield item.key, abs(value), usual
    for section in ("study", "policy", "candidates"):
        table = getattr(study, section)
        for name in type(table).model_fields:
            usual, value = _usual(f"{section}.{name}"), getattr(table, name)
            if usual is not None and value is not None:
                yield f"{section}.{name}", _farthest(value, usual), usual


def _usual(key: str) -> Usual | None:
    return next((usual for usual in USUAL if fnmatchcase(key, usual.pattern)), None)


def _as_in_ct(study: Study, key: str) -> bool:
    """A place's CTs whose value is that of [ct], told there."""
    group, _, name = key.removeprefix("ct.").partition(".")
    return (
        key.startswith("ct.")
        and group in GROUPS
        and getattr(getattr(study.ct, group), name) == getattr(study.ct, name)
    )


def _farthest(value: float | Sequence[float], usual: Usual) -> float:
    """Of a grid the point that lies farthest outside, zeros left out; 0 of none."""
    sizes = [abs(one) for one in np.atleast_1d(value) if one]
    return max(sizes, key=lambda one: max(usual.low / one, one / usual.high), default=0.0)


def _on_own_base(study: Study) -> Iterator[tuple[str, float, Usual]]:
    machine, earthing = study.machine, study.earthing
    ohm = complex(neutral_ohm(earthing, earthing.centres(), machine.phase_voltage_v))
    yield f"earthing.{earthing.key}", machine.phase_voltage_v / abs(ohm), CURRENT
    yield (
        RESISTANCE.pattern,
        machine.winding_resistance_ohm.centre() / machine.base_impedance_ohm,
        RESISTANCE,
    )
    for name in PICKUPS:
        grid = [pickup / study.relay.rated_current_a for pickup in getattr(study.candidates, name)]
        yield f"candidates.{name}", _farthest(grid, PICKUP), PICKUP


# --- tolerances ---------------------------------------------------------------


def _small_tolerances(study: Study) -> Iterator[tuple[str, float]]:
    for item in list_inputs(study):
        given = item.distribution
        if given.family == "tolerance" and not _as_in_ct(study, item.key):
            percent = float(given.parameters["tolerance_percent"])
            if 0 < percent <= SMALL_TOLERANCE_PERCENT:
                yield item.key, percent


# --- in words -----------------------------------------------------------------


def usual_cautions(study: Study) -> Iterator[tuple[str, str]]:
    """Key and sentence."""
    for one in unusual(study):
        usual = one.usual
        unit = f" {usual.unit}" if usual.unit != "-" else ""
        lies = "It reaches" if usual.look_at == "largest" else "It is"
        meant = f"; is {one.meant:.3g}{unit} meant?" if one.meant is not None else "."
        yield (
            one.key,
            (
                f"{lies} {one.value:.3g}{unit}, and {usual.low:g} to {usual.high:g}{unit} is usual "
                f"({usual.source}){meant}"
            ),
        )
    for key, percent in _small_tolerances(study):
        yield (
            key,
            (
                f"Its tolerance_percent is {percent:g}: {percent:g} % either way ({PRACTICE} below "
                f"{SMALL_TOLERANCE_PERCENT:g} %); is {100 * percent:g} % meant?"
            ),
        )
