"""Tables of the readings of a family, over the node of their mechanism and their core parents."""

from __future__ import annotations

import numpy as np

from sidewise.ground.arrays import Array, IndexArray
from sidewise.network import families
from sidewise.network.factors import Gathered, Member, MemberOrOther, MemberSwitched, Scope
from sidewise.network.families import node_probability
from sidewise.network.plain.block import Block, ordered, signed
from sidewise.network.plain.noisy_or import absent_table


def member_table(member: Member, block: Block) -> Array:
    """Likelihood of what was observed, no cause beside the core: (K, core..., B)."""
    absent, present = block.weights(member.column)
    table = _absent_table(member, block, member.core)
    if not present.any():
        return _scaled(table, absent)
    return np.asarray(present + (absent - present) * table)


def switched_table(factor: MemberSwitched, block: Block) -> Array:
    """Over the switch, the node and the core."""
    present = block.weights(factor.member.column)[1]
    return signed(block, present, member_table(factor.member, block) - present)


def member_or_other_table(factor: MemberOrOther, block: Block) -> Array:
    """Over the helper, the node and the core."""
    table = member_table(factor.member, block)
    present = block.weights(factor.member.column)[1]
    both = np.empty((2, *table.shape[:-1], max(table.shape[-1], len(present))))
    both[0], both[1] = table, present
    return both


def gathered_table(factor: Gathered, block: Block) -> Array:
    """Over the node and the core."""
    members, core = factor.members, factor.scope[1:]
    table = _by_logs(members, block, core)
    if table is None:
        says = [_speaking_rows(member, block) for member in members]
        table = _times_members(members, says, block, core)
    return table


def _speaking_rows(member: Member, block: Block) -> IndexArray | None:
    """Rows in which the member says something; None: in all."""
    evidence = block.evidence
    if evidence.always[member.column]:
        return None
    says = evidence.says[member.column]
    return np.flatnonzero(says if len(says) == 1 else says[block.part])


def _absent_table(member: Member, block: Block, core: Scope) -> Array:
    """P(absent | node, core), no cause beside the core: (K, core..., D)."""
    if block.network.draws > 1:
        table = _fresh_absent_table(member, block)
    else:
        # One set of parameters is asked for the same tables by effects, gain and records.
        cache, key = block.network.cache, f"absent {member.reading}"
        if key not in cache:
            cache[key] = _fresh_absent_table(member, block)
        table = cache[key]
    return ordered(table, (member.node, *member.core), (member.node, *core))


def _fresh_absent_table(member: Member, block: Block) -> Array:
    # Keyed by the figures themselves: the same sign on the other side has the same table, and Phi
    # costs far more than comparing bytes.
    nodes = member.nodes(block.network)
    present = 1.0 - absent_table(block, member.reading, member.core)
    key = (id(nodes.shift), present.shape, present.tobytes())
    table = block.alike.get(key)
    if table is None:
        shift, scale = block.cut(nodes.shift), block.cut(nodes.scale)
        table = block.alike[key] = node_probability(present, shift, scale, -1.0)
    return table


def _by_logs(members: tuple[Member, ...], block: Block, core: Scope) -> Array | None:
    """(K, core..., B) what the members say in each row, as the exponential of a matrix product.

    For one set of parameters and plainly absent findings; None where that cannot be done.
    """
    plain, always = block.evidence.plainly_absent, block.evidence.always
    several = block.evidence.rows > 1 and not all(always[m.column] for m in members)
    if block.network.draws > 1 or not several or not all(plain[m.column] for m in members):
        return None
    tables = [_absent_table(member, block, core) for member in members]
    with np.errstate(divide="ignore"):
        logs = np.log(np.stack([np.broadcast_to(t, tables[0].shape) for t in tables]))
    # An impossible entry has log minus infinity; the product by rows then takes over.
    if not np.isfinite(logs).all():
        return None
    says = block.evidence.says[[m.column for m in members], block.part]
    whole = logs.reshape(len(members), -1).T @ says.astype(float)
    return np.asarray(np.exp(whole, out=whole).reshape(*tables[0].shape[:-1], block.width))


def _times_members(
    members: tuple[Member, ...],
    says: list[IndexArray | None],
    block: Block,
    core: Scope,
) -> Array:
    """(K, core..., B) the product of what each member says in the rows where it speaks."""
    table: Array = np.ones([1] * (len(core) + 2))
    for member, rows in zip(members, says, strict=True):
        if rows is None:
            table = table * _scaled(_absent_table(member, block, core), _weight(member, block))
    if any(rows is not None for rows in says):
        table = np.array(np.broadcast_to(table, (*_full(block, core), block.width)))
    for member, rows in zip(members, says, strict=True):
        if rows is not None:
            own, weight = _absent_table(member, block, core), _weight(member, block)
            table[..., rows] *= _rows(own, rows) * _rows(weight, rows)
    return table


def _full(block: Block, core: Scope) -> tuple[int, ...]:
    levels = block.network.structure.levels
    return (families.NODES, *[levels[v] for v in core])


def _rows(value: Array, rows: IndexArray) -> Array:
    return value if value.shape[-1] == 1 else value[..., rows]


def _scaled(table: Array, weight: Array) -> Array:
    return table if (weight == 1.0).all() else np.asarray(table * weight)


def _weight(member: Member, block: Block) -> Array:
    """Likelihood of the observation were the finding absent."""
    return block.weights(member.column)[0]
