"""What compiled code reads: a problem as plain integers, and the arrays that it points into.

numba takes named tuples of arrays, not objects. Nothing here needs numba itself.
"""

from __future__ import annotations

from typing import Any, NamedTuple

# Kinds of factors; `lowering` says what the parameters of each are.
GIVEN, COMPLAINT_SWITCH, IF_ON, COMPLAINT_IF_ON, LONE_SWITCH, LONE = range(6)
MEMBER, MEMBER_SWITCHED, MEMBER_OR_OTHER, OTHER_CAUSES, GATHERED = range(6, 11)
# What is multiplied in a bucket.
FACTOR, MESSAGE, WEIGHT = range(3)


class Sources(NamedTuple):
    """Numbers from which tables are made: (items, D or 1), the batch last."""

    prior: Any  # (V * Lmax, D)
    link: Any  # (columns of `Parameters.link`, D)
    complaint_link: Any
    leak: Any
    complaint_leak: Any
    absent: Any  # (columns, rows)
    present: Any
    given: Any
    shift: Any  # (quadratures * K, D)
    scale: Any  # (quadratures, D)


class Tables(NamedTuple):
    """Factors, members of families and foldings, as integers."""

    sizes: Any  # of every variable
    paired: Any  # whether a condition's prior is in a pair's table
    kind: Any
    start: Any  # first parameter of each factor, and the end
    parameter: Any
    at: Any  # first entry of each factor's table, and the end
    member_start: Any
    member: Any  # parameters of each member: reading, column, quadrature, then arcs and levels
    member_at: Any  # first entry of each member's table of P(absent), and the end
    fold: Any  # (n, 4): column, variable, first link, levels
    folded: Any  # (n, 2): column, reading
    single: Any  # (n, 5): column, reading, variable or -1, first link, levels


class Steps(NamedTuple):
    """Buckets in order of elimination."""

    variable: Any
    size: Any
    message: Any  # entries of each message
    table_at: Any  # first entry of each bucket's table, and the end
    message_at: Any  # first row of each message in the pool
    operand_start: Any
    operand: Any  # (n, 4): what, its number, first entry of its map, its first row in the pool
    map: Any  # for each entry of the bucket, the entry of the operand
    parent: Any
    wanted: Any
