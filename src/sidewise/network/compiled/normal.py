"""The normal distribution one number at a time, for compiled loops.

Phi is Hart's approximation as in `network.normal`; its quantile is Wichura's (Applied Statistics
1988; 37:477-484, algorithm AS 241, PPND16); the exponential is a rational approximation on half a
binary order (Moshier, Cephes library). Coefficients of all three from memory, tested against scipy.
Phi and the exponential have no branch, so that a loop over them becomes vector instructions.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from sidewise.network.compiled.jit import compiled, inlined
from sidewise.network.normal import BOTTOM, TOP

FURTHEST = 37.5  # Phi beyond this many standard deviations is zero, or one
WHOLE = 6755399441055744.0  # 1.5 * 2^52: adding it rounds to the nearest whole number
T6, T5, T4, T3, T2, T1, T0 = TOP
B7, B6, B5, B4, B3, B2, B1, B0 = BOTTOM


def _from_llvm(function: Callable[..., Any]) -> Any:
    return intrinsic(function)


@_from_llvm
def _bits(_context: Any, x: Any) -> Any:  # noqa: ARG001
    """The bits of a double as an integer."""

    def make(_c: Any, builder: Any, _s: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], ir.IntType(64))

    return types.int64(types.float64), make


@_from_llvm
def _double(_context: Any, x: Any) -> Any:  # noqa: ARG001
    """A double from its bits."""

    def make(_c: Any, builder: Any, _s: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], ir.DoubleType())

    return types.float64(types.int64), make


@inlined
def exponential(x: float) -> float:
    """exp(x) for -704 <= x <= 0."""
    shifted = x * 1.4426950408889634 + WHOLE
    whole = shifted - WHOLE
    x -= whole * 6.93145751953125e-1
    x -= whole * 1.42860682030941723212e-6
    square = x * x
    top = x * ((1.26177193074810590878e-4 * square + 3.02994407707441961300e-2) * square + 1.0)
    bottom = (
        (3.00198505138664455042e-6 * square + 2.52448340349684104192e-3) * square
        + 2.27265548208155028766e-1
    ) * square + 2.0
    power: float = _double((_bits(shifted) + 1023) << 52)
    return power * (bottom + top) / (bottom - top)


@inlined
def lower_tail(x: float) -> float:
    """Phi(x)."""
    y = min(abs(x), FURTHEST)
    top = (((((T6 * y + T5) * y + T4) * y + T3) * y + T2) * y + T1) * y + T0
    bottom = ((((((B7 * y + B6) * y + B5) * y + B4) * y + B3) * y + B2) * y + B1) * y + B0
    tail = exponential(-0.5 * y * y) * top / bottom
    tail = 0.0 if y >= FURTHEST else tail
    return tail if x < 0.0 else 1.0 - tail


@compiled
def quantile(p: float) -> float:
    """Phi^-1(p); infinite at zero and one."""
    q = p - 0.5
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        top = (((((((2509.0809287301226727 * r + 33430.575583588128105) * r
            + 67265.770927008700853) * r + 45921.953931549871457) * r
            + 13731.693765509461125) * r + 1971.5909503065514427) * r
            + 133.14166789178437745) * r + 3.387132872796366608)  # fmt: skip
        bottom = (((((((5226.495278852545925 * r + 28729.085735721942674) * r
            + 39307.89580009271061) * r + 21213.794301586595867) * r
            + 5394.1960214247511077) * r + 687.1870074920579083) * r
            + 42.313330701600911252) * r + 1.0)  # fmt: skip
        return q * top / bottom
    r = p if q < 0.0 else 1.0 - p
    if r <= 0.0:
        return -math.inf if q < 0.0 else math.inf
    r = math.sqrt(-math.log(r))
    if r <= 5.0:
        r -= 1.6
        top = (((((((7.7454501427834140764e-4 * r + 0.0227238449892691845833) * r
            + 0.24178072517745061177) * r + 1.27045825245236838258) * r
            + 3.64784832476320460504) * r + 5.7694972214606914055) * r
            + 4.6303378461565452959) * r + 1.42343711074968357734)  # fmt: skip
        bottom = (((((((1.05075007164441684324e-9 * r + 5.475938084995344946e-4) * r
            + 0.0151986665636164571966) * r + 0.14810397642748007459) * r
            + 0.68976733498510000455) * r + 1.6763848301838038494) * r
            + 2.05319162663775882187) * r + 1.0)  # fmt: skip
    else:
        r -= 5.0
        top = (((((((2.01033439929228813265e-7 * r + 2.71155556874348757815e-5) * r
            + 0.0012426609473880784386) * r + 0.026532189526576123093) * r
            + 0.29656057182850489123) * r + 1.7848265399172913358) * r
            + 5.4637849111641143699) * r + 6.6579046435011037772)  # fmt: skip
        bottom = (((((((2.04426310338993978564e-15 * r + 1.4215117583164458887e-7) * r
            + 1.8463183175100546818e-5) * r + 7.868691311456132591e-4) * r
            + 0.0148753612908506148525) * r + 0.13692988092273580531) * r
            + 0.59983220655588793769) * r + 1.0)  # fmt: skip
    return -top / bottom if q < 0.0 else top / bottom
