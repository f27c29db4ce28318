"""The describing function in lanes: fundamental exciting current over flux, with its derivative, in
closed form.

A stop of slope k that swings past its yield draws k·(θ - sin θ·cos θ + j·sin²θ)/π times the flux,
where its falling branch reaches -c at the angle θ = arccos(1 - 2·yield/peak). Derived; the loss is
the loop's area over π, 4c(1 - yield/peak)/(π·peak).

Only for code that Numba compiles."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Array
from montecarlo.quantities.compiled import njit
from montecarlo.secondary.excitation import YIELDS
from montecarlo.secondary.lanes import Lanes, splat, square_root, where_less
from montecarlo.secondary.workspace import COMPILED, to_power

TOP_FLUX = 1.3  # knee flux; above it the exciting current goes on along its tangent
_NO_FLUX = 1e-9  # knee flux below which the describing function does not change
_DEGREE = 17


def _angle_series() -> Array:
    """Coefficients in z of arcsin(√z)/√(z(1 - z)), 0 < z < 1/2, lowest first: interpolated at the
    Chebyshev points. The function is analytic but for z >= 1, so the error falls as (3 +
    √8)^-degree, here below 1e-12."""
    z = (1 + np.polynomial.chebyshev.chebpts1(_DEGREE + 1)) / 4
    values = np.arcsin(np.sqrt(z)) / np.sqrt(z * (1 - z))
    series = np.polynomial.Chebyshev.fit(z, values, _DEGREE, domain=[0.0, 0.5])
    return np.asarray(series.convert(kind=np.polynomial.Polynomial).coef)


_SERIES = _angle_series()


@njit(**COMPILED)
def angle_of(share: Lanes, half_sine: Lanes) -> Lanes:
    """θ = arccos(1 - 2·share). [rad]

    Parameters
    ----------
    share : Lanes
        0 ... 1.
    half_sine : Lanes
        sin(θ)/2 = √(share·(1 - share)).

    Returns
    -------
    Lanes
    """
    half = splat(0.5)
    near = where_less(share, half, share, 1.0 - share)
    series = splat(_SERIES[_DEGREE])
    for k in range(_DEGREE - 1, -1, -1):
        series = series * near + _SERIES[k]
    angle = 2.0 * half_sine * series  # θ/2 = arcsin √share
    return where_less(share, half, angle, np.pi - angle)


@njit(**COMPILED)
def _stop(inverse: Lanes, limit: float, stiff: Lanes) -> tuple[Lanes, Lanes, Lanes, Lanes]:
    """Real and imaginary part of a stop's admittance, and of its derivative times the peak;
    inverse: of the peak; stiff: the stop's slope over π."""
    zero, one = splat(0.0), splat(1.0)
    share = limit * inverse
    swept = where_less(share, one, 4.0 * stiff * share, zero)
    share = where_less(one, share, one, share)
    product = share * (1.0 - share)
    half_sine, cosine = square_root(product), 1.0 - 2.0 * share
    real = stiff * (angle_of(share, half_sine) - 2.0 * half_sine * cosine)
    return real, 4.0 * stiff * product, zero - 2.0 * swept * half_sine, zero - swept * cosine


@njit(**COMPILED)
def admittance(
    square: Lanes, linear: Lanes, steep: Lanes, stiff1: Lanes, stiff2: Lanes, power: int
) -> tuple[Lanes, Lanes, Lanes, Lanes]:
    """y = g + jh of the characteristic, and y'/peak.

    Parameters
    ----------
    square : Lanes
        The flux's peak², in knee units.
    linear : Lanes
        Slope of the linear branch.
    steep : Lanes
        The saturated branch's fundamental at the knee.
    stiff1, stiff2 : Lanes
        The stops' slopes over π.
    power : int
        (S - 1)/2.

    Returns
    -------
    tuple of Lanes
        g, h, and the real and the imaginary part of y'/peak.
    """
    least, top = splat(_NO_FLUX * _NO_FLUX), splat(1.0 / TOP_FLUX)
    over = 1.0 / where_less(square, least, least, square)
    inverse = square_root(over)
    # of where the tangent begins to the peak
    ratio = where_less(inverse, top, TOP_FLUX * inverse, splat(1.0))
    inverse = where_less(inverse, top, top, inverse)
    steep = steep * to_power(ratio * ratio * square, power)  # peak^(S-1)
    g1, h1, rise1, turn1 = _stop(inverse, YIELDS[0], stiff1)
    g2, h2, rise2, turn2 = _stop(inverse, YIELDS[1], stiff2)
    rise, turn = 2.0 * power * steep + rise1 + rise2, turn1 + turn2
    beyond = 1.0 - ratio
    return (
        linear + steep + g1 + g2 + rise * beyond,
        h1 + h2 + turn * beyond,
        rise * ratio * over,
        turn * ratio * over,
    )
