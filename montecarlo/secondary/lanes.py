"""LANES numbers side by side as one value, so that compiled code reads like scalar code and runs on
vector units.

Only for code that Numba compiles. A value comes from a row of a C-contiguous (rows, LANES) array by
`load` or from one number by `splat`; + - * / take values and numbers alike. Whatever the processor,
each lane is computed by itself: no lane's result depends on its neighbours. Not a number stays not
a number."""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic, models, overload, register_model

LANES = 8
FLAGS = ("contract", "nsz", "arcp")  # no nnan, no ninf: bad values must stay visible
VECTOR = ir.VectorType(ir.DoubleType(), LANES)
_WHICH = ir.VectorType(ir.IntType(32), LANES)

Lanes = Any  # what `load` gives, as far as Python's types go
Code = Callable[..., Any]


class LanesType(types.Type):
    """Numba's type of LANES numbers."""

    def __init__(self) -> None:
        super().__init__("Lanes")


_lanes = LanesType()


@register_model(LanesType)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, manager: Any, numba_type: Any) -> None:
        super().__init__(manager, numba_type, VECTOR)


def _repeat(builder: Any, value: Any) -> Any:
    whole = ir.Constant(VECTOR, ir.Undefined)
    first = builder.insert_element(whole, value, ir.Constant(ir.IntType(32), 0))
    return builder.shuffle_vector(first, whole, _WHICH([0] * LANES))


def place(context: Any, builder: Any, array_type: Any, array: Any, row: Any) -> Any:
    start = builder.mul(row, ir.Constant(row.type, LANES))
    place = builder.gep(context.make_array(array_type)(context, builder, array).data, [start])
    return builder.bitcast(place, VECTOR.as_pointer())


# --- rows and numbers ---------------------------------------------------------


@intrinsic
def load(typing: Any, array: Any, row: Any) -> tuple[Any, Code]:
    """Row `row` of an array (rows, LANES).

    Parameters
    ----------
    typing : typing context
        Numba's.
    array : ndarray, (rows, LANES)
    row : int

    Returns
    -------
    Lanes
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return builder.load(place(context, builder, signature.args[0], *args), align=8)

    return _lanes(array, types.intp), code


@intrinsic
def store(typing: Any, array: Any, row: Any, value: Any) -> tuple[Any, Code]:
    """Row `row` of an array (rows, LANES) becomes `value`.

    Parameters
    ----------
    typing : typing context
        Numba's.
    array : ndarray, (rows, LANES)
    row : int
    value : Lanes

    Returns
    -------
    None
        In compiled code.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        builder.store(args[2], place(context, builder, signature.args[0], *args[:2]), align=8)
        return context.get_dummy_value()

    return types.void(array, types.intp, _lanes), code


@intrinsic
def splat(typing: Any, value: Any) -> tuple[Any, Code]:
    """One number in every lane.

    Parameters
    ----------
    typing : typing context
        Numba's.
    value : float

    Returns
    -------
    Lanes
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return _repeat(builder, args[0])

    return _lanes(types.float64), code


@intrinsic
def turn(typing: Any, into: Any, row: Any, step: Any, rows: Any, column: Any) -> tuple[Any, Code]:
    """LANES numbers of each of LANES rows, the rows' numbers side by side.

    Parameters
    ----------
    typing : typing context
        Numba's.
    into : ndarray, (rows, LANES)
        Every `step`-th row from `row` on is written, LANES in all.
    row, step : int
    rows : ndarray, (LANES, columns)
        Each contiguous.
    column : int
        The first one that is read.

    Returns
    -------
    None
        In compiled code.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        array = context.make_array(signature.args[3])(context, builder, args[3])
        (stride, _) = cgutils.unpack_tuple(builder, array.strides)
        start = builder.ptrtoint(builder.gep(array.data, [args[4]]), stride.type)
        values = []
        for b in range(LANES):
            at = builder.add(start, builder.mul(stride, stride.type(b)))
            values.append(builder.load(builder.inttoptr(at, VECTOR.as_pointer()), align=8))
        for k, value in enumerate(_turned(builder, values)):
            to = builder.add(args[1], builder.mul(args[2], args[2].type(k)))
            builder.store(value, place(context, builder, signature.args[0], args[0], to), align=8)
        return context.get_dummy_value()

    return types.void(into, types.intp, types.intp, rows, types.intp), code


def _turned(builder: Any, rows: list[Any]) -> list[Any]:
    """A square's columns from its rows: blocks on either side of the diagonal change places, of one
    number, two, four."""
    width = 1
    while width < LANES:
        # numbers of the row and of the one `width` on, whose numbers count from LANES on
        upper = [j - width + LANES if j & width else j for j in range(LANES)]
        lower = [j + LANES if j & width else j + width for j in range(LANES)]
        turned = list(rows)
        for r in range(LANES):
            if not r & width:
                pair = rows[r], rows[r + width]
                turned[r] = builder.shuffle_vector(*pair, _WHICH(upper))
                turned[r + width] = builder.shuffle_vector(*pair, _WHICH(lower))
        rows, width = turned, 2 * width
    return rows


# --- arithmetic ---------------------------------------------------------------


def _arithmetic(operation: Any, instruction: str) -> None:
    @intrinsic
    def apply(typing: Any, a: Any, b: Any) -> tuple[Any, Code]:
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            both = [
                value if kind == _lanes else _repeat(builder, value)
                for value, kind in zip(args, signature.args, strict=True)
            ]
            return getattr(builder, instruction)(*both, flags=FLAGS)

        return _lanes(*(_lanes if kind == _lanes else types.float64 for kind in (a, b))), code

    # Numba wants both signatures alike, and a lambda has no types.
    def choose(a, b):  # type: ignore[no-untyped-def]
        return (lambda a, b: apply(a, b)) if _lanes in (a, b) else None

    overload(operation)(choose)


for _operation, _instruction in (
    (operator.add, "fadd"),
    (operator.sub, "fsub"),
    (operator.mul, "fmul"),
    (operator.truediv, "fdiv"),
):
    _arithmetic(_operation, _instruction)


def _function(name: str) -> Any:
    @intrinsic
    def apply(typing: Any, a: Any) -> tuple[Any, Code]:
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            kind = ir.FunctionType(VECTOR, [VECTOR])
            return builder.call(
                cgutils.get_or_insert_function(builder.module, kind, f"llvm.{name}.v{LANES}f64"),
                args,
            )

        return _lanes(_lanes), code

    return apply


square_root, size = _function("sqrt"), _function("fabs")


@intrinsic
def where_less(typing: Any, a: Any, b: Any, then: Any, otherwise: Any) -> tuple[Any, Code]:
    """`then` where a < b, else `otherwise`, also where a or b is not a number.

    Parameters
    ----------
    typing : typing context
        Numba's.
    a, b, then, otherwise : Lanes

    Returns
    -------
    Lanes
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return builder.select(builder.fcmp_ordered("<", args[0], args[1]), args[2], args[3])

    return _lanes(_lanes, _lanes, _lanes, _lanes), code


@intrinsic
def any_positive(typing: Any, a: Any) -> tuple[Any, Code]:
    """Whether any lane is > 0.

    Parameters
    ----------
    typing : typing context
        Numba's.
    a : Lanes

    Returns
    -------
    bool
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        lanes = builder.fcmp_ordered(">", args[0], ir.Constant(VECTOR, None))
        bits = builder.bitcast(lanes, ir.IntType(LANES))
        return builder.icmp_unsigned("!=", bits, ir.Constant(bits.type, 0))

    return types.boolean(_lanes), code
