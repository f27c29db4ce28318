"""The peak voltage across the relay circuit on an internal fault: the formula, the simulated one,
the caution.

The worst fault inside the zone, bolted at the machine's terminals, from no load, with the network's
infeed: what sets its current stands at the end of its range that gives most, and remanence at its
largest; all else at its centre."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine.stages import Stage
from montecarlo.formulas import handcalc
from montecarlo.plant import internal, machine
from montecarlo.quantities import Array, Distribution
from montecarlo.quantities.wording import listed
from montecarlo.relays.places import carried
from montecarlo.sampling.inputs import list_inputs
from montecarlo.secondary import peak
from montecarlo.secondary.circuit import at_places, take
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.circuits import Circuit, scheme_of
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal
from studies.nominal.groups import turn_faults_a
from studies.nominal.limited import across_resistor_v
from studies.report.blocks import Block, Paragraph, Table
from studies.report.numbers import plain
from studies.report.safety import LIMIT_V, NOT_SIMULATED, PEAK, SIMULATED
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd

PEAKS = Stage("peak voltages of the relay circuit", 2e4)  # in solutions of a circuit
HIGHEST = (
    "machine.voltage_factor",
    "machine.armature_time_constant_s",
    "earthing.current_limit_a",
    "scheme.nonlinear_resistor.c",
    "scheme.nonlinear_resistor.beta",
)
LOWEST = (
    "winding.leakage_reactance_pu",
    "winding.coil_leakage_coupling",
    "machine.subtransient_reactance_pu",
    "machine.negative_sequence_reactance_pu",
    "machine.zero_sequence_reactance_pu",
    "machine.winding_resistance_ohm",
    "network.reactance_pu",
    "earthing.resistance_ohm",
    "earthing.secondary_resistance_ohm",
    "earthing.other_neutrals_ohm",
)
NAMES = {
    "three_phase": "three-phase",
    "phase_phase": "phase-phase",
    "phase_phase_earth": "phase-phase-earth",
    "earth": "earth",
    "inter_turn": "between turns",
}

BETWEEN_TURNS = (
    "Schemes between groups of branches also have the bolted fault between turns that drives the"
    " groups farthest apart, without offset. "
)
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class PeakVoltage:
    """One scheme with one stabilising resistance; the fault that gives the formula's most, and the
    simulation's."""

    scheme: str  # fields are columns of peak_voltage.csv
    stabilising_resistance_ohm: float | None  # None: no leg of the scheme has one
    fault: str
    current_a: float  # secondary, RMS, the largest of the legs before excitation
    v_knee_v: float
    v_full_v: float
    peak_formula_v: float
    simulated_fault: str
    peak_simulated_v: float  # NaN: not resolved
    # with the study's non-linear resistor, across it or a leg without one; all else is without it
    with_resistor_v: float | None = None

    @property
    def highest_v(self) -> float:
        """The larger of formula and simulation. [V]"""
        if np.isnan(self.peak_simulated_v):
            return self.peak_formula_v
        return max(self.peak_formula_v, self.peak_simulated_v)

    @property
    def above_limit(self) -> bool:
        """Whether a non-linear resistor is needed."""
        return self.highest_v > LIMIT_V


# --- the faults ---------------------------------------------------------------


def _end_of_range(distribution: Distribution, high: bool) -> float:
    """The largest or smallest value that can be drawn; 99 % or 1 % where there is none."""
    value = distribution.support()[high]
    if np.isfinite(value) and value > 0:
        return value
    return float(distribution.ppf(0.99 if high else 0.01))


def _worst(study: Study) -> Nominal:
    """The nominal point but for what sets the current and for remanence."""
    changes = {}
    for item in list_inputs(study):
        if item.key in HIGHEST or item.key in LOWEST:
            changes[item.key] = _end_of_range(item.distribution, item.key in HIGHEST)
        elif item.key.endswith("remanence_percent"):
            changes[item.key] = max(map(abs, item.distribution.support()))
    return Nominal(study, changes)


@dataclass(frozen=True, eq=False)
class Faults:
    """Bolted faults at the terminals: a row for each kind and faulted phase (or pair)."""

    names: list[str]
    currents_a: Complex  # (faults, 6 or 10), RMS, as of `places.carried`
    decay_s: Array  # (faults,) of the current's offset

    def with_turns(self, worst: Nominal) -> Faults:
        """And those within a phase, without an offset."""
        between = turn_faults_a(worst)
        ends = np.pad(self.currents_a, ((0, 0), (0, 4)))
        return Faults(
            [*self.names, *["inter_turn"] * len(between)],
            np.vstack([ends, between]),
            np.pad(self.decay_s, (0, len(between))),
        )


def _faults(worst: Nominal) -> Faults:
    emf, omega = worst.emf_v, worst.study.machine.omega
    between_pu = machine.phase_fault_reactance_pu(
        worst.at("machine.subtransient_reactance_pu"),
        worst.at("machine.negative_sequence_reactance_pu"),
    )
    own, loop = worst.winding_ohm(between_pu), worst.earth_loop_ohm()
    back = worst.earth_return
    inside: dict[str, Any] = {
        key: getattr(back, key)
        for key in ("stator_capacitance_f", "terminal_capacitance_f", "omega", "infeed_share")
    }
    infeed: complex = np.inf
    if np.isfinite(worst.network_pu):
        infeed = 1j * worst.network_pu * worst.study.machine.base_impedance_ohm
    ones, phases = np.ones(3), np.arange(3)
    driven = emf, own, infeed, 0.0
    three = internal.phase_fault("three_phase", ones[:1], phases[:1], *driven, **inside)
    two = internal.phase_fault("phase_phase", ones, phases, *driven, **inside)
    double = internal.phase_phase_earth(ones, phases, *driven, back)
    earth = internal.earth_fault(ones, phases, emf, loop, 0.0, back)
    # a capacitive loop has no offset
    angle = np.angle(emf / earth.fault_current_a[0])
    in_earth_s = max(float(np.tan(angle)) / omega, 0.0) if abs(angle) < np.pi / 2 else 0.0
    armature_s = worst.at("machine.armature_time_constant_s")
    kinds = {
        "three_phase": (three, armature_s),
        "phase_phase": (two, armature_s),
        "phase_phase_earth": (double.end_currents_a, armature_s),
        "earth": (earth.end_currents_a, in_earth_s),
    }
    counts = [len(rows) for rows, _ in kinds.values()]
    return Faults(
        np.repeat([*kinds], counts).tolist(),
        np.concatenate([rows for rows, _ in kinds.values()]),
        np.repeat([decay_s for _, decay_s in kinds.values()], counts),
    )


# --- both numbers -------------------------------------------------------------


def peak_voltages(study: Study) -> list[PeakVoltage]:
    """For every scheme and stabilising resistance of the candidates; of circuits that differ by a
    burden in VA the one with most resistance.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of PeakVoltage
    """
    worst = _worst(study)
    faults = _faults(worst)
    found: dict[tuple[str, float], Circuit] = {}
    for circuit in dict.fromkeys(lattice.circuit for lattice in candidate_lattices(study)):
        key = circuit.scheme, circuit.stabilising_resistance_ohm
        ohm = worst.branch_ohms(circuit).sum()
        if key not in found or ohm > worst.branch_ohms(found[key]).sum():
            found[key] = circuit
    return [_of_circuit(worst, circuit, faults) for circuit in found.values()]


def _of_circuit(worst: Nominal, circuit: Circuit, faults: Faults) -> PeakVoltage:
    machine_data = worst.study.machine
    scheme = scheme_of(worst.study, circuit.scheme)
    if scheme.of_branches:
        faults = faults.with_turns(worst)
    ohm = worst.branch_ohms(circuit)[None]
    inside = np.array([not leg.parts[0].startswith("return.") for leg in scheme.legs])
    same = np.zeros(len(faults.names), int)
    cores = take(at_places(worst.bank, scheme.places), same)
    currents = carried(faults.currents_a, scheme.places)
    knee = cores.knee_flux_wb * machine_data.omega / np.sqrt(2)

    def formula(across: NDArray[np.bool_]) -> tuple[Array, Array]:
        full = peak.full_voltage(scheme.table, ohm[same], cores, currents, across)
        return full, handcalc.peak_voltage(knee, full)

    full, by_hand = formula(inside)
    row, ct = np.unravel_index(int(by_hand.argmax()), by_hand.shape)
    # of each kind of fault the phase or pair that stresses this circuit most
    names = np.array(faults.names)
    most = by_hand.max(axis=1)
    of_kinds = [np.flatnonzero(names == kind) for kind in dict.fromkeys(faults.names)]
    tried = np.array([rows[most[rows].argmax()] for rows in of_kinds])

    def simulated(across: NDArray[np.bool_]) -> Array:
        return peak.peak_voltage(
            scheme.table,
            ohm[same][tried],
            take(cores, tried),
            currents[tried],
            faults.decay_s[tried],
            across,
            machine_data.frequency_hz,
        )

    volts = simulated(inside)
    highest = int(volts.argmax())
    legs = np.abs((currents / cores.turns) @ scheme.table.T)[:, inside]
    stabilising = circuit.stabilising_resistance_ohm if scheme.stabilised else None
    with_resistor_v = None
    if worst.study.scheme.nonlinear_resistor is not None and scheme.high_impedance:
        limited = list(scheme.high_impedance)
        c, beta = (worst.at(f"scheme.nonlinear_resistor.{key}") for key in ("c", "beta"))
        across_v = across_resistor_v(currents / cores.turns, scheme.table[limited], c, beta)
        without_v = np.nanmax([by_hand.max(), volts.max()])
        with_resistor_v = float(min(across_v, without_v))
        inside[limited] = False  # the legs that have none
        if inside.any():
            _, formula_v = formula(inside)
            formula_v = formula_v[:, scheme.table[inside].any(axis=0)]
            highest_v = [with_resistor_v, *formula_v.flat, *simulated(inside)]
            with_resistor_v = float(np.nanmax(highest_v))
    return PeakVoltage(
        circuit.scheme,
        stabilising,
        faults.names[row],
        float(legs[row].max()),
        float(knee[row, ct]),
        float(full[row, ct]),
        float(by_hand[row, ct]),
        faults.names[tried[highest]],
        float(volts[highest]),
        with_resistor_v,
    )


# --- told ---------------------------------------------------------------------


def caution(peaks: list[PeakVoltage]) -> list[str]:
    """What must be said where a peak is above the limit: a sentence or none.

    Parameters
    ----------
    peaks : list of PeakVoltage

    Returns
    -------
    list of str
    """
    if not (each := _above(peaks)):
        return []
    most = max(row.highest_v for row in peaks)
    with_v = [row.with_resistor_v for row in peaks if row.above_limit]
    given = [volts for volts in with_v if volts is not None]
    cure = _limited(max(given)) if len(given) == len(with_v) else _needed(" there")
    return [
        f"peak voltage on an internal fault: above {LIMIT_V / 1000:g} kV for {each} (up to"
        f" {most / 1000:.3g} kV). {cure}"
    ]


def other_circuits(peaks: list[PeakVoltage]) -> str:
    """Which circuits of the study are above the limit, in a line; nothing where none is.

    Parameters
    ----------
    peaks : list of PeakVoltage

    Returns
    -------
    str
    """
    each = _above(peaks)
    limit = f"{LIMIT_V / 1000:g} kV"
    return f"Relay circuits of this study above {limit}: {each}; peak_voltage.csv." if each else ""


def _above(peaks: list[PeakVoltage]) -> str:
    """The circuits above the limit, those of a scheme together."""
    ohms: dict[str, list[str]] = {row.scheme: [] for row in peaks if row.above_limit}
    for row in peaks:
        if row.above_limit and row.stabilising_resistance_ohm is not None:
            ohms[row.scheme].append(f"{row.stabilising_resistance_ohm:g}")
    return listed(
        f"{scheme_name(one)} with {listed(some)} ohm" if some else scheme_name(one)
        for one, some in ohms.items()
    )


def peak_of_chosen(frame: pd.DataFrame, row: Mapping[str, Any] | None) -> str:
    """What is to be said of the chosen setting, nothing without one; frame: peak_voltage.csv.

    Parameters
    ----------
    frame : DataFrame
        peak_voltage.csv.
    row : mapping or None
        Of the chosen candidate.

    Returns
    -------
    str
    """
    if row is None:
        return ""
    mine = _of_circuit_of(frame, row)
    volts, with_v = highest_v(frame, row), mine.get("with_resistor_v", np.nan)
    above = f" It is above {LIMIT_V / 1000:g} kV." if volts > LIMIT_V else ""
    if np.isfinite(with_v):
        above += f" {_limited(with_v)}"
    elif above:
        above += f" {_needed()}"
    return (
        "Peak voltage across the relay circuit with the chosen setting, on an internal fault: at"
        f" most {volts_text(volts)} (the larger of formula and simulation).{above} {PEAK}"
    )


def volts_text(value: float) -> str:
    """Three figures, in V or kV.

    Parameters
    ----------
    value : float
        (V).

    Returns
    -------
    str
    """
    return f"{value:.3g} V" if value < 1000 else f"{value / 1000:.3g} kV"


def highest_v(frame: pd.DataFrame, row: Mapping[str, Any]) -> float:
    """The larger of formula and simulation for the circuit that a candidate stands on. [V]

    Parameters
    ----------
    frame : DataFrame
        peak_voltage.csv.
    row : mapping
        Of the candidate.

    Returns
    -------
    float
    """
    return float(_of_circuit_of(frame, row)[["peak_formula_v", "peak_simulated_v"]].max())


def _of_circuit_of(frame: pd.DataFrame, row: Mapping[str, Any]) -> pd.Series[Any]:
    """The circuit that a candidate stands on."""
    mine = frame[frame["scheme"] == row["scheme"]]
    ohms, ohm = mine["stabilising_resistance_ohm"], row["stabilising_resistance_ohm"]
    same = ohms.isna() if np.isnan(ohm) else ohms == ohm
    return mine.loc[same].iloc[0]


def _needed(where: str = "") -> str:
    return f"A non-linear resistor across the relay circuit is needed{where}. {NOT_SIMULATED}"


def _limited(volts: float) -> str:
    above = f", above {LIMIT_V / 1000:g} kV" if volts > LIMIT_V else ""
    return (
        "That is without the study's non-linear resistor. With it, across it or a relay circuit"
        f" that has none, the peak is at most {volts_text(volts)}{above}. {SIMULATED}"
    )


def peak_blocks(peaks: list[PeakVoltage]) -> Iterator[Block]:
    """For `check`: both numbers for every scheme and stabilising resistance.

    Parameters
    ----------
    peaks : list of PeakVoltage

    Yields
    ------
    Block
    """
    turns = BETWEEN_TURNS if any("inter_turn" in _named(row) for row in peaks) else ""
    yield Paragraph(
        "Bolted fault at the machine's terminals, inside the zone, from no load. Inputs that set"
        " the current stand at the end of their range that gives the most. The infeed of the"
        " network is at its largest, all else at its centre. V_f = i_f (R_ct + R_lead + R_st +"
        " R_relay), RMS. Formula: 2 sqrt(2 V_k (V_f - V_k)), or sqrt(2) V_f up to 2 V_k."
        " Simulated: the highest value over points on wave, with offset and remanence. Each line"
        f" has the fault that gives the most. {turns}{PEAK}"
    )
    head = (
        "R_st ohm",
        "",
        "fault",
        "i_f A",
        "V_k V",
        "V_f V",
        "peak V",
        "",
    )
    for scheme in dict.fromkeys(row.scheme for row in peaks):
        rows = [cells for row in peaks if row.scheme == scheme for cells in _lines(row)]
        above = any(row.above_limit for row in peaks if row.scheme == scheme)
        notes = (f"* above {LIMIT_V / 1000:g} kV",) if above else ()
        yield Table(head, tuple(rows), "><<>>>><", scheme, notes)


def _named(row: PeakVoltage) -> tuple[str, str]:
    return row.fault, row.simulated_fault


def _lines(row: PeakVoltage) -> Iterator[tuple[str, ...]]:
    """By formula, then simulated."""
    ohm = "-" if row.stabilising_resistance_ohm is None else f"{row.stabilising_resistance_ohm:g}"
    yield (
        ohm,
        "formula",
        NAMES[row.fault],
        f"{row.current_a:.4g}",
        f"{row.v_knee_v:.4g}",
        plain(row.v_full_v, 4),
        plain(row.peak_formula_v, 4),
        _mark(row.peak_formula_v),
    )
    volts, none = row.peak_simulated_v, "-"
    peak_v = "unresolved" if np.isnan(volts) else plain(volts, 4)
    fault = NAMES[row.simulated_fault]
    yield ohm, "simulated", fault, none, none, none, peak_v, _mark(volts)
    if (limited_v := row.with_resistor_v) is not None:
        peak_v = plain(limited_v, 4)
        yield ohm, "with resistor", none, none, none, none, peak_v, _mark(limited_v)


def _mark(volts: float) -> str:
    return "*" if volts > LIMIT_V else ""


def peak_frame(peaks: list[PeakVoltage]) -> pd.DataFrame:
    """The table peak_voltage.csv.

    Parameters
    ----------
    peaks : list of PeakVoltage

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    frame = pd.DataFrame([vars(row) | {"above_limit": row.above_limit} for row in peaks])
    if all(row.with_resistor_v is None for row in peaks):
        frame = frame.drop(columns="with_resistor_v")
    return frame.astype({"stabilising_resistance_ohm": float})
