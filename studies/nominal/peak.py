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

from montecarlo.estimates.knee_rule import centres
from montecarlo.formulas import handcalc
from montecarlo.plant import internal, machine
from montecarlo.plant.earthing import neutral_ohm
from montecarlo.quantities import Array, Distribution
from montecarlo.quantities.wording import listed
from montecarlo.relays.places import carried
from montecarlo.sampling.inputs import list_inputs
from montecarlo.secondary import peak
from montecarlo.secondary.circuit import CtBank, at_places, take
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.circuits import Circuit, bank_of, leg_ohm, scheme_of
from montecarlo.study.description import Study
from studies.report.blocks import Block, Paragraph, Table
from studies.report.safety import LIMIT_V, NOT_SIMULATED, PEAK

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.frames.result import Result

__all__ = [
    "LIMIT_V",
    "PeakVoltage",
    "caution",
    "highest_v",
    "peak_blocks",
    "peak_frame",
    "peak_of_chosen",
    "peak_voltages",
    "volts_text",
]

HIGHEST = ("machine.voltage_factor", "machine.armature_time_constant_s", "earthing.current_limit_a")
LOWEST = (
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
}

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class PeakVoltage:
    """One scheme with one stabilising resistance; the fault that gives the formula's most, and the
    simulation's."""

    scheme: str
    stabilising_resistance_ohm: float | None  # None: no leg of the scheme has one
    fault: str
    current_a: float  # secondary, RMS, the largest of the legs before excitation
    knee_v: float
    full_v: float
    formula_v: float
    simulated_fault: str
    simulated_v: float  # NaN: not resolved

    @property
    def highest_v(self) -> float:
        return (
            self.formula_v if np.isnan(self.simulated_v) else max(self.formula_v, self.simulated_v)
        )

    @property
    def above_limit(self) -> bool:
        return self.highest_v > LIMIT_V


# --- the faults ---------------------------------------------------------------


def _end_of_range(distribution: Distribution, high: bool) -> float:
    """The largest or smallest value that can be drawn; 99 % or 1 % where there is none."""
    value = distribution.support()[high]
    return (
        value
        if np.isfinite(value) and value > 0
        else float(distribution.ppf(0.99 if high else 0.01))
    )


def _worst(study: Study) -> dict[str, Array]:
    """One sample of every input, at its centre but for those that set the current and for
    remanence."""
    sample = centres(study)
    for item in list_inputs(study):
        if item.key in HIGHEST or item.key in LOWEST:
            sample[item.key] = np.full_like(
                sample[item.key], _end_of_range(item.distribution, item.key in HIGHEST)
            )
        elif item.key.endswith("remanence_percent"):
            sample[item.key] = np.full_like(
                sample[item.key], max(map(abs, item.distribution.support()))
            )
    return sample


@dataclass(frozen=True, eq=False)
class Faults:
    """Bolted faults at the terminals: a row for each kind and faulted phase (or pair)."""

    names: list[str]
    currents_a: Complex  # (faults, 6) at the ends, RMS
    decay_s: Array  # (faults,) of the current's offset


def _faults(study: Study, s: dict[str, Array]) -> Faults:
    emf, omega = study.machine.phase_voltage_v * s["machine.voltage_factor"], study.machine.omega
    x2, ones, phases = s["machine.negative_sequence_reactance_pu"], np.ones(3), np.arange(3)
    between = machine.phase_fault_reactance_pu(s["machine.subtransient_reactance_pu"], x2)
    to_earth = machine.earth_fault_reactance_pu(
        s["machine.subtransient_reactance_pu"], x2, s["machine.zero_sequence_reactance_pu"]
    )
    own, loop = (
        machine.winding_impedance(
            1.0,
            s["machine.winding_resistance_ohm"],
            reactance * study.machine.base_impedance_ohm,
            study.machine.winding_exponent,
        )
        for reactance in (between, to_earth)
    )
    network = s.get("network.reactance_pu", np.array([np.inf]))
    share = machine.infeed_share(s["machine.subtransient_reactance_pu"], x2, network)
    infeed = np.where(
        np.isinf(network),
        np.inf,
        1j * np.where(np.isinf(network), 0.0, network) * study.machine.base_impedance_ohm,
    )
    capacitance: dict[str, Any] = {
        "stator_capacitance_f": s["machine.stator_capacitance_f"],
        "terminal_capacitance_f": s["machine.terminal_capacitance_f"],
        "omega": omega,
        "infeed_share": share,
    }
    back = internal.EarthReturn(
        **capacitance,
        neutral_ohm=neutral_ohm(study.earthing, s, study.machine.phase_voltage_v),
        other_neutrals_ohm=s.get("earthing.other_neutrals_ohm", np.array([np.inf])),
        external_capacitance_f=s["network.external_capacitance_f"],
    )
    three = internal.phase_fault(
        "three_phase", ones[:1], phases[:1], emf, own, infeed, 0.0, **capacitance
    )
    two = internal.phase_fault("phase_phase", ones, phases, emf, own, infeed, 0.0, **capacitance)
    double = internal.phase_phase_earth(ones, phases, emf, own, infeed, 0.0, back)
    earth = internal.earth_fault(ones, phases, emf, loop, 0.0, back)
    angle = np.angle(emf / earth.fault_current_a[0])  # of the loop; capacitive: no offset
    in_earth = max(float(np.tan(angle[0])) / omega, 0.0) if abs(angle[0]) < np.pi / 2 else 0.0
    kinds = {
        "three_phase": three,
        "phase_phase": two,
        "phase_phase_earth": double.end_currents_a,
        "earth": earth.end_currents_a,
    }
    decay = {kind: float(s["machine.armature_time_constant_s"][0]) for kind in kinds} | {
        "earth": in_earth
    }
    return Faults(
        [kind for kind, rows in kinds.items() for _ in rows],
        np.concatenate(list(kinds.values())),
        np.array([decay[kind] for kind, rows in kinds.items() for _ in rows]),
    )


# --- both numbers -------------------------------------------------------------


def peak_voltages(study: Study) -> list[PeakVoltage]:
    """For every scheme and stabilising resistance of the candidates; of circuits that differ by a
    burden in VA the one with most resistance."""
    sample = _worst(study)
    faults = _faults(study, sample)
    bank = bank_of(study, sample)
    found: dict[tuple[str, float], Circuit] = {}
    for circuit in dict.fromkeys(lattice.circuit for lattice in candidate_lattices(study)):
        key = circuit.scheme, circuit.stabilising_resistance_ohm
        if (
            key not in found
            or leg_ohm(study, circuit, sample).sum() > leg_ohm(study, found[key], sample).sum()
        ):
            found[key] = circuit
    return [_of_circuit(study, circuit, sample, bank, faults) for circuit in found.values()]


def _of_circuit(
    study: Study, circuit: Circuit, sample: dict[str, Array], bank: CtBank, faults: Faults
) -> PeakVoltage:
    scheme, ohm = scheme_of(study, circuit.scheme), leg_ohm(study, circuit, sample)
    inside = np.array([not leg.parts[0].startswith("return.") for leg in scheme.legs])
    same = np.zeros(len(faults.names), int)
    cores, currents = (
        take(at_places(bank, scheme.places), same),
        carried(faults.currents_a, scheme.places),
    )
    full = peak.full_voltage(scheme.table, ohm[same], cores, currents, inside)
    knee = cores.knee_flux_wb * study.machine.omega / np.sqrt(2)
    by_hand = handcalc.peak_voltage(knee, full)
    row, ct = np.unravel_index(int(by_hand.argmax()), by_hand.shape)
    # of each kind of fault the phase or pair that stresses this circuit most
    names = np.array(faults.names)
    tried = np.array(
        [
            np.flatnonzero(names == kind)[by_hand[names == kind].max(axis=1).argmax()]
            for kind in dict.fromkeys(faults.names)
        ]
    )
    volts = peak.peak_voltage(
        scheme.table,
        ohm[same][tried],
        take(cores, tried),
        currents[tried],
        faults.decay_s[tried],
        inside,
        study.machine.frequency_hz,
    )
    worst = int(volts.argmax())
    legs = np.abs((currents / cores.turns) @ scheme.table.T)[:, inside]
    stabilising = circuit.stabilising_resistance_ohm if scheme.stabilised else None
    return PeakVoltage(
        circuit.scheme,
        stabilising,
        faults.names[row],
        float(legs[row].max()),
        float(knee[row, ct]),
        float(full[row, ct]),
        float(by_hand[row, ct]),
        faults.names[tried[worst]],
        float(volts[worst]),
    )


# --- told ---------------------------------------------------------------------


def caution(peaks: list[PeakVoltage]) -> list[str]:
    """What must be said where a peak is above the limit: a sentence or none."""
    above = [row for row in peaks if row.above_limit]
    if not above:
        return []
    most = max(row.highest_v for row in above)
    by_scheme = {
        row.scheme: [
            f"{other.stabilising_resistance_ohm:g}"
            for other in above
            if other.scheme == row.scheme and other.stabilising_resistance_ohm is not None
        ]
        for row in above
    }
    where = listed(
        [
            f"{scheme} with {listed(ohms)} ohm" if ohms else scheme
            for scheme, ohms in by_scheme.items()
        ]
    )
    return [
        f"peak voltage on an internal fault: above {LIMIT_V / 1000:g} kV for {where} (up to"
        f" {most / 1000:.3g} kV). A non-linear resistor across the relay circuit is needed there."
        f" {NOT_SIMULATED}"
    ]


def peak_of_chosen(frame: pd.DataFrame, result: Result) -> str:
    """What is to be said of the chosen setting, nothing without one; frame: peak_voltage.csv."""
    if result.chosen is None:
        return ""
    volts = highest_v(frame, result.candidates.set_index("candidate").loc[result.chosen].to_dict())
    above = (
        f" It is above {LIMIT_V / 1000:g} kV: a non-linear resistor across the relay circuit is"
        f" needed. {NOT_SIMULATED}"
        if volts > LIMIT_V
        else ""
    )
    return (
        "Peak voltage across the relay circuit with the chosen setting, on an internal fault:"
        f" {volts_text(volts)} at most (the larger of formula and simulation).{above} {PEAK}"
    )


def volts_text(value: float) -> str:
    """Three figures, in V or kV."""
    return f"{value:.3g} V" if value < 1000 else f"{value / 1000:.3g} kV"


def highest_v(frame: pd.DataFrame, row: Mapping[str, Any]) -> float:
    """The larger of formula and simulation for the circuit that a candidate stands on. [V]"""
    mine = frame[frame["scheme"] == row["scheme"]]
    ohm = row["stabilising_resistance_ohm"]
    same = (
        mine["stabilising_resistance_ohm"].isna()
        if np.isnan(ohm)
        else mine["stabilising_resistance_ohm"] == ohm
    )
    return float(mine.loc[same, ["peak_formula_v", "peak_simulated_v"]].max(axis=1).iloc[0])


def peak_blocks(peaks: list[PeakVoltage]) -> Iterator[Block]:
    """For `check`: both numbers for every scheme and stabilising resistance."""
    yield Paragraph(
        "Bolted fault at the machine's terminals, inside the zone, from no load: what sets its"
        " current at the worst that can be drawn, the network's infeed at its largest, all else at"
        " its centre. V_f = i_f (R_ct + R_lead + R_st + R_relay), RMS; formula 2 sqrt(2 V_k (V_f -"
        " V_k)), sqrt(2) V_f up to 2 V_k; simulated: the highest over points on wave, with offset"
        " and remanence. Before and after the figures, the fault that gives the most by each. "
        + PEAK
    )
    head = (
        "R_st ohm",
        "by formula",
        "i_f A",
        "V_k",
        "V_f",
        "formula V",
        "simulated V",
        "simulated",
        "",
    )
    for scheme in dict.fromkeys(row.scheme for row in peaks):
        rows = [_cells(row) for row in peaks if row.scheme == scheme]
        yield Table(head, tuple(rows), "><>>>>><<", scheme)


def _cells(row: PeakVoltage) -> tuple[str, ...]:
    simulated = "unresolved" if np.isnan(row.simulated_v) else f"{row.simulated_v:.4g}"
    ohm = "-" if row.stabilising_resistance_ohm is None else f"{row.stabilising_resistance_ohm:g}"
    return (
        ohm,
        NAMES[row.fault],
        f"{row.current_a:.4g}",
        f"{row.knee_v:.4g}",
        f"{row.full_v:.4g}",
        f"{row.formula_v:.4g}",
        simulated,
        NAMES[row.simulated_fault],
        f"above {LIMIT_V / 1000:g} kV" if row.above_limit else "",
    )


def peak_frame(peaks: list[PeakVoltage]) -> pd.DataFrame:
    """The table peak_voltage.csv."""
    import pandas as pd

    return pd.DataFrame(
        {
            "scheme": [row.scheme for row in peaks],
            "stabilising_resistance_ohm": np.array(
                [row.stabilising_resistance_ohm for row in peaks], float
            ),
            "fault": [row.fault for row in peaks],
            "current_a": [row.current_a for row in peaks],
            "v_knee_v": [row.knee_v for row in peaks],
            "v_full_v": [row.full_v for row in peaks],
            "peak_formula_v": [row.formula_v for row in peaks],
            "simulated_fault": [row.simulated_fault for row in peaks],
            "peak_simulated_v": [row.simulated_v for row in peaks],
            "above_limit": [row.above_limit for row in peaks],
        }
    )
