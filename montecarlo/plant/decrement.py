"""How the current that a synchronous machine feeds into a fault outside decays.

In three steps, each behind its own reactance X = X''d, X'd, Xd (Glover, Sarma, Overbye, Power
System Analysis and Design, ch. 8; phase-phase in the same form from memory):

    I(t) = E[(1/X''d - 1/X'd)e^(-t/T'') + (1/X'd - 1/Xd)e^(-t/T') + 1/Xd]

with X + X_t for X and sqrt(3)E for E in a phase-phase fault. X_t is what the direct axis sees from
outside: X_ext for three phases, X_ext + (X2 + X_ext) for two. The external resistance damps the DC
component only. Saliency (double frequency) and the voltage regulator are left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array

ExternalFaultKind = Literal["three_phase", "phase_phase"]


@dataclass(frozen=True, kw_only=True)
class Decrement:
    """What decides how the machine's short-circuit current decays; arrays (n,) or numbers, named as
    in `Machine`."""

    subtransient_reactance_pu: ArrayLike
    transient_reactance_pu: ArrayLike
    synchronous_reactance_pu: ArrayLike
    negative_sequence_reactance_pu: ArrayLike
    subtransient_time_constant_s: ArrayLike  # short-circuit values
    transient_time_constant_s: ArrayLike
    armature_time_constant_s: ArrayLike

    @property
    def reactances_pu(self) -> tuple[Array, Array, Array]:
        """X''d, X'd, Xd. [pu]"""
        return (
            np.asarray(self.subtransient_reactance_pu, float),
            np.asarray(self.transient_reactance_pu, float),
            np.asarray(self.synchronous_reactance_pu, float),
        )

    def outside_pu(self, kind: ExternalFaultKind, external_reactance_pu: ArrayLike) -> Array:
        """X_t, the reactance that the direct axis sees beyond the machine's own. [pu]

        Parameters
        ----------
        kind : "three_phase" or "phase_phase"
        external_reactance_pu : array_like (pu)
            Between the terminals and the fault.

        Returns
        -------
        array (pu)
        """
        outside = np.asarray(external_reactance_pu, float)
        if kind == "three_phase":
            return outside
        return np.asarray(2 * outside + np.asarray(self.negative_sequence_reactance_pu))

    def decay_times_s(self, outside_pu: ArrayLike) -> tuple[Array, Array]:
        """T'' and T' behind an outside reactance X_t. [s]

        T''do = T''d X'd/X''d, T'do = T'd Xd/X'd; T'' = T''do(X''d + X_t)/(X'd + X_t), T' = T'do(X'd
        + X_t)/(Xd + X_t)
        (from memory; X_t = 0 gives the short-circuit values, X_t -> infinity the open-circuit
        ones).

        Parameters
        ----------
        outside_pu : array_like (pu)
            X_t, of `outside_pu`.

        Returns
        -------
        (array, array) (s)
        """
        first, second, last = self.reactances_pu
        outside = np.asarray(outside_pu, float)
        open_subtransient = np.asarray(self.subtransient_time_constant_s) * second / first
        open_transient = np.asarray(self.transient_time_constant_s) * last / second
        return (
            open_subtransient * (first + outside) / (second + outside),
            open_transient * (second + outside) / (last + outside),
        )

    def direct_current_time_s(
        self, external_reactance_pu: ArrayLike, external_resistance_pu: ArrayLike, omega: float
    ) -> Array:
        """Time constant of the DC component. [s]

        (X2 + X_ext)/(omega(R_a + R_ext)), R_a = X2/(omega T_a).

        Parameters
        ----------
        external_reactance_pu, external_resistance_pu : array_like (pu)
        omega : float (rad/s)

        Returns
        -------
        array (s)
        """
        negative = np.asarray(self.negative_sequence_reactance_pu, float)
        armature = negative / (omega * np.asarray(self.armature_time_constant_s))
        return np.asarray(
            (negative + np.asarray(external_reactance_pu))
            / (omega * (armature + np.asarray(external_resistance_pu)))
        )


def fault_current_rms(
    kind: ExternalFaultKind,
    t: ArrayLike,
    emf_pu: ArrayLike,
    machine: Decrement,
    external_reactance_pu: ArrayLike,
) -> Array:
    """AC component of an unloaded machine's fault current, RMS. [pu]

    The equation at the head of the module. Broadcasts.

    Parameters
    ----------
    kind : "three_phase" or "phase_phase"
    t : array_like (s)
        After inception.
    emf_pu : array_like (pu)
        Phase EMF, the same behind every reactance.
    machine : Decrement
    external_reactance_pu : array_like (pu)

    Returns
    -------
    array (pu)

    Examples
    --------
    >>> machine = Decrement(
    ...     subtransient_reactance_pu=0.2,
    ...     transient_reactance_pu=0.3,
    ...     synchronous_reactance_pu=1.5,
    ...     negative_sequence_reactance_pu=0.2,
    ...     subtransient_time_constant_s=0.03,
    ...     transient_time_constant_s=1.0,
    ...     armature_time_constant_s=0.15,
    ... )
    >>> fault_current_rms("three_phase", [0.0, 10.0], 1.0, machine, 0.0).round(3)
    array([5.   , 0.667])
    """
    outside = machine.outside_pu(kind, external_reactance_pu)
    fast, slow = machine.decay_times_s(outside)
    first, second, last = (1 / (x + outside) for x in machine.reactances_pu)
    when = np.asarray(t, float)
    decrement = (
        (first - second) * np.exp(-when / fast) + (second - last) * np.exp(-when / slow) + last
    )
    drive = 1.0 if kind == "three_phase" else np.sqrt(3)
    return drive * np.asarray(emf_pu) * decrement
