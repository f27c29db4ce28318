"""One stage of a step of one circuit: Newton with the exact Jacobian, LANES samples side by side.

TR-BDF2 (Bank et al., IEEE Trans. CAD 4, 1985; Hosea and Shampine, Appl. Numer. Math. 20, 1996) is
L-stable: high stabilising resistance makes the equations stiff. Both stages have the same implicit
weight ALPHA·h:

    m' = m  + ALPHA·h·(F(m) + F(m'))                     at t + GAMMA·h
    m" = W1·m' - W0·m + ALPHA·h·F(m")                    at t + h

with m the flux linkage in units of the knee's, F = (R·i + Aᵀ·diag(R_leg)·A·i)/λ_knee, i = source -
i_m(m).

The functions are plain Python about rows of numbers. `stage_code` makes machine code of them for
one table A and one set of exponents.

A lane stops moving once its own Newton has converged, so a sample's figures do not depend on which
others share its block."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from montecarlo.secondary import workspace as at
from montecarlo.secondary.workspace import GAMMA

ALPHA = GAMMA / 2
W1, W0 = 1 / (GAMMA * (2 - GAMMA)), (1 - GAMMA) ** 2 / (GAMMA * (2 - GAMMA))
# by stage: a start from two values of F, straight on and bent
STARTS = (
    (GAMMA / ALPHA, GAMMA**2 / (2 * ALPHA * (1 - GAMMA))),
    ((1 - GAMMA) / ALPHA, (1 - GAMMA) ** 2 / (2 * ALPHA * GAMMA)),
)
# last Newton move of all CTs, in knee flux; Newton squares it: the error left is of 1e-6
_TOLERANCE = 1e-3
STOPS = (
    (at.REST1, at.REACH1, at.DROP1, at.FIRST_SLOPE),
    (at.REST2, at.REACH2, at.DROP2, at.SECOND_SLOPE),
)

Values = Sequence[Any]
Table = tuple[tuple[float, ...], ...]


class Wiring(NamedTuple):
    """What code is made for."""

    table: Table  # of each leg, the CTs' signs
    channel: tuple[int, ...]  # of each CT, which of the source's currents it carries
    power: tuple[int, ...]  # of each CT, (S - 1)/2

    @property
    def legs(self) -> int:
        return len(self.table)

    @property
    def cts(self) -> int:
        return len(self.power)

    @property
    def of_cts(self) -> Table:
        """The table the other way: of each CT, the legs' signs."""
        return tuple(zip(*self.table, strict=True))


# --- what a stage is made of -----------------------------------------------------


def signed_sums(values: Values, rows: Sequence[Sequence[float]]) -> list[Any]:
    """Sums of values by the signs of each row; a sum that a later row contains is not taken twice.

    Parameters
    ----------
    values : sequence of numbers
    rows : sequence of sequences of float
        Of each sum, the values' signs; 0: left out.

    Returns
    -------
    list of numbers
    """
    sums: dict[tuple[float, ...], Any] = {}
    found = []
    for row in rows:
        left, parts = list(row), []
        for signs, value in sums.items():
            for turned in (signs, tuple(-sign for sign in signs)):
                if all(own in (0, rest) for own, rest in zip(turned, left, strict=True)):
                    parts.append(value if turned == signs else 0.0 - value)
                    left = [rest - own for own, rest in zip(turned, left, strict=True)]
                    break
        parts += [
            value if sign == 1 else sign * value
            for value, sign in zip(values, left, strict=True)
            if sign
        ]
        found.append(sum(parts[1:], parts[0]) if parts else 0.0 * values[0])
        if sum(map(bool, row)) > 1:
            sums[tuple(row)] = found[-1]
    return found


def clip(value: Any, lower: Any, upper: Any) -> Any:
    """Between two bounds; not a number stays.

    Parameters
    ----------
    value, lower, upper : number

    Returns
    -------
    number
    """
    value = upper.less(value, upper, value)
    return value.less(lower, lower, value)


def to_power(base: Any, power: int) -> Any:
    """base^power for a whole power, by repeated squares.

    Parameters
    ----------
    base : number
    power : int

    Returns
    -------
    number
    """
    result = None
    while power:
        if power & 1:
            result = base if result is None else result * base
        base = base * base
        power >>= 1
    return 1.0 + 0.0 * base if result is None else result


def keep(w: Any, c: int) -> None:
    """What the last stage found becomes the state of CT c: its flux, and the stops are dragged
    along where it passes their reach.

    Parameters
    ----------
    w : rows
    c : int
    """
    m = w[at.NEXT + c]
    for rest, reach, _, _ in STOPS:
        w[rest + c] = clip(w[rest + c], m - w[reach + c], m + w[reach + c])
    w[at.FLUX + c] = m


def excite(w: Any, c: int, power: int, m: Any) -> tuple[Any, Any]:
    """Exciting current of CT c at a flux, and its slope. A stop pulls by its slope times the
    distance from its rest, as far as it reaches.

    Parameters
    ----------
    w : rows
    c, power : int
    m : number

    Returns
    -------
    tuple of numbers
        (A), (A per knee flux).
    """
    linear = w[at.LINEAR + c]
    steep = w[at.STEEP + c] * to_power(m * m, power)  # m^(S-1)
    exciting, slope = (linear + steep) * m, linear + (2.0 * power + 1.0) * steep
    for rest, reach, drop, stiff in STOPS:
        pulled, stiffness = m - w[rest + c], w[stiff + c]
        held = clip(pulled, w[drop + c], w[reach + c])
        exciting = exciting + stiffness * held
        slope = slope + held.equals(pulled, stiffness, 0.0)
    return exciting, slope


def across(w: Any, wiring: Wiring, currents: Values) -> list[Any]:
    """Voltage that the legs put across every CT.

    Parameters
    ----------
    w : rows
    wiring : Wiring
    currents : sequence of numbers
        Of the CTs (A).

    Returns
    -------
    list of numbers
        (V).
    """
    in_legs = enumerate(signed_sums(currents, wiring.table))
    return signed_sums([w[at.OHM + p] * current for p, current in in_legs], wiring.of_cts)


def inverses(values: Values) -> list[Any]:
    """1/value of each, by one division.

    Parameters
    ----------
    values : sequence of numbers

    Returns
    -------
    list of numbers
    """
    before = [values[0]]
    for value in values[1:]:
        before.append(before[-1] * value)
    rest = 1.0 / before[-1]
    found = []
    for c in range(len(values) - 1, 0, -1):
        found.append(rest * before[c - 1])
        rest = rest * values[c]
    return [rest, *reversed(found)]


def loads(wiring: Wiring, tie: Values) -> dict[tuple[int, int], Any]:
    """T = A·diag(tie)·Aᵀ on and below the diagonal, where it has entries.

    Parameters
    ----------
    wiring : Wiring
    tie : sequence of numbers
        Of each CT (S).

    Returns
    -------
    dict
        From (leg, leg) to number.
    """
    table = wiring.table
    both = {
        (p, q): tuple(a * b for a, b in zip(table[p], table[q], strict=True))
        for p in range(wiring.legs)
        for q in range(p + 1)
    }
    there = {(p, q): signs for (p, q), signs in both.items() if p == q or any(signs)}
    kinds = sorted(set(there.values()), key=lambda signs: sum(map(bool, signs)))
    sums = dict(zip(kinds, signed_sums(tie, kinds), strict=True))
    return {pair: sums[signs] for pair, signs in there.items()}


def legs_voltages(w: Any, wiring: Wiring, tie: Values, push: Values) -> list[Any]:
    """How the legs' voltages v answer a move: v = R_leg·(A·push - T·v), T as in `loads`.

    T is positive semidefinite, so it is eliminated without pivots. `left` is what a leg's
    resistance comes to beside the conductance that loads it. R_leg = 0 is no special case.

    Parameters
    ----------
    w : rows
    wiring : Wiring
    tie, push : sequence of numbers
        Of each CT (S), (A).

    Returns
    -------
    list of numbers
        Of each leg (V).
    """
    load, pull = loads(wiring, tie), signed_sums(push, wiring.table)
    left: list[Any] = []
    while len(left) < wiring.legs:
        group = _apart(load, len(left), wiring.legs)
        ohm = [w[at.OHM + q] for q in group]
        loaded = [1.0 + r * load[q, q] for q, r in zip(group, ohm, strict=True)]
        left += [r * share for r, share in zip(ohm, inverses(loaded), strict=True)]
        for q in group:
            _pass_on(load, pull, q, left[q], wiring.legs)
    volts: dict[int, Any] = {}
    for p in range(wiring.legs - 1, -1, -1):
        for q in range(p + 1, wiring.legs):
            if (q, p) in load:
                pull[p] = pull[p] - load[q, p] * volts[q]
        volts[p] = left[p] * pull[p]
    return [volts[p] for p in range(wiring.legs)]


def _apart(load: dict[tuple[int, int], Any], first: int, legs: int) -> list[int]:
    """The legs from one on that share no CT: their inverses can be taken at once."""
    group = [first]
    while (after := group[-1] + 1) < legs and not any((after, q) in load for q in group):
        group.append(after)
    return group


def _pass_on(
    load: dict[tuple[int, int], Any], pull: list[Any], q: int, left: Any, legs: int
) -> None:
    """Eliminates leg q: what it takes from the legs after it."""
    below = [p for p in range(q + 1, legs) if (p, q) in load]
    for p in below:
        share = load[p, q] * left
        pull[p] = pull[p] - share * pull[q]
        for r in below[: below.index(p) + 1]:
            taken = share * load[r, q]
            load[p, r] = load[p, r] - taken if (p, r) in load else 0.0 - taken


class Iterate(NamedTuple):
    """What Newton carries from move to move."""

    flux: Values  # of each CT, knee flux
    current: Values  # of each CT [A]
    active: Any  # 1 while a lane moves
    moved: Any  # square of its last move, all CTs together

    def all(self) -> list[Any]:
        return [*self.flux, *self.current, self.active, self.moved]

    @classmethod
    def of(cls, numbers: list[Any]) -> Iterate:
        """The other way."""
        cts = len(numbers) // 2 - 1
        return cls(numbers[:cts], numbers[cts:-2], *numbers[-2:])


def newton(
    w: Any,
    wiring: Wiring,
    ideal: Values,
    sides: tuple[Values, Values],
    now: Iterate,
    *,
    again: bool,
) -> Iterate:
    """One Newton move; from the second on of the lanes that still move.

    The stage's Jacobian is I + D + G·Aᵀ·R_leg·A·diag(slope) with D = diag(G·R·slope): by Woodbury
    a system of the size of the legs. The currents follow along the tangent, so that a last move
    needs no further look at the characteristic.

    Parameters
    ----------
    w : rows
    wiring : Wiring
    ideal : sequence of numbers
        Of each CT, current without excitation (A).
    sides : two sequences of numbers
        The stage's right-hand side, and what the first flux has more than it (knee flux).
    now : Iterate
    again : bool

    Returns
    -------
    Iterate
    """
    zero, cts = w.number(0.0), range(wiring.cts)

    def moving(then: Any, otherwise: Any) -> Any:
        return zero.less(now.active, then, otherwise) if again else then

    start, (rhs, ahead) = now.flux, sides
    if again:  # a move too far would take many back
        limits = [w[at.LIMIT + c] for c in cts]
        start = [clip(m, 0.0 - limit, limit) for m, limit in zip(start, limits, strict=True)]
        ahead = [start[c] - rhs[c] for c in cts]
    excited = [excite(w, c, wiring.power[c], start[c]) for c in cts]
    slope = [each[1] for each in excited]
    current = [moving(ideal[c] - excited[c][0], now.current[c]) for c in cts]
    volts = across(w, wiring, current)
    inverse = inverses([1.0 + w[at.OWN + c] * slope[c] for c in cts])
    off = [ahead[c] - w[at.OWN + c] * current[c] - w[at.GAIN + c] * volts[c] for c in cts]
    move = [off[c] * inverse[c] for c in cts]
    weight = [w[at.GAIN + c] * inverse[c] for c in cts]
    volts = legs_voltages(
        w, wiring, [weight[c] * slope[c] for c in cts], [slope[c] * move[c] for c in cts]
    )
    flux, after, moved = [], [], zero
    for c, more in enumerate(signed_sums(volts, wiring.of_cts)):
        pull = moving(move[c] - weight[c] * more, zero)
        flux.append(start[c] - pull)
        after.append(current[c] + slope[c] * pull)
        moved = moved + pull * pull
    moved = moving(moved, now.moved)
    active = w.number(_TOLERANCE**2).less(moved, now.active, zero)
    return Iterate(flux, after, active, moved)
