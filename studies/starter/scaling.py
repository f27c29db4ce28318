"""What of the starter follows from the name-plate.

Sources. Laws of growth: the output of similar machines goes with the fourth power of their length,
losses with the third, so losses and resistance per unit fall with the fourth root of the rating
(textbooks, from memory; the same is taken of lines and transformers outside). T_a = X2/(w R_a)
(IEC 60034-4, from memory). R = U/(sqrt(3) I) of the resistor. Stabilising voltage and resistance:
hand formulas of `montecarlo/formulas/handcalc.py`. Lead resistance: IEC 60228, class 2, from
memory. An arc keeps its voltage, whatever the current (textbooks, from memory). All else, and every
factor: common practice, no source. Capacitance: turbine-driven machines of some 200 to 1000 MVA
have 0.2 to 0.4 uF a phase, low-speed ones several times as much (from memory)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from studies.starter.plate import Plate

SUBTRANSIENT_PU, NEGATIVE_PU, ZERO_PU = 0.20, 0.22, 0.09
NEAREST_PU = 0.02  # reactance between the terminals and the closest fault outside
BUSBAR_PU, LINE_PU = 0.005, 0.02  # resistances outside, of an 8 MVA machine
ARMATURE_PU = 0.0058  # resistance of its winding
ARMATURE_SPREAD = (2 / 3, 3 / 2)
STATOR_F = 0.10e-6  # of a phase of the starter's machine, 8 MVA and 6.6 kV
INSULATION_KV = 3.6  # what the thickness of the insulation would be without a voltage
CT_OHM, CT_TURNS = 3.5, 1000.0  # winding of a 1 A CT; the wire of a 5 A CT is thicker
OHM_OF_5_A = 0.5
CLASS_FACTOR, CLASS_VA, KNEE_SHARE = 20, 15.0, 0.8  # knee over accuracy-limit e.m.f.
EXCITING_SHARE = 0.03  # of the rated current, at the knee of an 800 A CT
LEADS = {1.0: (0.74, "100 m, 2.5 mm2"), 5.0: (0.31, "100 m, 6 mm2")}
BURDEN_VA = 0.5
STEP, FINEST_LARGEST = 0.005, 0.2  # of the relay's rated current
PHASE_PICKUPS = (0.1, 0.2)
PHASE_SET, EARTH_SET = 0.15, 0.05  # for which a resistor stabilises
EARTH_POINTS, EARTH_SHARE = 5, 0.4  # of the earth grid; its end over the earth-fault current
EARTH_ARC_V, PHASE_ARC_V = 200.0, 100.0


@dataclass(frozen=True)
class Scaled:
    """The starter's numbers for a name-plate."""

    plate: Plate

    # --- machine and earthing -------------------------------------------------

    @property
    def growth(self) -> float:
        """Losses per unit over those of the starter's machine."""
        return math.pow(Plate.mva / self.plate.mva, 0.25)

    @property
    def armature_s(self) -> float:
        """T_a. [s]"""
        return NEGATIVE_PU / (self.plate.omega * ARMATURE_PU * self.growth)

    @property
    def stator_f(self) -> float:
        """Middle of the winding's capacitance to earth, a phase. [F]"""
        size = math.sqrt(self.plate.mva / Plate.mva)
        return STATOR_F * size * (Plate.kv + INSULATION_KV) / (self.plate.kv + INSULATION_KV)

    @property
    def earthing_ohm(self) -> float:
        """The resistor. [ohm]"""
        return self.plate.phase_v / self.plate.earthing_a

    @property
    def capacitive_a(self) -> float:
        """Current of an earth fault through all capacitances, at rated voltage. [A]"""
        stator, outside = 1.25 * self.stator_f, 0.5 * self.stator_f
        return 3 * self.plate.omega * (stator + outside) * self.plate.phase_v

    @property
    def loop_ohm(self) -> float:
        """Reactance of an earth fault at the terminals. [ohm]"""
        return (SUBTRANSIENT_PU + NEGATIVE_PU + ZERO_PU) / 3 * self.plate.base_ohm

    @property
    def solid_a(self) -> float:
        """Earth fault at the terminals without any resistor. [A]"""
        return self.plate.phase_v / self.loop_ohm

    @property
    def earth_fault_a(self) -> float:
        """Earth fault at the terminals. [A]"""
        return self.plate.phase_v / abs(complex(self.earthing_ohm, self.loop_ohm))

    # --- CTs and relay --------------------------------------------------------

    @property
    def ct_ohm(self) -> float:
        """Secondary winding: longer wire, thinner for more turns. [ohm]"""
        wire = OHM_OF_5_A if self.plate.secondary_a > 1 else 1.0
        return wire * CT_OHM * math.pow(self.plate.turns / CT_TURNS, 0.7)

    @property
    def knee_v(self) -> float:
        """Knee-point voltage of a core of class 5P20. [V]"""
        rated_a = self.plate.secondary_a
        burden_ohm = CLASS_VA / rated_a**2
        return KNEE_SHARE * CLASS_FACTOR * rated_a * (self.ct_ohm + burden_ohm)

    @property
    def knee_a(self) -> float:
        """Exciting current at the knee: a smaller share where more ampere-turns drive it. [A]"""
        return EXCITING_SHARE * self.plate.secondary_a * math.pow(800.0 / self.plate.ct_a, 0.2)

    @property
    def stabilising_v(self) -> float:
        """On the largest through fault, one CT saturated. [V]"""
        fault_a = self.plate.rated_a / (SUBTRANSIENT_PU + NEAREST_PU) / self.plate.turns
        return fault_a * (self.ct_ohm + LEADS[self.plate.secondary_a][0])

    @property
    def burden_ohm(self) -> float:
        """Of an element. [ohm]"""
        return BURDEN_VA / self.plate.secondary_a**2

    # --- settings -------------------------------------------------------------

    @property
    def step_a(self) -> float:
        """Of the relay. [A]"""
        return STEP * self.plate.secondary_a

    @property
    def earth_step_a(self) -> float:
        """First point and step of the earth grid, whole steps of the relay. [A]"""
        largest = EARTH_SHARE * self.earth_fault_a / self.plate.turns
        most = round(FINEST_LARGEST / STEP / EARTH_POINTS)
        return self.step_a * min(max(round(largest / EARTH_POINTS / self.step_a), 1), most)

    @property
    def phase_ohm(self) -> float:
        """Stabilising resistor of the phase elements. [ohm]"""
        return rounded(self.stabilising_v / (PHASE_SET * self.plate.secondary_a))

    @property
    def earth_ohm(self) -> float:
        """The candidates' stabilising resistor. [ohm]"""
        return rounded(self.stabilising_v / (EARTH_SET * self.plate.secondary_a))


def rounded(value: float, digits: int = 2) -> float:
    """A number with so many significant digits."""
    return float(f"{value:.{digits}g}")
