"""Machine code from plain Python: LANES numbers that write down what is done with them.

A function that is given such numbers runs once, while code is made for one circuit. Its loops leave
straight code without a table to look up, which neither Numba nor a reader has to see through.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from llvmlite import ir

from montecarlo.secondary.lanes import FLAGS, LANES, VECTOR

_WHOLE = ir.IntType(LANES)
Once = Callable[[list["Emitted"], bool], tuple[list["Emitted"], Any]]


def number(value: float) -> ir.Constant:
    """The same number in every lane.

    Parameters
    ----------
    value : float

    Returns
    -------
    llvmlite constant
    """
    return ir.Constant(VECTOR, [value] * LANES)


def align_stack(function: ir.Function) -> None:
    """Numbers that find no register cross no cache line. Else it hangs on where a process has its
    stack, and costs up to a fifth of the time.

    Parameters
    ----------
    function : llvmlite function
        Changed.
    """
    function.attributes.alignstack = 8 * LANES
    function.attributes.add("nounwind")  # llvmlite writes no alignment that stands alone


class Emitted:
    """LANES numbers of code that is being written."""

    def __init__(self, builder: ir.IRBuilder, value: Any) -> None:
        self.builder, self.value = builder, value

    def _of(self, other: Any) -> Any:
        return other.value if isinstance(other, Emitted) else number(other)

    def _by(self, instruction: str, one: Any, other: Any) -> Emitted:
        done = getattr(self.builder, instruction)(one, other, flags=FLAGS)
        return Emitted(self.builder, done)

    def __add__(self, other: Any) -> Emitted:
        return self._by("fadd", self.value, self._of(other))

    def __radd__(self, other: Any) -> Emitted:
        return self._by("fadd", self._of(other), self.value)

    def __sub__(self, other: Any) -> Emitted:
        return self._by("fsub", self.value, self._of(other))

    def __rsub__(self, other: Any) -> Emitted:
        return self._by("fsub", self._of(other), self.value)

    def __mul__(self, other: Any) -> Emitted:
        return self._by("fmul", self.value, self._of(other))

    def __rmul__(self, other: Any) -> Emitted:
        return self._by("fmul", self._of(other), self.value)

    def __truediv__(self, other: Any) -> Emitted:
        return self._by("fdiv", self.value, self._of(other))

    def __rtruediv__(self, other: Any) -> Emitted:
        return self._by("fdiv", self._of(other), self.value)

    def __abs__(self) -> Emitted:
        kind = ir.FunctionType(VECTOR, [VECTOR])
        name = f"llvm.fabs.v{LANES}f64"
        module = self.builder.module
        absolute = module.globals.get(name) or ir.Function(module, kind, name)
        return Emitted(self.builder, self.builder.call(absolute, [self.value]))

    def less(self, bound: Any, then: Any, otherwise: Any) -> Emitted:
        """`then` where this is less than `bound`, else `otherwise`, also where one of the two is
        not a number.

        Parameters
        ----------
        bound, then, otherwise : Emitted or float

        Returns
        -------
        Emitted
        """
        where = self.builder.fcmp_ordered("<", self.value, self._of(bound))
        return Emitted(
            self.builder, self.builder.select(where, self._of(then), self._of(otherwise))
        )

    def equals(self, other: Any, then: Any, otherwise: Any) -> Emitted:
        """`then` where this equals `other`, else `otherwise`.

        Parameters
        ----------
        other, then, otherwise : Emitted or float

        Returns
        -------
        Emitted
        """
        where = self.builder.fcmp_ordered("==", self.value, self._of(other))
        return Emitted(
            self.builder, self.builder.select(where, self._of(then), self._of(otherwise))
        )

    def any_positive(self) -> Any:
        """Whether a lane is > 0.

        Returns
        -------
        llvmlite value
            One bit.
        """
        lanes = self.builder.fcmp_ordered(">", self.value, number(0.0))
        bits = self.builder.bitcast(lanes, _WHOLE)
        return self.builder.icmp_unsigned("!=", bits, ir.Constant(_WHOLE, 0))


class Rows:
    """The rows of a workspace (rows, LANES), read and written by their number."""

    def __init__(self, builder: ir.IRBuilder, first: Any) -> None:
        self.builder, self.first = builder, first

    def _place(self, row: int) -> Any:
        start = ir.Constant(ir.IntType(64), row * LANES)
        return self.builder.bitcast(self.builder.gep(self.first, [start]), VECTOR.as_pointer())

    def __getitem__(self, row: int) -> Emitted:
        return Emitted(self.builder, self.builder.load(self._place(row), align=64))

    def number(self, value: float) -> Emitted:
        """The same number in every lane.

        Parameters
        ----------
        value : float

        Returns
        -------
        Emitted
        """
        return Emitted(self.builder, number(value))

    def __setitem__(self, row: int, value: Emitted) -> None:
        self.builder.store(value.value, self._place(row), align=64)


def repeated(builder: ir.IRBuilder, start: list[Emitted], most: int, once: Once) -> list[Emitted]:
    """Code that does something once, and again in a loop where that is asked for.

    Parameters
    ----------
    builder : llvmlite builder
        At its end when this returns.
    start : list of Emitted
        What is carried along.
    most : int
        Rounds.
    once : callable
        From what is carried, and whether this is the code of the loop, to what is carried next and
        the bit that asks for another round.

    Returns
    -------
    list of Emitted
        After the last round.
    """
    first, more = once(start, False)
    before, index = builder.block, ir.IntType(64)
    loop, after = (builder.append_basic_block(name) for name in ("again", "after"))
    builder.cbranch(more, loop, after).set_weights([1, 99])
    builder.position_at_end(loop)
    count = builder.phi(index)
    count.add_incoming(ir.Constant(index, 1), before)
    carried = [builder.phi(VECTOR) for _ in first]
    last, more = once([Emitted(builder, phi) for phi in carried], True)
    end = builder.block
    count.add_incoming(builder.add(count, ir.Constant(index, 1)), end)
    left = builder.icmp_signed("<", count, ir.Constant(index, most - 1))
    builder.cbranch(builder.and_(more, left), loop, after)
    builder.position_at_end(after)
    result = [builder.phi(VECTOR) for _ in first]
    for phis in (carried, result):
        for phi, one, other in zip(phis, first, last, strict=True):
            phi.add_incoming(one.value, before)
            phi.add_incoming(other.value, end)
    return [Emitted(builder, phi) for phi in result]
