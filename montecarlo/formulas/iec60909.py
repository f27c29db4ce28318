"""Short-circuit currents of one generator by IEC 60909-0, for a fault at its terminals or beyond an
impedance.

The equivalent voltage source c U_n/sqrt(3) stands at the fault, and the generator is the impedance
K_G (R_G + jX''d). Clauses and equations are those of IEC 60909-0:2001, from memory; an open network
library agrees, also on a generator of the IEC TR 60909-4 network (`tests/reference`,
`tests/against`). Reach: 50 and 60 Hz, maximum currents, one machine, directly connected but for
`station_unit_current`, no load, no capacitance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array, Complex

FREQUENCIES_HZ = (50.0, 60.0)
C_MAX = 1.1  # table 1: above 1 kV, and below with a tolerance of 10 % (1.05 with 6 %)
LARGE_VA = 100e6
LOW_V = 1e3

# 4.5.2.1, eq. (70): (t_min [s], a, b, d) of mu = a + b exp(-d I''k/I_r). The last holds for all
# that is longer.
_BREAKING = (
    (0.02, 0.84, 0.26, 0.26),
    (0.05, 0.71, 0.51, 0.30),
    (0.10, 0.62, 0.72, 0.32),
    (0.25, 0.56, 0.94, 0.38),
)
_NEAR = 2.0  # I''k/I_r up to which the current does not decay


@dataclass(frozen=True, kw_only=True)
class Generator:
    """What the standard asks of a generator; numbers or arrays that broadcast.

    Examples
    --------
    A machine of 40 MVA and 11 kV at its own rated voltage:

    >>> machine = Generator(
    ...     rated_power_va=40e6,
    ...     rated_voltage_v=11e3,
    ...     nominal_voltage_v=11e3,
    ...     subtransient_reactance_pu=0.2,
    ...     rated_power_factor=0.8,
    ... )
    >>> float(initial_current(machine).round())  # I''k [A]
    11757.0
    >>> float(peak_current(peak_factor(machine), initial_current(machine)).round())
    30167.0
    """

    rated_power_va: ArrayLike
    rated_voltage_v: ArrayLike
    nominal_voltage_v: ArrayLike  # U_n of the network at its terminals
    subtransient_reactance_pu: ArrayLike  # saturated, on the rating
    rated_power_factor: ArrayLike
    resistance_ohm: ArrayLike = 0.0
    # 1 + p_G: the terminal voltage permanently held over the rated one (3.6.1, remark to eq. (18))
    operating_voltage_factor: ArrayLike = 1.0
    c: ArrayLike = C_MAX

    @property
    def rated_current_a(self) -> Array:
        """I_rG, RMS. [A]"""
        return np.asarray(
            np.asarray(self.rated_power_va) / (np.sqrt(3) * np.asarray(self.rated_voltage_v))
        )

    @property
    def source_v(self) -> Array:
        """Equivalent voltage source at the fault, c U_n between lines. [V]"""
        return np.asarray(np.asarray(self.c, float) * np.asarray(self.nominal_voltage_v))

    @property
    def correction(self) -> Array:
        """K_G = U_n/(U_rG (1 + p_G)) c/(1 + x''d sin phi_rG), 3.6.1, eq. (18). [-]"""
        sine = np.sqrt(1 - np.asarray(self.rated_power_factor, float) ** 2)
        held = np.asarray(self.rated_voltage_v, float) * np.asarray(self.operating_voltage_factor)
        return np.asarray(
            self.source_v / held / (1 + np.asarray(self.subtransient_reactance_pu) * sine)
        )

    def impedance_ohm(self, reactance_pu: ArrayLike | None = None) -> Complex:
        """K_G (R_G + jX), eq. (17). [ohm]

        Parameters
        ----------
        reactance_pu : array_like (pu), optional
            Of another sequence than the positive one, X''d.

        Returns
        -------
        complex array (ohm)
        """
        return np.asarray(
            self.correction
            * (np.asarray(self.resistance_ohm, float) + 1j * self._ohm(reactance_pu))
        )

    @property
    def peak_impedance_ohm(self) -> Complex:
        """The same with the fictitious resistance R_Gf, which stands for the decay of the AC part
        too. [ohm]

        3.6.1: R_Gf = 0.05 X''d from 100 MVA, 0.07 X''d below, 0.15 X''d up to 1000 V."""
        high = np.where(np.asarray(self.rated_power_va) >= LARGE_VA, 0.05, 0.07)
        ratio = np.where(np.asarray(self.rated_voltage_v) > LOW_V, high, 0.15)
        return np.asarray(self.correction * (ratio + 1j) * self._ohm(None))

    def _ohm(self, reactance_pu: ArrayLike | None) -> Array:
        base = np.asarray(self.rated_voltage_v, float) ** 2 / np.asarray(self.rated_power_va)
        given = self.subtransient_reactance_pu if reactance_pu is None else reactance_pu
        return np.asarray(np.asarray(given) * base)


def initial_current(generator: Generator, external_ohm: ArrayLike = 0.0) -> Array:
    """Three phases: I''k = c U_n/(sqrt(3) |Z_k|), 4.2.1, eq. (29). RMS [A]

    At the terminals c U_n cancels against K_G.

    Parameters
    ----------
    generator : Generator
    external_ohm : complex array_like (ohm)
        Between the terminals and the fault.

    Returns
    -------
    array (A)
    """
    return np.asarray(
        generator.source_v
        / (np.sqrt(3) * np.abs(generator.impedance_ohm() + np.asarray(external_ohm)))
    )


def station_unit_current(
    generator: Generator, transformer_ohm: ArrayLike, ratio: ArrayLike, nominal_voltage_v: ArrayLike
) -> Array:
    """Three phases beyond a power station unit's transformer without on-load tap-changer. RMS [A]

    Z_SO = K_SO (t^2 Z_G + Z_T) with K_SO = U_nQ/(U_rG (1 + p_G)) 1/t c/(1 + x''d sin phi_rG):
    3.7.2, eqs. (23), (24), from memory, p_T = 0. K_SO is for both together: no K_G, no K_T.

    Parameters
    ----------
    generator : Generator
    transformer_ohm : complex array_like (ohm)
        On the network's side.
    ratio : array_like (-)
        t = U_rTHV/U_rTLV.
    nominal_voltage_v : array_like (V)
        U_nQ, of the network.

    Returns
    -------
    array (A)
        On the network's side.
    """
    network_v = np.asarray(nominal_voltage_v, float)
    turns = np.asarray(ratio, float)
    correction = generator.correction * network_v / np.asarray(generator.nominal_voltage_v) / turns
    own = np.asarray(generator.resistance_ohm, float) + 1j * generator._ohm(None)
    unit = correction * (turns**2 * own + np.asarray(transformer_ohm))
    return np.asarray(np.asarray(generator.c, float) * network_v / (np.sqrt(3) * np.abs(unit)))


def phase_phase_current(
    generator: Generator, negative_reactance_pu: ArrayLike, external_ohm: ArrayLike = 0.0
) -> Array:
    """Two phases without earth: I''k2 = c U_n/|Z_1 + Z_2|, 4.2.2, eq. (45). RMS [A]

    K_G corrects Z_2 as it does Z_1 (3.6.1).

    Parameters
    ----------
    generator : Generator
    negative_reactance_pu : array_like (pu)
    external_ohm : complex array_like (ohm)
        As of `initial_current`.

    Returns
    -------
    array (A)
    """
    both = (
        generator.impedance_ohm()
        + generator.impedance_ohm(negative_reactance_pu)
        + 2 * np.asarray(external_ohm)
    )
    return np.asarray(generator.source_v / np.abs(both))


def phase_earth_current(
    generator: Generator,
    negative_reactance_pu: ArrayLike,
    zero_reactance_pu: ArrayLike,
    neutral_ohm: ArrayLike,
    external_ohm: ArrayLike = 0.0,
    external_zero_ohm: ArrayLike = 0.0,
) -> Array:
    """One phase to earth: I''k1 = sqrt(3) c U_n/|Z_1 + Z_2 + Z_0|, 4.2.4, eq. (52). RMS [A]

    Z_0 = K_G (R_G + jX_0) + 3Z_N: K_G does not correct what stands between the neutral and earth
    (3.6.1), so behind a high resistance the current is c U_n/(sqrt(3) R_N) and c stays in it.

    Parameters
    ----------
    generator : Generator
    negative_reactance_pu, zero_reactance_pu : array_like (pu)
    neutral_ohm : complex array_like (ohm)
        Z_N.
    external_ohm, external_zero_ohm : complex array_like (ohm)
        Between the terminals and the fault, of the positive and of the zero sequence.

    Returns
    -------
    array (A)
    """
    own = (
        generator.impedance_ohm()
        + generator.impedance_ohm(negative_reactance_pu)
        + generator.impedance_ohm(zero_reactance_pu)
    )
    rest = (
        2 * np.asarray(external_ohm) + np.asarray(external_zero_ohm) + 3 * np.asarray(neutral_ohm)
    )
    return np.asarray(np.sqrt(3) * generator.source_v / np.abs(own + rest))


def peak_factor(generator: Generator, external_ohm: ArrayLike = 0.0) -> Array:
    """kappa = 1.02 + 0.98 exp(-3R/X) with R_Gf for the generator's resistance, 4.3.1.1, eq. (55).
    [-]

    The branch is a series one, so the method of the equivalent frequency would give the same.

    Parameters
    ----------
    generator : Generator
    external_ohm : complex array_like (ohm)
        As of `initial_current`.

    Returns
    -------
    array (-)
    """
    path = generator.peak_impedance_ohm + np.asarray(external_ohm)
    return np.asarray(1.02 + 0.98 * np.exp(-3 * path.real / path.imag))


def peak_current(factor: ArrayLike, initial_a: ArrayLike) -> Array:
    """i_p = kappa sqrt(2) I''k, eq. (54). Peak [A]

    kappa of the three-phase fault serves the others too (4.3.1).

    Parameters
    ----------
    factor : array_like (-)
    initial_a : array_like (A)
        RMS.

    Returns
    -------
    array (A)
    """
    return np.asarray(np.asarray(factor) * np.sqrt(2) * np.asarray(initial_a))


def breaking_factor(initial_over_rated: ArrayLike, minimum_delay_s: ArrayLike) -> Array:
    """mu of the symmetrical breaking current, 4.5.2.1, eq. (70). [-]

    Straight lines between the curves, which the standard allows. For machines excited by rotating
    exciters, or by rectifiers with a ceiling below 1.6 times the rated field voltage and t_min
    below
    0.25 s; for others the standard says 1 unless better is known.

    Parameters
    ----------
    initial_over_rated : array_like (-)
        I''k over the rated current.
    minimum_delay_s : array_like (s)
        t_min from the fault to the first parting of contacts.

    Returns
    -------
    array (-)
        1 where I''k is at most twice the rated current.

    Raises
    ------
    ValueError
        A delay is below 0.02 s.
    """
    ratio, delay = np.broadcast_arrays(
        np.asarray(initial_over_rated, float), np.asarray(minimum_delay_s, float)
    )
    times = np.array([row[0] for row in _BREAKING])
    if not np.all(delay >= times[0]):
        raise ValueError("the breaking current is defined for a minimum delay of 0.02 s or more")
    curves = np.array([a + b * np.exp(-d * ratio) for _, a, b, d in _BREAKING])
    after = np.clip(np.searchsorted(times, delay), 1, times.size - 1)
    low, high = (np.take_along_axis(curves, index[None], 0)[0] for index in (after - 1, after))
    share = np.clip((delay - times[after - 1]) / (times[after] - times[after - 1]), 0.0, 1.0)
    return np.asarray(np.where(ratio <= _NEAR, 1.0, low + share * (high - low)))


def breaking_current(
    generator: Generator, minimum_delay_s: ArrayLike, external_ohm: ArrayLike = 0.0
) -> Array:
    """Three phases: I_b = mu I''k, 4.5.2.1, eq. (69). RMS [A]

    Parameters
    ----------
    generator : Generator
    minimum_delay_s : array_like (s)
        As of `breaking_factor`.
    external_ohm : complex array_like (ohm)
        As of `initial_current`.

    Returns
    -------
    array (A)
    """
    initial = initial_current(generator, external_ohm)
    return np.asarray(
        breaking_factor(initial / generator.rated_current_a, minimum_delay_s) * initial
    )
