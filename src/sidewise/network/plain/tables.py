"""The table of each kind of factor, made for a stretch of the batch.

`table_of` hands a table over with its axes in any order asked, the batch last.
"""

from __future__ import annotations

from typing import assert_never

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.factors import (
    ComplaintSwitch,
    Factor,
    Gathered,
    Given,
    Hurts,
    Lone,
    LoneSwitch,
    MemberAlone,
    MemberOrOther,
    MemberSwitched,
    OtherCauses,
    Scope,
    Spares,
)
from sidewise.network.plain.block import Block, ordered, signed
from sidewise.network.plain.members import (
    gathered_table,
    member_or_other_table,
    member_table,
    switched_table,
)
from sidewise.network.plain.noisy_or import absent_table, likelihood_of, spared_table


def table_of(factor: Factor, block: Block, scope: Scope) -> Array:
    """The factor's table, axes in the order of `scope` and the batch last."""
    if isinstance(factor, Lone):
        # Its parents may be multiplied in any order, so that nothing needs to be turned.
        quiet = absent_table(block, factor.reading, scope)
        return likelihood_of(quiet, *block.weights(factor.column))
    return ordered(_in_own_order(factor, block), factor.scope, scope)


def _in_own_order(factor: Factor, block: Block) -> Array:
    match factor:
        case Given():
            return block.cut(factor.find(block.network))
        case MemberAlone():
            return member_table(factor.member, block)
        case MemberSwitched():
            return switched_table(factor, block)
        case MemberOrOther():
            return member_or_other_table(factor, block)
        case OtherCauses():
            return _other_causes(factor, block)
        case Gathered():
            return gathered_table(factor, block)
        case Spares():
            return _if_on(spared_table(block, factor.reading, factor.scope[1:]))
        case LoneSwitch():
            return _lone_switch(factor, block)
        case ComplaintSwitch():
            leak = block.parameter("complaint_leak")[factor.complaint]
            return signed(block, np.ones_like(leak), leak - 1.0)
        case Hurts():
            kept = block.network.complaint_kept[factor.arc, : factor.levels]
            return _if_on(block.cut(kept))
        case Lone():
            raise AssertionError("made in the order asked")
        case _:
            assert_never(factor)


def _lone_switch(factor: LoneSwitch, block: Block) -> Array:
    """The two weights of the switch; the products are in `Spares`."""
    absent, present = block.weights(factor.column)
    quiet = 1.0 - block.parameter("leak")[factor.reading]
    return signed(block, present, (absent - present) * quiet)


def _other_causes(factor: OtherCauses, block: Block) -> Array:
    """Over the helper and the parents beside the core."""
    spared = spared_table(block, factor.reading, factor.scope[1:])
    both = np.empty((2, *spared.shape))
    both[0] = spared
    np.subtract(1.0, spared, out=both[1])
    return both


def _if_on(kept: Array) -> Array:
    """(2, L, B) 1 with the switch off, `kept` (L, B) with it on."""
    table = np.ones((2, *kept.shape))
    table[1] = kept
    return table
