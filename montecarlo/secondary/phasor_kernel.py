"""The compiled phasor solution: Newton in real and imaginary parts, LANES samples side by side.

Flux m = u + jv (peak, knee units) and secondary current i (RMS) of the CTs obey

    j·m = G·(R + Aᵀ·R_leg·A)·i,    i = source - I·y(|m|)·m,    G = 1/V,

V the RMS knee voltage, I the knee current over √2. The describing function y is not analytic, so
Newton works on (u, v). With J the quarter turn and D the 2x2 derivative of a CT's exciting current,
its matrix is

    B + G·Aᵀ·R_leg·A·D,    B = J + G·R·D,

and by Woodbury, with T = G·D·B⁻¹ and B, D and T diagonal in 2x2 blocks, there remains one of the
size of the legs:

    M = 1 + √R_leg·A·T·Aᵀ·√R_leg.

M is eliminated in 2x2 blocks without pivots. Where exciting current rises with flux (D + Dᵀ
positive) that is safe: T⁻¹ = R + V·J·D⁻¹, so that xᵀ·J·T·x = V·yᵀ·D⁻¹·y > 0 with y = T·x; J is
skew, hence J·M has a symmetric part that is not negative, and so have its leading blocks and their
Schur complements. A leading block that took x to zero would have T·Aᵀ·√R_leg·x = 0 for every CT and
so x = 0. (Derived.) Cores of high ankle have fluxes at which the current of a stop falls faster
than the rest rises: nothing is proved there, but a move counts by the residual that it leaves,
which no elimination touches.

A lane that has settled hands in its sample and takes the next one. What it finds depends on its own
sample alone: not on its neighbours, nor on the number or the order of the samples."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from montecarlo.quantities import Array, Complex, Index
from montecarlo.quantities.compiled import njit
from montecarlo.secondary.admittance import admittance
from montecarlo.secondary.excitation import YIELDS
from montecarlo.secondary.lanes import (
    LANES,
    Lanes,
    any_positive,
    load,
    size,
    splat,
    store,
    where_less,
)
from montecarlo.secondary.workspace import COMPILED, MOST, Network, total

_TOLERANCE = 1e-8  # sum of the last Newton moves, in knee flux; Newton squares it
_LAST_SHARE = 0.5**5  # a smaller share of a move is made whether it helps or not

# The workspace (rows, LANES): groups of MOST rows, one for each CT or leg; two groups where
# there is a real and an imaginary part, four where there is a 2x2 block.
(
    FLUX,
    START,
    STEP,  # iterate, where its last move began, the whole of that move
    CURRENT,
    SOURCE,  # what excitation leaves, ideal secondary current [A]
    OFF,
    PULL,  # residual; T/G times it
    LOAD,  # by leg: right-hand side of M
    STIFF,
) = range(0, 18 * MOST, 2 * MOST)  # the two stops' slopes over π [A per knee flux]
SLOPE, TIE = range(18 * MOST, 26 * MOST, 4 * MOST)  # D, T
(
    LINEAR,
    STEEP,  # characteristic: linear, saturated branch's fundamental [A]
    SERIES,
    GAIN,
    INVERSE,  # G·R, G; one over the determinant of B
    OHM,
    ROOT,  # by leg: resistance [ohm], its root
    LANE,
) = range(26 * MOST, 34 * MOST, MOST)
(
    ACTIVE,
    SETTLED,  # one row each: 1 while a lane moves; 1 once its solution is found
    NORM,
    BEFORE,  # square of the residual's norm, at the iterate and at START
    SHARE,
    PASSES,
) = range(LANE, LANE + 6)  # of the move that is tried; passes left
FACTOR = 34 * MOST  # by pair of legs a 2x2 block
IMAG = MOST  # from a real part to its imaginary part


class Samples(NamedTuple):
    """Samples' constants, sample first."""

    source: Complex  # (n, ct) ideal secondary currents [A]
    series_ohm: Array  # (n, ct)
    knee_v: Array  # (n, ct) RMS
    knee_a: Array  # (n, ct) knee current over root two
    curve: Array  # (4, n, ct) a, b, c1, c2
    leg_ohm: Array  # (n, legs)
    power: Index  # (ct,) (S - 1)/2
    fundamental: Array  # (ct,) of cos^S


# --- currents -----------------------------------------------------------------


@njit(**COMPILED)
def _excite(w: Array, c: int, power: int) -> None:
    """CURRENT and SLOPE of CT c at the flux."""
    u, v = load(w, FLUX + c), load(w, FLUX + IMAG + c)
    g, h, rise, turn = admittance(
        u * u + v * v,
        load(w, LINEAR + c),
        load(w, STEEP + c),
        load(w, STIFF + c),
        load(w, STIFF + MOST + c),
        power,
    )
    store(w, CURRENT + c, load(w, SOURCE + c) - (g * u - h * v))
    store(w, CURRENT + IMAG + c, load(w, SOURCE + IMAG + c) - (h * u + g * v))
    # d(y·m) = y·dm + (y'/|m|)·m·Re(m*·dm)
    along, across = rise * u - turn * v, turn * u + rise * v
    store(w, SLOPE + c, g + along * u)
    store(w, SLOPE + MOST + c, along * v - h)
    store(w, SLOPE + 2 * MOST + c, h + across * u)
    store(w, SLOPE + 3 * MOST + c, g + across * v)


@njit(**COMPILED)
def _evaluate(w: Array, legs: int, member: Index, sign: Array, power: Index) -> None:
    """Currents, slopes and OFF = j·m - G·(R + Aᵀ·R_leg·A)·i at the flux."""
    for c in range(power.size):
        _excite(w, c, power[c])
    for part in range(2):
        for leg in range(legs):
            current = total(w, CURRENT + part * IMAG, member, sign, leg)
            store(w, LOAD + part * IMAG + leg, current * load(w, OHM + leg))
    norm = splat(0.0)
    for c in range(power.size):
        series, gain = load(w, SERIES + c), load(w, GAIN + c)
        real = series * load(w, CURRENT + c) + gain * total(w, LOAD, member, sign, legs + c)
        imag = series * load(w, CURRENT + IMAG + c) + gain * total(
            w, LOAD + IMAG, member, sign, legs + c
        )
        real, imag = splat(0.0) - load(w, FLUX + IMAG + c) - real, load(w, FLUX + c) - imag
        store(w, OFF + c, real)
        store(w, OFF + IMAG + c, imag)
        norm = norm + (real * real + imag * imag)
    store(w, NORM, norm)


# --- Newton's system ----------------------------------------------------------


@njit(**COMPILED)
def _eliminate(w: Array, legs: int, places: int, member: Index, sign: Array) -> None:
    """FACTOR = M and LOAD = √R_leg·A·T·OFF."""
    for c in range(places):
        series, gain = load(w, SERIES + c), load(w, GAIN + c)
        d11, d12 = load(w, SLOPE + c), load(w, SLOPE + MOST + c)
        d21, d22 = load(w, SLOPE + 2 * MOST + c), load(w, SLOPE + 3 * MOST + c)
        inverse = 1.0 / ((1.0 - series * d12) * (1.0 + series * d21) + series * series * d11 * d22)
        whole = series * (d11 * d22 - d12 * d21)
        t11, t12, t21, t22 = (
            inverse * (whole - d12),
            inverse * d11,
            inverse * d22,
            inverse * (whole + d21),
        )
        real, imag = load(w, OFF + c), load(w, OFF + IMAG + c)
        store(w, INVERSE + c, inverse)
        store(w, PULL + c, t11 * real + t12 * imag)
        store(w, PULL + IMAG + c, t22 * imag - t21 * real)
        store(w, TIE + c, gain * t11)
        store(w, TIE + MOST + c, gain * t12)
        store(w, TIE + 2 * MOST + c, splat(0.0) - gain * t21)
        store(w, TIE + 3 * MOST + c, gain * t22)
    for p in range(legs):
        root = load(w, ROOT + p)
        for part in range(2):
            store(w, LOAD + part * IMAG + p, root * total(w, PULL + part * IMAG, member, sign, p))
        for q in range(p + 1):
            both = root * load(w, ROOT + q)
            for k in range(4):
                tie = both * total(w, TIE + k * MOST, member, sign, legs + places + p * legs + q)
                if p == q and (k == 0 or k == 3):
                    tie = tie + 1.0
                store(w, FACTOR + 4 * (p * legs + q) + k, tie)
                store(w, FACTOR + 4 * (q * legs + p) + k, tie)


@njit(**COMPILED)
def _less_product(w: Array, target: int, step: int, left: int, first: Lanes, second: Lanes) -> None:
    """Two rows, `target` and `step` further, less the 2x2 block that begins in row `left` times
    (first, second)."""
    store(w, target, load(w, target) - (load(w, left) * first + load(w, left + 1) * second))
    store(
        w,
        target + step,
        load(w, target + step) - (load(w, left + 2) * first + load(w, left + 3) * second),
    )


@njit(**COMPILED)
def _substitute(w: Array, legs: int) -> None:
    """LOAD becomes √R_leg·M⁻¹·LOAD, by L·U in 2x2 blocks; on the diagonal stand the pivots'
    inverses."""
    for p in range(legs):
        at = FACTOR + 4 * (p * legs + p)
        a, b, c, d = load(w, at), load(w, at + 1), load(w, at + 2), load(w, at + 3)
        inverse = 1.0 / (a * d - b * c)
        a, b, c, d = d * inverse, splat(0.0) - b * inverse, splat(0.0) - c * inverse, a * inverse
        store(w, at, a)
        store(w, at + 1, b)
        store(w, at + 2, c)
        store(w, at + 3, d)
        for q in range(p + 1, legs):
            low = FACTOR + 4 * (q * legs + p)
            first, second = load(w, low), load(w, low + 1)
            store(w, low, first * a + second * c)
            store(w, low + 1, first * b + second * d)
            first, second = load(w, low + 2), load(w, low + 3)
            store(w, low + 2, first * a + second * c)
            store(w, low + 3, first * b + second * d)
            for r in range(p + 1, legs):
                up, here = FACTOR + 4 * (p * legs + r), FACTOR + 4 * (q * legs + r)
                _less_product(w, here, 2, low, load(w, up), load(w, up + 2))
                _less_product(w, here + 1, 2, low, load(w, up + 1), load(w, up + 3))
            _less_product(w, LOAD + q, IMAG, low, load(w, LOAD + p), load(w, LOAD + IMAG + p))
    for p in range(legs - 1, -1, -1):
        for q in range(p + 1, legs):
            _less_product(
                w,
                LOAD + p,
                IMAG,
                FACTOR + 4 * (p * legs + q),
                load(w, LOAD + q),
                load(w, LOAD + IMAG + q),
            )
        at, real, imag = FACTOR + 4 * (p * legs + p), load(w, LOAD + p), load(w, LOAD + IMAG + p)
        store(w, LOAD + p, load(w, at) * real + load(w, at + 1) * imag)
        store(w, LOAD + IMAG + p, load(w, at + 2) * real + load(w, at + 3) * imag)
    for p in range(legs):
        for part in range(2):
            store(w, LOAD + part * IMAG + p, load(w, LOAD + part * IMAG + p) * load(w, ROOT + p))


@njit(**COMPILED)
def move(w: Array, legs: int, places: int, member: Index, sign: Array) -> None:
    """Lanes whose residual has fallen make a Newton move from where they are, the others half their
    last one again.

    Parameters
    ----------
    w : ndarray, (rows, LANES)
        The workspace; changed.
    legs, places : int
        Of the network.
    member, sign : ndarray
        Of the network.
    """
    _eliminate(w, legs, places, member, sign)
    _substitute(w, legs)
    zero, one, norm = splat(0.0), splat(1.0), load(w, NORM)
    before, share = load(w, BEFORE), load(w, SHARE)
    fresh = where_less(norm, before, one, where_less(share, splat(_LAST_SHARE), one, zero))
    share = where_less(zero, fresh, one, 0.5 * share)
    active = where_less(norm, splat(np.inf), load(w, ACTIVE), zero)  # not a number either
    moved = splat(0.0)
    for c in range(places):
        series, gain, inverse = load(w, SERIES + c), load(w, GAIN + c), load(w, INVERSE + c)
        real = load(w, OFF + c) - gain * total(w, LOAD, member, sign, legs + c)
        imag = load(w, OFF + IMAG + c) - gain * total(w, LOAD + IMAG, member, sign, legs + c)
        d11, d12 = series * load(w, SLOPE + c), series * load(w, SLOPE + MOST + c)
        d21, d22 = series * load(w, SLOPE + 2 * MOST + c), series * load(w, SLOPE + 3 * MOST + c)
        du, dv = (
            inverse * (d22 * real + (1.0 - d12) * imag),
            inverse * (d11 * imag - (1.0 + d21) * real),
        )
        moved = moved + (size(du) + size(dv))
        for part in range(2):
            at = part * IMAG + c
            step = where_less(zero, fresh, du if part == 0 else dv, load(w, STEP + at))
            m = load(w, FLUX + at)
            start = where_less(zero, fresh, m, load(w, START + at))
            store(w, STEP + at, step)
            store(w, START + at, start)
            store(w, FLUX + at, where_less(zero, active, start - share * step, m))
    settled = where_less(moved, splat(_TOLERANCE), fresh, zero)
    passes = load(w, PASSES) - 1.0
    store(w, BEFORE, where_less(zero, fresh, norm, before))
    store(w, SHARE, share)
    store(w, PASSES, passes)
    store(w, SETTLED, where_less(zero, active, settled, zero))
    store(w, ACTIVE, where_less(zero, settled, zero, where_less(zero, passes, active, zero)))


# --- samples in lanes ---------------------------------------------------------


@njit(**COMPILED)
def _sum(values: Complex, member: Index, sign: Array, row: int) -> complex:
    """Signed sum of one sample's values over the members of one of the network's lists."""
    signed = 0j
    for j in range(member[row, 0]):
        signed += sign[row, j] * values[member[row, 1 + j]]
    return signed


@njit(**COMPILED)
def _enter(w: Array, b: int, k: int, given: Samples, legs: int, member: Index, sign: Array) -> None:
    """Sample k enters lane b, with the flux of CTs that take no exciting current."""
    places = given.power.size
    for c in range(places):
        knee_a, gain = given.knee_a[k, c], 1.0 / given.knee_v[k, c]
        w[SOURCE + c, b], w[SOURCE + IMAG + c, b] = given.source[k, c].real, given.source[k, c].imag
        w[LINEAR + c, b] = knee_a * given.curve[0, k, c]
        w[STEEP + c, b] = knee_a * given.curve[1, k, c] * given.fundamental[c]
        for stop in range(2):
            w[STIFF + stop * MOST + c, b] = (
                knee_a * given.curve[2 + stop, k, c] / (np.pi * YIELDS[stop])
            )
        w[GAIN + c, b], w[SERIES + c, b] = gain, gain * given.series_ohm[k, c]
        volts = given.series_ohm[k, c] * given.source[k, c]
        for j in range(member[legs + c, 0]):
            leg = member[legs + c, 1 + j]
            current = _sum(given.source[k], member, sign, leg)
            volts += sign[legs + c, j] * given.leg_ohm[k, leg] * current
        w[FLUX + c, b], w[FLUX + IMAG + c, b] = gain * volts.imag, -gain * volts.real
    for leg in range(legs):
        w[OHM + leg, b], w[ROOT + leg, b] = given.leg_ohm[k, leg], np.sqrt(given.leg_ohm[k, leg])
    w[ACTIVE, b], w[SETTLED, b], w[BEFORE, b], w[SHARE, b] = 1.0, 0.0, np.inf, 1.0


@njit(**COMPILED)
def _leave(  # noqa: PLR0913
    w: Array,
    b: int,
    k: int,
    legs: int,
    member: Index,
    sign: Array,
    leg_a: Complex,
    ct_a: Complex,
    flux: Complex,
) -> None:
    """What lane b has found for sample k. The last move is so small that the currents follow it
    along their slopes."""
    places = flux.shape[1]
    if w[SETTLED, b] <= 0.0:
        leg_a[k], ct_a[k], flux[k] = (
            complex(np.nan, np.nan),
            complex(np.nan, np.nan),
            complex(np.nan, np.nan),
        )
        return
    for c in range(places):
        du, dv = w[STEP + c, b], w[STEP + IMAG + c, b]
        ct_a[k, c] = complex(
            w[CURRENT + c, b] + (w[SLOPE + c, b] * du + w[SLOPE + MOST + c, b] * dv),
            w[CURRENT + IMAG + c, b]
            + (w[SLOPE + 2 * MOST + c, b] * du + w[SLOPE + 3 * MOST + c, b] * dv),
        )
        flux[k, c] = complex(w[FLUX + c, b], w[FLUX + IMAG + c, b])
    for leg in range(legs):
        leg_a[k, leg] = _sum(ct_a[k], member, sign, leg)


@njit(nogil=True, error_model="numpy", entry=True)
def solve_lanes(
    given: Samples, net: Network, passes: int, leg_a: Complex, ct_a: Complex, flux: Complex
) -> None:
    """Every sample's phasors, NaN where Newton does not settle.

    Parameters
    ----------
    given : Samples
    net : Network
    passes : int
        Moves and halvings that a sample may take.
    leg_a : complex ndarray, (n, legs)
        Written, RMS (A).
    ct_a, flux : complex ndarray, (n, ct)
        Written, RMS (A) and peak (knee flux).
    """
    w = np.zeros((FACTOR + 4 * net.legs * net.legs, LANES))
    sample = np.full(LANES, -1)  # in each lane; -1: none
    n, entered = flux.shape[0], 0
    while True:
        for b in range(LANES):
            if w[ACTIVE, b] > 0.0:
                continue
            if sample[b] >= 0:
                _leave(w, b, sample[b], net.legs, net.member, net.sign, leg_a, ct_a, flux)
            sample[b] = entered if entered < n else -1
            if entered < n:
                _enter(w, b, entered, given, net.legs, net.member, net.sign)
                w[PASSES, b] = passes
                entered += 1
        if not any_positive(load(w, ACTIVE)):
            return
        _evaluate(w, net.legs, net.member, net.sign, given.power)
        move(w, net.legs, net.places, net.member, net.sign)
