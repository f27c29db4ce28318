"""What the compiled pass works on: rows of LANES numbers, and what `transient.py` hands over."""

from __future__ import annotations

from functools import cache
from typing import Any, NamedTuple

import numpy as np

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import njit
from montecarlo.secondary.lanes import LANES, Lanes, load, splat

ALLOCATES: dict[str, Any] = {"nogil": True, "error_model": "numpy", "forceinline": True}
# counting references to arrays took a quarter of the time
COMPILED = {**ALLOCATES, "counted": False}
GAMMA = 2 - np.sqrt(2)  # place of the inner stage in a step of TR-BDF2
FLUX_LIMIT = 4.0  # knee flux; no core that saturates gets there, an iterate may
SMALL_A = 1e-3  # a current whose changes settle nothing

# The workspace (rows, LANES): a group of rows for each quantity, a row in it for each CT or
# leg.
MOST = 24  # CTs or legs that a group holds
(
    FLUX,
    NEXT,
    BEFORE,
    RHS,  # flux at the stage's start, iterate, at the stage's start before; right-hand side
    REST1,
    REST2,  # the stops' rests at the stage's start [knee flux]
    CURRENT,  # what excitation leaves [A]
    DRIVE,  # weight·F at the point before the stage's start
    LINEAR,
    STEEP,
    LIMIT,  # the characteristic: linear, saturated branch [A]; flux that Newton may try
    REACH1,
    REACH2,
    DROP1,
    DROP2,  # the stops' reaches both ways [knee flux]
    FIRST_SLOPE,
    SECOND_SLOPE,  # the stops' slopes [A per knee flux]
    FIXED,  # the current of stops without a slope [A]
    OWN,
    GAIN,
    TURNS,  # weight over knee flux, times winding and lead, and alone; one over turns
    OHM,
    LEG,  # by leg: resistance [ohm], current [A]
    SUM,  # by vector sum of CTs' currents [A]
    INNER,
    BEGIN,  # by signal that is measured: between the two stages, at the step's start [A]
    LIVE,
    WORST,  # one row each: 1 until settled; worst of the last Newton moves
) = range(0, 28 * MOST, MOST)
ROWS = 28 * MOST


class Network(NamedTuple):
    """The table A as lists of signed members: first each leg's CTs, then each CT's legs, then, for
    each pair of legs p·legs + q, the CTs that drive both. Lists stand in rows: how many, then
    which."""

    legs: int
    places: int
    member: Index  # (lists, 1 + MOST)
    sign: Array  # (lists, MOST)


class Cores(NamedTuple):
    """Samples' constants and start, sample last."""

    # (6, ct, n): a, b, bounds of the stops [A], slopes of the stops [A per knee flux]
    curve: Array
    series_ohm: Array  # (ct, n)
    inv_flux: Array  # (ct, n) [1/Wb]
    inv_turns: Array  # (ct, n)
    leg_ohm: Array  # (legs, n)
    flux: Array  # (ct, n) at the window's start, knee flux
    stops: Array  # (2, ct, n) at the window's start [A]


class Pace(NamedTuple):
    """The time grid, and what ends a pass early."""

    step_s: float
    per_cycle: int
    lead: int  # steps before the event
    warm: int  # steps in which the lead's sources run once more, first and unmeasured
    steps: int
    loop_from: int  # first point of the sources' part that repeats
    jump: bool  # whether the sources have two points at the event, before and after it
    settle: float  # share of change a cycle at which a lane is frozen; 0: never


class Gates(NamedTuple):
    """What holds elements back (`gates`)."""

    code: int  # address of `gates.compiled`, 0 without gates
    slot: Index  # (elements,) place among those that gates look at; -1: none do
    side: Index  # (slots,) row of the workspace: what passes one side of the element's leg
    leg: Index  # (slots,) row of its leg
    what: Index  # (gates,) `Gate.what`
    slope: Array  # (gates,) of the bias while one is on; infinite: it cannot operate
    together: Index  # (gates,) whether the gate of one of the phases holds back all
    phases: int  # so many slots are of phase elements; they come first
    levels: Array  # (gates, levels, n) `Levels.rows`
    circle: Array  # (4, per_cycle) `gates.turns`


class Sampling(NamedTuple):
    """The relay's chain (`chain`); without one `taps` is empty."""

    code: int  # address of `chain.compiled`
    taps: Index  # rows of the workspace that pass it, signals first
    side: Index  # (slots,) place among them of what passes one side of a gated element's leg
    leg: Index  # (slots,) place of its leg
    own: Array  # (rows, n) `Chain.rows`
    circle: Array  # (2, per_cycle) cosine and sine of a cycle's samples
    per_cycle: int  # samples
    length: int  # samples of the window
    filtered: int  # whether there is a low-pass


class Meter(NamedTuple):
    """What is measured, and what the elements make of it."""

    signals: Index  # (signals,) rows of the workspace: currents of legs and of CTs
    element: Index  # (elements,) the signal of each element
    bias: Index  # (elements, most) the signals that restrain it; -1: none
    combine: Index  # (elements,) how one bias current is made of these, of `restraint.ADDED` ...
    share: Array  # (elements, most) what each is multiplied by first
    sums: Array  # (vector sums, MOST) what multiplies the current of each CT in a sum of several
    forms: Array  # (variants, 5) `restraint.Form`
    quantity: int  # of `judging.QUANTITIES`
    circle: Array  # (6, per_cycle), `measurement.circle`
    holds: Index  # (delays,) steps for which a value must be held
    drop_off: float  # share of its pick-up at which an element resets
    gates: Gates
    sampling: Sampling


def network(table: Array) -> Network:
    """The lists of a table.

    Parameters
    ----------
    table : ndarray, (legs, ct)

    Returns
    -------
    Network
    """
    return _network(np.asarray(table, float).tobytes(), *table.shape)


def check_room(legs: int, cts: int) -> None:
    """Refuse a circuit that is too large.

    Parameters
    ----------
    legs, cts : int

    Raises
    ------
    ValueError
        If the workspace holds fewer.
    """
    if max(legs, cts) > MOST:
        raise ValueError(f"{legs} legs and {cts} CTs; the workspace holds {MOST} of each")


@cache
def _network(table_of: bytes, legs: int, places: int) -> Network:
    table = np.frombuffer(table_of).reshape(legs, places)
    check_room(legs, places)
    pairs = (table[:, None] * table[None]).reshape(legs * legs, places)
    rows = [*table, *table.T, *pairs]
    member, sign = np.zeros((len(rows), 1 + MOST), np.int64), np.zeros((len(rows), MOST))
    for row, values in enumerate(rows):
        found = np.flatnonzero(values)
        member[row, 0], member[row, 1 : 1 + found.size] = found.size, found
        sign[row, : found.size] = values[found]
    return Network(legs, places, member, sign)


@njit(**COMPILED)
def total(w: Array, group: int, member: Index, sign: Array, row: int) -> Lanes:
    """Signed sum of a group's rows over the members of one of the network's lists.

    Parameters
    ----------
    w : ndarray, (ROWS, LANES)
        The workspace.
    group : int
        Its first row.
    member, sign : ndarray
        Of the network.
    row : int
        Which list.

    Returns
    -------
    Lanes
    """
    signed = splat(0.0)
    for k in range(member[row, 0]):
        signed = signed + sign[row, k] * load(w, group + member[row, 1 + k])
    return signed


@njit(**COMPILED)
def to_power(base: Lanes, power: int) -> Lanes:
    """base^power for a whole power, by repeated squares.

    Parameters
    ----------
    base : Lanes
    power : int

    Returns
    -------
    Lanes
    """
    result = splat(1.0)
    while power > 0:
        if power & 1:
            result = result * base
        base = base * base
        power >>= 1
    return result


@njit(**ALLOCATES)
def aligned(rows: int) -> Array:
    """Zeros that begin on a cache line: values that lie across two take twice as long to load.

    Parameters
    ----------
    rows : int

    Returns
    -------
    ndarray, (rows, LANES)
    """
    room = np.zeros(rows * LANES + 8)
    skip = (-room.ctypes.data % 64) // 8
    return room[skip : skip + rows * LANES].reshape(rows, LANES)


@njit(**COMPILED)
def fill(w: Array, cores: Cores, first: int, weight: float) -> None:
    """Fills the workspace for the samples from `first` on, at the window's start.

    Parameters
    ----------
    w : ndarray, (ROWS, LANES)
        Written.
    cores : Cores
    first : int
    weight : float
        Of a stage's right-hand side (s).
    """
    for b in range(LANES):
        n = first + b
        for c in range(cores.flux.shape[0]):
            w[FLUX + c, b] = w[NEXT + c, b] = w[BEFORE + c, b] = cores.flux[c, n]
            w[LINEAR + c, b], w[STEEP + c, b] = cores.curve[0, c, n], cores.curve[1, c, n]
            w[FIXED + c, b] = 0.0
            for stop in range(2):
                bound, slope = cores.curve[2 + stop, c, n], cores.curve[4 + stop, c, n]
                yields = 1.0 / slope if slope > 0.0 else 0.0
                w[REST1 + stop * MOST + c, b] = cores.flux[c, n] - yields * cores.stops[stop, c, n]
                w[REACH1 + stop * MOST + c, b] = yields * bound
                w[DROP1 + stop * MOST + c, b] = -yields * bound
                w[FIRST_SLOPE + stop * MOST + c, b] = slope
                if slope == 0.0:
                    w[FIXED + c, b] += cores.stops[stop, c, n]
            w[GAIN + c, b], w[TURNS + c, b] = weight * cores.inv_flux[c, n], cores.inv_turns[c, n]
            w[OWN + c, b] = w[GAIN + c, b] * cores.series_ohm[c, n]
            w[LIMIT + c, b] = FLUX_LIMIT if cores.curve[1, c, n] > 0 else np.inf
        for leg in range(cores.leg_ohm.shape[0]):
            w[OHM + leg, b] = cores.leg_ohm[leg, n]
        w[LIVE, b], w[WORST, b] = 1.0, 0.0
