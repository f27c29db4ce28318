"""Faults of the winding with every input at its centre: what they carry, what a scheme between
groups of branches measures of them, and what it measures without a fault. CTs are ideal here."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine.groups import (
    FROM_LINK,
    branch_current_a,
    contact_weights,
    turn_faults,
)
from montecarlo.engine.sizes import designs
from montecarlo.formulas.turn_faults import (
    coil_share,
    pitch_factor,
    turn_fault,
)
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.plant.turns.catalogue import BETWEEN_PHASES, CLASSES, Contacts
from montecarlo.plant.turns.currents import FaultCurrents, TurnFaults
from montecarlo.plant.turns.layout import Winding
from montecarlo.quantities import Array, Complex, Index
from montecarlo.relays.places import GROUP_OF, carried
from montecarlo.relays.schemes import Axis, Scheme
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.transform import all_installations
from montecarlo.secondary.measurement import at_most
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal
from montecarlo.study.strata import schemes_of_branches

MANY = 0.95  # of the installations


@dataclass(frozen=True, eq=False)
class Measured:
    """What the elements of one kind of a scheme measure, largest of them, in primary amperes of
    its CTs."""

    scheme: str
    axis: Axis
    ratio: float  # primary amperes to one in a leg
    faults_a: Array  # (faults,): those of `OfWinding.which`
    standing_a: Array  # (installations,): without a fault, at rated load


class OfWinding:
    """A study with a winding, every input at its centre.

    Parameters
    ----------
    study : Study
    """

    def __init__(self, study: Study) -> None:
        assert study.winding is not None
        self.study = study
        self.winding: Winding = study.winding
        self.nominal = Nominal(study)

    # --- the winding ----------------------------------------------------------

    @property
    def belt_slots(self) -> float:
        """q, slots a pole and phase."""
        return self.winding.slots / (6 * self.winding.pole_pairs)

    @property
    def beta(self) -> float:
        """Mean span of the coils over the pole pitch. [-]"""
        coils = self.contacts.coils
        return float(coils.span.mean() / coils.pole_pitch)

    @cached_property
    def factors(self) -> tuple[float, float]:
        """k_d and k_p, of the mean span. [-]"""
        pitch = float(pitch_factor(self.beta))
        return float(self.faults.winding.factors.mean()) / pitch, pitch

    @property
    def branch_turns(self) -> int:
        """In series."""
        return self.winding.coils_in_series * self.winding.turns_per_coil

    @property
    def turn_v(self) -> float:
        """EMF of a turn within its coil, RMS. [V]"""
        return self.study.machine.phase_voltage_v / (self.branch_turns * self.factors[0])

    @property
    def branch_a(self) -> float:
        """Rated current of a branch, RMS. [A]"""
        return branch_current_a(self.study)

    # --- faults ---------------------------------------------------------------

    @cached_property
    def faults(self) -> TurnFaults:
        """The catalogue and its model."""
        return turn_faults(self.winding)

    @property
    def contacts(self) -> Contacts:
        """Every place of a possible fault."""
        return self.faults.contacts

    @cached_property
    def which(self) -> Index:
        """Numbers of the contacts within a phase."""
        return np.asarray(np.flatnonzero(~self.contacts.of(BETWEEN_PHASES)), np.int64)

    @cached_property
    def kinds(self) -> NDArray[np.str_]:
        """Class of each of these, as a word."""
        return np.asarray(np.array(CLASSES)[self.contacts.kind[self.which]])

    @cached_property
    def counts(self) -> Index:
        """How many places each of these stands for."""
        return np.asarray(self.contacts.count[self.which])

    @cached_property
    def every_weight(self) -> Array:
        """How likely each contact is beside the others, those between phases too."""
        return contact_weights(self.study)

    @property
    def weights(self) -> Array:
        """The same of those within a phase."""
        return np.asarray(self.every_weight[self.which])

    @property
    def exponent(self) -> float:
        """Power of the voltage with which places are weighted. [-]"""
        turns = self.study.internal_faults.turns
        assert turns is not None
        return turns.voltage_exponent

    @cached_property
    def voltages_v(self) -> Array:
        """Between the two conductors of each contact, RMS, (contacts,). [V]"""
        return np.abs(self.faults.emf) * self.study.machine.phase_voltage_v

    def currents(self, reactance_key: str) -> FaultCurrents:
        """Those within a phase, bolted, by winding functions.

        Parameters
        ----------
        reactance_key : str
            subtransient_reactance_pu, or synchronous_reactance_pu for a gap without shielding.

        Returns
        -------
        FaultCurrents
            At the EMF of the machine's voltage factor.
        """
        at = self.nominal.at
        found = self.faults.currents(
            self.which,
            reactance_pu=at(f"machine.{reactance_key}"),
            leakage_pu=at("winding.leakage_reactance_pu"),
            coupling=at("winding.coil_leakage_coupling"),
        )
        emf = at("machine.voltage_factor")
        return FaultCurrents(*(emf * part for part in vars(found).values()))

    @cached_property
    def shielded(self) -> FaultCurrents:
        """By X''d."""
        return self.currents("subtransient_reactance_pu")

    @cached_property
    def unshielded(self) -> FaultCurrents:
        """By Xd."""
        return self.currents("synchronous_reactance_pu")

    @property
    def one_turn(self) -> float:
        """Current in one shorted turn in closed form, over a branch's rated current. [-]"""
        at, (spread, pitch) = self.nominal.at, self.factors
        poles = 2 * self.winding.pole_pairs
        current = turn_fault(
            1,
            self.winding.turns_per_coil,
            spread,
            coil_share(self.belt_slots, self.beta, poles, spread * pitch),
            reactance_pu=at("machine.subtransient_reactance_pu"),
            leakage_pu=at("winding.leakage_reactance_pu"),
            coupling=at("winding.coil_leakage_coupling"),
        )
        return float(current) * at("machine.voltage_factor")

    # --- what a scheme measures -----------------------------------------------

    @cached_property
    def measured(self) -> tuple[Measured, ...]:
        """Of every scheme with CTs at the groups of branches, phase elements before earth."""
        schemes = [scheme_of(self.study, kind) for kind in schemes_of_branches(self.study)]
        axes: tuple[Axis, ...] = ("phase", "earth")
        return tuple(
            self._measured(scheme, axis) for scheme in schemes for axis in axes if scheme.of(axis)
        )

    def _measured(self, scheme: Scheme, axis: Axis) -> Measured:
        elements = [scheme.elements[k] for k in scheme.of(axis)]
        legs = scheme.table[[element.leg for element in elements]]
        ratios = [self.study.ct.at(GROUP_OF[place]).leg_ratio for place in scheme.places]
        ratio = ratios[int(np.flatnonzero(legs[0])[0])]

        def each(primary_a: Complex) -> Array:
            into = carried(primary_a, scheme.places) / np.array(ratios)
            return np.asarray(ratio * np.abs(into @ legs.T))

        apart = self.shielded.apart * self.branch_a
        alone = np.hstack([np.zeros((len(apart), 6)), apart])
        third = each(self._third_a[:, None] * FROM_LINK)
        standing = at_most(self.study.relay.measure, each(self._standing), third)
        return Measured(scheme.kind, axis, ratio, each(alone).max(axis=-1), standing.max(axis=-1))

    @cached_property
    def _drawn(self) -> dict[str, Array]:
        """Every installation's own inputs."""
        study = self.study
        return all_installations(
            list_inputs(study), study.ties, seed=study.study.seed, design=designs(study)[0]
        )

    @property
    def _third_a(self) -> Array:
        """Third harmonic of the star link, (installations,). [A RMS]"""
        share = self._drawn["winding.link_third_harmonic_percent"] / 100
        return np.asarray(share * self.study.machine.rated_current_a)

    @cached_property
    def _standing(self) -> Complex:
        """Nine currents of every installation at rated load, (installations, 9). [A RMS]"""
        study, drawn = self.study, self._drawn
        rated = study.machine.rated_current_a * PHASE_ROTATION
        load = rated * np.exp(-1j * np.arccos(self.nominal.at("load.power_factor")))
        share, lasting, angle = (
            drawn[f"winding.{key}"]
            for key in ("group_unbalance_percent", "circulating_percent", "circulating_angle_deg")
        )
        turned = np.exp(1j * np.radians(angle)).reshape(-1, 1)
        circulating = lasting[:, :3] / 100 * rated * turned
        apart = share[:, :3] / 100 * load + circulating
        return np.hstack([np.tile(load, (len(apart), 2)), apart])


def standing_a(measured: Measured) -> float:
    """What a scheme measures without a fault, kept by `MANY` of the installations. [A RMS]

    Parameters
    ----------
    measured : Measured

    Returns
    -------
    float
    """
    return float(np.quantile(measured.standing_a, MANY))
