"""Machine code of one circuit's stages, from the plain Python of `stage`."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import callback
from montecarlo.secondary import workspace as at
from montecarlo.secondary.emitted import Emitted, Rows, align_stack, repeated
from montecarlo.secondary.lanes import place
from montecarlo.secondary.stage import (
    STARTS,
    W0,
    W1,
    Iterate,
    Values,
    Wiring,
    across,
    excite,
    keep,
    newton,
    signed_sums,
)
from montecarlo.secondary.workspace import check_room

FIRST, SECOND, START = 0, 1, 2  # what a call does: a stage, or currents under a new source
_MAX_ITERATIONS = 60


def _ideal(w: Rows, source: Rows, wiring: Wiring) -> list[Any]:
    """Of each CT, the current less what is fixed of the exciting current."""
    return [
        w[at.TURNS + c] * source[channel] - w[at.FIXED + c]
        for c, channel in enumerate(wiring.channel)
    ]


def _stage(w: Rows, source: Rows, wiring: Wiring, *, second: bool) -> None:
    """The last stage's state is kept; then this stage's right-hand side, and a start for Newton
    from the last two values of F: DRIVE is weight·F, which a stage that has converged leaves as
    flux - RHS. Newton until no lane moves; then the legs' currents."""
    cts, ideal = range(wiring.cts), _ideal(w, source, wiring)
    straight, bent = STARTS[second]
    flux, rhs, ahead = [], [], []  # ahead: what the start has more than the right-hand side
    for c in cts:
        keep(w, c)
        m, before = w[at.FLUX + c], w[at.BEFORE + c]
        drive = m - w[at.RHS + c]
        bend = drive - w[at.DRIVE + c]
        if second:
            rhs.append(W1 * m - W0 * before)
            flux.append(m + straight * drive + bent * bend)
            ahead.append(flux[c] - rhs[c])
        else:
            rhs.append(m + drive)
            ahead.append((straight - 1.0) * drive + bent * bend)
            flux.append(rhs[c] + ahead[c])
            w[at.BEFORE + c] = m
        w[at.DRIVE + c], w[at.RHS + c] = drive, rhs[c]

    def move(carried: list[Emitted], again: bool) -> tuple[list[Emitted], Any]:
        now = Iterate.of(carried)
        then = newton(w, wiring, ideal, (rhs, ahead), now, again=again)
        return then.all(), then.active.any_positive()

    start = Iterate(flux, flux, w[at.LIVE], w.number(0.0))
    found = Iterate.of(repeated(w.builder, start.all(), _MAX_ITERATIONS, move))
    for c in cts:
        w[at.NEXT + c], w[at.CURRENT + c] = found.flux[c], found.current[c]
    _sum_legs(w, wiring, found.current)
    zero = w.number(0.0)
    worst, moved = w[at.WORST], zero.less(w[at.LIVE], found.moved, zero)
    w[at.WORST] = worst.less(moved, moved, worst)


def _start(w: Rows, source: Rows, wiring: Wiring) -> None:
    """Currents of the last stage's flux and stops under a source that has just come. Their F stands
    for that of a point before too, which had another source."""
    cts = range(wiring.cts)
    for c in cts:
        keep(w, c)
    ideal = _ideal(w, source, wiring)
    current = [ideal[c] - excite(w, c, wiring.power[c], w[at.FLUX + c])[0] for c in cts]
    for c, volts in enumerate(across(w, wiring, current)):
        drive = w[at.OWN + c] * current[c] + w[at.GAIN + c] * volts
        w[at.CURRENT + c], w[at.DRIVE + c] = current[c], drive
        w[at.RHS + c] = w[at.FLUX + c] - drive
    _sum_legs(w, wiring, current)


def _sum_legs(w: Rows, wiring: Wiring, current: Values) -> None:
    for p, sum_ in enumerate(signed_sums(current, wiring.table)):
        w[at.LEG + p] = sum_


@intrinsic(prefer_literal=True)  # type: ignore[untyped-decorator]
def _emitted(typing: Any, first: Any, source: Any, what: Any, wiring: Any) -> Any:
    """The code of `compiled`, for Numba; `wiring` is JSON, known while code is made."""
    made_for = Wiring(*json.loads(wiring.literal_value))

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        w, source, what = Rows(builder, args[0]), Rows(builder, args[1]), args[2]
        align_stack(builder.function)
        with builder.if_else(builder.icmp_signed("==", what, what.type(START))) as (start, stage):
            with start:
                _start(w, source, made_for)
            with stage:
                is_second = builder.icmp_signed("==", what, what.type(SECOND))
                with builder.if_else(is_second) as (second, inner):
                    with second:
                        _stage(w, source, made_for, second=True)
                    with inner:
                        _stage(w, source, made_for, second=False)
        return what

    return types.int64(first, source, what, wiring), code


def compiled(table: Array, channel: Index, power: Index) -> int:
    """Machine code of a circuit's stages, called by `run`.

    Parameters
    ----------
    table : ndarray, (legs, ct)
    channel : int ndarray, (ct,)
        Which of the source's currents each CT carries.
    power : int ndarray, (ct,)
        (S - 1)/2.

    Returns
    -------
    int
        Its address.

    Raises
    ------
    ValueError
        If the workspace holds fewer legs or CTs.
    """
    check_room(*table.shape)
    return _address(json.dumps([table.tolist(), channel.tolist(), power.tolist()]))


@cache
def _address(wiring: str) -> int:
    def stages(first, source, what):  # type: ignore[no-untyped-def]
        return _emitted(first, source, what, wiring)

    rows = types.CPointer(types.float64)
    return callback(types.int64(rows, rows, types.int64), stages)


@intrinsic  # type: ignore[untyped-decorator]
def run(typing: Any, address: Any, w: Any, sources: Any, row: Any, what: Any) -> Any:
    """What `compiled` gave, on a workspace.

    Parameters
    ----------
    typing : typing context
        Numba's.
    address : int
    w : ndarray, (rows, LANES)
        Begins on a cache line; changed.
    sources : ndarray, (rows, LANES)
        Primary currents (A); the same.
    row : int
        Of these, the first channel of the stage's end.
    what : int
        FIRST, SECOND or START.

    Returns
    -------
    int
        `what`.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        first = context.make_array(signature.args[1])(context, builder, args[1]).data
        source = place(context, builder, signature.args[2], args[2], args[3])
        whole = ir.IntType(64)
        source = builder.bitcast(source, first.type)
        kind = ir.FunctionType(whole, [first.type, first.type, whole])
        called = builder.inttoptr(args[0], kind.as_pointer())
        return builder.call(called, [first, source, args[4]])

    return types.int64(types.int64, w, sources, types.int64, types.int64), code
