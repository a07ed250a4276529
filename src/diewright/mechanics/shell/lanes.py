"""Local rows of numbers, and logarithm, exponential and power that a compiler can do for many lanes at once.

Calls into the mathematical library keep a loop scalar. The functions here are straight-line: range reduction on the bits of the number and
a polynomial, within about 2 units in the last place of float32 and float64 over the normal numbers above zero (``tests/shell/test_shell_block.py``). They
are for kernels on the CPU; the scalar functions of the shell keep the library's, which a GPU has too.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic
from numba.np.arrayobj import populate_array

from diewright.mechanics.shell.layout import C_COUNT, INLINE

LANES = 64  # elements worked on together
_COLUMNS = C_COUNT  # of a local table
SINGLES = 16  # single-precision numbers in the widest vector register

# bits, where the exponent starts, bits of sqrt(1/2) rounded down: where the reduced range begins
_FORMAT = {types.float64: (64, 52, 0x3FE6A09E00000000), types.float32: (32, 23, 0x3F3504F3)}


def _room(context: Any, builder: Any, kind: Any) -> Any:
    """An array of ``LANES`` rows on the stack: shared with no argument, which the compiler can see."""
    columns = _COLUMNS if kind.ndim == 2 else 1
    item = context.get_value_type(kind.dtype)
    with builder.goto_entry_block():
        data = builder.alloca(item, size=ir.Constant(ir.IntType(32), LANES * columns))
        data.align = 64
    size = context.get_abi_sizeof(item)
    array = context.make_array(kind)(context, builder)
    whole = ir.IntType(64)
    populate_array(
        array,
        data=data,
        shape=[whole(LANES), whole(columns)][: kind.ndim],
        strides=[whole(size), whole(size * LANES)][: kind.ndim],
        itemsize=whole(size),
        meminfo=None,
    )
    return array._getvalue()


def _row(typing_context: Any, like: Any) -> Any:
    """A local array ``(LANES,)`` of the type of ``like``; not set to anything."""
    kind = types.Array(types.int64 if isinstance(like, types.Integer) else like, 1, "C")

    def build(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return _room(context, builder, signature.return_type)

    return kind(like), build


def _rows3(typing_context: Any, like: Any) -> Any:
    """Three of :func:`row`."""

    def build(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        kind = signature.return_type
        return context.make_tuple(builder, kind, [_room(context, builder, kind.dtype) for _ in range(3)])

    return types.UniTuple(types.Array(like, 1, "C"), 3)(like), build


def _columns(typing_context: Any, like: Any) -> Any:
    """A local array ``(LANES, C_COUNT)`` of the type of ``like``, column by column; not set to anything."""

    def build(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return _room(context, builder, signature.return_type)

    return types.Array(like, 2, "F")(like), build


@njit(**INLINE)
def whole(count, like):  # noqa: ANN201
    """``count`` rounded up to whole registers of numbers of the type of ``like``: no loop has lanes left over."""
    r = type(like)
    register = SINGLES if r(1.0) + r(1e-12) == r(1.0) else SINGLES // 2
    return (count + register - 1) // register * register


def _one_by_one(typing_context: Any) -> Any:
    """No instruction, but a loop that holds it stays scalar: reading rows of a table by vector instructions costs twice the time."""

    def build(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        builder.asm(ir.FunctionType(ir.VoidType(), []), "", "", [], True)
        return context.get_dummy_value()

    return types.void(), build


def _reduced_bits(typing_context: Any, x: Any) -> Any:
    """``(m, k)`` with ``x = m 2^k``, ``m`` from sqrt(1/2) to sqrt(2), ``k`` as a number of the same type."""
    if x not in _FORMAT:
        return None
    bits, start, low = _FORMAT[x]

    def build(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        whole = ir.IntType(bits)
        real = context.get_value_type(x)
        i = builder.bitcast(args[0], whole)
        above = builder.sub(i, whole(low))
        k = builder.ashr(above, whole(start))
        m = builder.bitcast(builder.sub(i, builder.shl(k, whole(start))), real)
        return context.make_tuple(builder, signature.return_type, (m, builder.sitofp(k, real)))

    return types.UniTuple(x, 2)(x), build


def _scaled_bits(typing_context: Any, p: Any, k: Any) -> Any:
    """``p 2^k``, where ``k`` has been rounded by adding 1.5 times the power of two at which a unit is the last place."""
    if p not in _FORMAT or k != p:
        return None
    bits, start, _ = _FORMAT[p]

    def build(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        whole = ir.IntType(bits)
        shift = builder.shl(builder.bitcast(args[1], whole), whole(start))
        return builder.bitcast(builder.add(builder.bitcast(args[0], whole), shift), context.get_value_type(p))

    return p(p, k), build


# What kernels call; the functions above tell the compiler their types and code.
row: Any = intrinsic(_row)
rows3: Any = intrinsic(_rows3)
columns: Any = intrinsic(_columns)
one_by_one: Any = intrinsic(_one_by_one)
_reduced: Any = intrinsic(_reduced_bits)
_scaled: Any = intrinsic(_scaled_bits)


@njit(**INLINE)
def ln(x):  # noqa: ANN201
    """Natural logarithm of a normal number above zero: ``k ln 2 + ln m``, ``ln m`` by its series in ``f/(2 + f)``, ``f = m - 1``, made minimax."""
    r = type(x)
    m, k = _reduced(x)
    f = m - r(1.0)
    s = f / (r(2.0) + f)
    z = s * s
    h = r(0.5) * f * f
    if r(1.0) + r(1e-12) == r(1.0):
        t = z * (r(0.66666662693) + z * (r(0.40000972152) + z * (r(0.28498786688) + z * r(0.24279078841))))
        return k * r(0.693138122558594) - ((h - (s * (h + t) + k * r(9.05800061445916e-06))) - f)
    t = z * (
        r(0.6666666666666735)
        + z
        * (
            r(0.3999999999940942)
            + z
            * (
                r(0.2857142874366239)
                + z * (r(0.22222198432149784) + z * (r(0.1818357216161805) + z * (r(0.15313837699209373) + z * r(0.14798198605116586))))
            )
        )
    )
    return k * r(0.6931471803691238) - ((h - (s * (h + t) + k * r(1.9082149292705877e-10))) - f)


@njit(**INLINE)
def ex(x):  # noqa: ANN201
    """Exponential: ``2^k`` times the series of the rest, at most ``ln(2)/2``. Held at the ends of the normal numbers."""
    r = type(x)
    one = r(1.0)
    if one + r(1e-12) == one:
        x = min(max(x, r(-87.0)), r(88.0))
        shift = r(12582912.0)
        kk = x * r(1.4426950408889634) + shift
        k = kk - shift
        f = (x - k * r(0.693359375)) + k * r(2.12194440e-4)
        p = r(1.0 / 120.0) + f * (r(1.0 / 720.0) + f * r(1.0 / 5040.0))
        p = one + f * (one + f * (r(0.5) + f * (r(1.0 / 6.0) + f * (r(1.0 / 24.0) + f * p))))
        return _scaled(p, kk)
    x = min(max(x, r(-708.0)), r(709.0))
    shift = r(6755399441055744.0)
    kk = x * r(1.4426950408889634) + shift
    k = kk - shift
    f = (x - k * r(0.6931471803691238)) - k * r(1.9082149292705877e-10)
    p = r(1.0 / 479001600.0) + f * r(1.0 / 6227020800.0)
    p = r(1.0 / 3628800.0) + f * (r(1.0 / 39916800.0) + f * p)
    p = r(1.0 / 40320.0) + f * (r(1.0 / 362880.0) + f * p)
    p = r(1.0 / 720.0) + f * (r(1.0 / 5040.0) + f * p)
    p = r(1.0 / 24.0) + f * (r(1.0 / 120.0) + f * p)
    p = one + f * (one + f * (r(0.5) + f * (r(1.0 / 6.0) + f * p)))
    return _scaled(p, kk)
