"""The tables that join variables, each made for a stretch of the batch.

A factor's `scope` lists its variables in the order of its own axes; `build` hands the table over
with the axes in any order asked, the batch last: it is the long axis, and the inner loops of numpy
then run along it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sidewise.reason.engine import families
from sidewise.reason.engine.evidence import Evidence
from sidewise.reason.engine.families import Nodes, family_nodes, node_probability
from sidewise.reason.engine.network import Array, Network

Scope = tuple[int, ...]


@dataclass(eq=False)
class Block:
    """A stretch of the batch: slices of the parameters and of the evidence, made once."""

    network: Network
    evidence: Evidence
    part: slice
    absolute: bool = False  # signs of switches left out, to see how much cancels
    # Tables of family members, by the figures they were made from: the same sign on the other
    # side has the same ones.
    alike: dict[tuple[int, tuple[int, ...], bytes], Array] = field(default_factory=dict)

    @property
    def width(self) -> int:
        """Length of the stretch."""
        return int(self.part.stop - self.part.start)

    def cut(self, value: Array) -> Array:
        """The part of an array with the batch last; arrays without a batch stay whole."""
        return value if value.shape[-1] == 1 else value[..., self.part]

    def parameter(self, name: str) -> Array:
        """A parameter, draw axis last."""
        return self.cut(self.network.by_column[name])

    def weights(self, column: int) -> tuple[Array, Array]:
        """Likelihoods of what was observed of a reading, if absent and if present."""
        evidence = self.evidence
        return self.cut(evidence.absent[:, column]), self.cut(evidence.present[:, column])


class Factor(Protocol):
    """A table over `scope` (numbers of variables), built block by block."""

    @property
    def scope(self) -> Scope:
        """Numbers of the variables in the order of the factor's own axes."""

    def build(self, block: Block, scope: Scope) -> Array:
        """The table, axes in the order of `scope` and the batch last."""


def spread(vector: Array, axis: int, axes: int) -> Array:
    """(L, B) as axis number `axis` of so many, the batch last."""
    shape = [1] * axes + [vector.shape[-1]]
    shape[axis] = vector.shape[0]
    return vector.reshape(shape)


def absent_table(block: Block, reading: int, scope: Sequence[int]) -> Array:
    """P(absent | levels of the parents in `scope`), axes in that order, the batch last."""
    table = (1.0 - block.parameter("leak")[reading]).reshape([1] * len(scope) + [-1])
    return np.asarray(table * spared_table(block, reading, scope))


def spared_table(block: Block, reading: int, scope: Sequence[int]) -> Array:
    """P(none of the parents in `scope` causes the finding | their levels): without the leak."""
    network = block.network
    structure = network.structure
    place = dict(network.linked[reading])
    first = structure.first_arc[reading]
    table = np.ones([1] * (len(scope) + 1))
    for axis, variable in enumerate(scope):
        vector = block.cut(network.kept[first + place[variable], : structure.levels[variable]])
        table = table * spread(vector, axis, len(scope))
    return np.asarray(table)


def likelihood_of(absent_probability: Array, absent: Array, present: Array) -> Array:
    """Likelihood of what was observed: absent * P + present * (1 - P)."""
    if not present.any():
        return np.asarray(absent_probability * absent)
    return np.asarray(present + (absent - present) * absent_probability)


def _ordered(table: Array, own: Scope, scope: Scope) -> Array:
    """The table with its axes, which are those of `own`, in the order of `scope`."""
    if own == scope:
        return table
    return np.asarray(table.transpose([*[own.index(v) for v in scope], table.ndim - 1]))


@dataclass(frozen=True, slots=True)
class Given:
    """A table that the network keeps: side pairs, and the nodes of families."""

    scope: Scope
    find: Callable[[Network], Array]

    def build(self, block: Block, scope: Scope) -> Array:
        """Cut from the whole."""
        return _ordered(block.cut(self.find(block.network)), self.scope, scope)


@dataclass(frozen=True, slots=True)
class ComplaintSwitch:
    """The signed weights (1, -(1 - leak)) of a complaint's switch."""

    scope: Scope
    complaint: int

    def build(self, block: Block, scope: Scope) -> Array:
        """The two weights."""
        leak = block.parameter("complaint_leak")[self.complaint]
        return _ordered(signed(block, np.ones_like(leak), leak - 1.0), self.scope, scope)


@dataclass(frozen=True, slots=True)
class Hurts:
    """1 with a complaint's switch off; with it on, 1 - c of one condition."""

    scope: Scope
    arc: int
    levels: int
    column: int  # first of its complaint links

    def build(self, block: Block, scope: Scope) -> Array:
        """(2, L) or (L, 2)."""
        kept = block.cut(block.network.complaint_kept[self.arc, : self.levels])
        return _ordered(_if_on(kept), self.scope, scope)


@dataclass(frozen=True, slots=True)
class LoneSwitch:
    """present + (absent - present) * (1 - leak) * product of kept, as a sum of two products."""

    scope: Scope
    reading: int
    column: int

    def build(self, block: Block, scope: Scope) -> Array:
        """The two weights of the switch; the products are in `Spares`."""
        absent, present = block.weights(self.column)
        quiet = 1.0 - block.parameter("leak")[self.reading]
        weights = signed(block, present, (absent - present) * quiet)
        return _ordered(weights, self.scope, scope)


@dataclass(frozen=True, slots=True)
class Spares:
    """1 with a finding's switch off; with it on, 1 - q of one parent."""

    scope: Scope
    reading: int

    def build(self, block: Block, scope: Scope) -> Array:
        """(2, L) or (L, 2)."""
        kept = spared_table(block, self.reading, self.scope[1:])
        return _ordered(_if_on(kept), self.scope, scope)


@dataclass(frozen=True, slots=True)
class Lone:
    """A finding of no family, over its parents."""

    scope: Scope
    reading: int
    column: int

    def build(self, block: Block, scope: Scope) -> Array:
        """Likelihood of what was observed."""
        return likelihood_of(absent_table(block, self.reading, scope), *block.weights(self.column))


def signed(block: Block, off: Array, on: Array) -> Array:
    """The two halves of a switch's table, the switch first."""
    return np.stack(np.broadcast_arrays(off, np.abs(on) if block.absolute else on))


def _if_on(kept: Array) -> Array:
    """(2, L, B) 1 with the switch off, `kept` (L, B) with it on."""
    table = np.ones((2, *kept.shape))
    table[1] = kept
    return table


@dataclass(frozen=True, slots=True)
class Member:
    """One reading of a family: its column of the evidence, its mechanism's node, its core."""

    family: str
    mechanisms: int
    reading: int
    column: int
    node: int
    core: Scope

    def weight(self, block: Block) -> Array:
        """Likelihood of the observation were the finding absent."""
        return block.weights(self.column)[0]

    def speaking_rows(self, block: Block) -> NDArray[np.intp] | None:
        """Rows in which the member says something; None: in all."""
        evidence = block.evidence
        if evidence.always[self.column]:
            return None
        says = evidence.says[self.column]
        return np.flatnonzero(says if len(says) == 1 else says[block.part])

    def nodes(self, network: Network) -> Nodes:
        """The quadrature of the member's family."""
        return family_quadrature(network, self.family, self.mechanisms)

    def absent(self, block: Block, core: Scope) -> Array:
        """P(absent | node, core), no cause beside the core: (K, core..., D)."""
        if block.network.draws > 1:
            table = self._absent(block)
        else:
            # One set of parameters is asked for the same tables by effects, gain and records.
            cache, key = block.network.cache, f"absent {self.reading}"
            if key not in cache:
                cache[key] = self._absent(block)
            table = cache[key]
        return _ordered(table, (self.node, *self.core), (self.node, *core))

    def _absent(self, block: Block) -> Array:
        nodes = self.nodes(block.network)
        present = 1.0 - absent_table(block, self.reading, self.core)
        key = (id(nodes.shift), present.shape, present.tobytes())
        table = block.alike.get(key)
        if table is None:
            shift, scale = block.cut(nodes.shift), block.cut(nodes.scale)
            table = block.alike[key] = node_probability(present, shift, scale, -1.0)
        return table

    def table(self, block: Block, core: Scope) -> Array:
        """Likelihood of what was observed, no cause beside the core: (K, core..., B)."""
        absent, present = block.weights(self.column)
        table = self.absent(block, core)
        if not present.any():
            return _scaled(table, absent)
        return np.asarray(present + (absent - present) * table)


@dataclass(frozen=True, slots=True)
class MemberAlone:
    """A member where causes beside the core fold into weights, or there are none."""

    scope: Scope
    member: Member

    def build(self, block: Block, scope: Scope) -> Array:
        """Over the node and the core."""
        table = self.member.table(block, self.member.core)
        return _ordered(table, self.scope, scope)


@dataclass(frozen=True, slots=True)
class MemberSwitched:
    """A member with a signed switch, which meets each parent beside the core alone."""

    scope: Scope
    member: Member

    def build(self, block: Block, scope: Scope) -> Array:
        """Over the switch, the node and the core."""
        present = block.weights(self.member.column)[1]
        table = self.member.table(block, self.member.core) - present
        return _ordered(signed(block, present, table), self.scope, scope)


@dataclass(frozen=True, slots=True)
class MemberOrOther:
    """A member, unless the helper variable (0 no, 1 yes) says that a parent beside causes it.

    So neither the node meets those parents, nor they the core; all terms are positive.
    """

    scope: Scope
    member: Member

    def build(self, block: Block, scope: Scope) -> Array:
        """Over the helper, the node and the core."""
        table = self.member.table(block, self.member.core)
        present = block.weights(self.member.column)[1]
        both = np.empty((2, *table.shape[:-1], max(table.shape[-1], len(present))))
        both[0], both[1] = table, present
        return _ordered(both, self.scope, scope)


@dataclass(frozen=True, slots=True)
class OtherCauses:
    """Probability that no parent beside the core causes a member (helper 0), or one does (1)."""

    scope: Scope
    reading: int

    def build(self, block: Block, scope: Scope) -> Array:
        """Over the helper and the parents beside the core."""
        spared = spared_table(block, self.reading, self.scope[1:])
        both = np.empty((2, *spared.shape))
        both[0] = spared
        np.subtract(1.0, spared, out=both[1])
        return _ordered(both, self.scope, scope)


@dataclass(frozen=True, slots=True)
class Gathered:
    """Members absent or silent in every row, of one mechanism and one core, in one table."""

    scope: Scope
    members: tuple[Member, ...]

    def build(self, block: Block, scope: Scope) -> Array:
        """Over the node and the core."""
        members, core = self.members, self.scope[1:]
        table = _by_logs(members, block, core)
        if table is None:
            says = [member.speaking_rows(block) for member in members]
            table = _times_members(members, says, block, core)
        return _ordered(table, self.scope, scope)


def _by_logs(members: tuple[Member, ...], block: Block, core: Scope) -> Array | None:
    """(K, core..., B) what the members say in each row, as the exponential of a matrix product.

    For one set of parameters and plainly absent findings; None where that cannot be done.
    """
    plain, always = block.evidence.plainly_absent, block.evidence.always
    several = block.evidence.rows > 1 and not all(always[m.column] for m in members)
    if block.network.draws > 1 or not several or not all(plain[m.column] for m in members):
        return None
    tables = [member.absent(block, core) for member in members]
    with np.errstate(divide="ignore"):
        logs = np.log(np.stack([np.broadcast_to(t, tables[0].shape) for t in tables]))
    if not np.isfinite(logs).all():
        return None
    says = block.evidence.says[[m.column for m in members], block.part]
    whole = logs.reshape(len(members), -1).T @ says.astype(float)
    return np.asarray(np.exp(whole, out=whole).reshape(*tables[0].shape[:-1], block.width))


def _times_members(
    members: tuple[Member, ...],
    says: list[NDArray[np.intp] | None],
    block: Block,
    core: Scope,
) -> Array:
    """(K, core..., B) the product of what each member says in the rows where it speaks."""
    table: Array = np.ones([1] * (len(core) + 2))
    for member, rows in zip(members, says, strict=True):
        if rows is None:
            table = table * _scaled(member.absent(block, core), member.weight(block))
    if any(rows is not None for rows in says):
        table = np.array(np.broadcast_to(table, (*_full(block, core), block.width)))
    for member, rows in zip(members, says, strict=True):
        if rows is not None:
            own, weight = member.absent(block, core), member.weight(block)
            table[..., rows] *= _rows(own, rows) * _rows(weight, rows)
    return table


def _full(block: Block, core: Scope) -> tuple[int, ...]:
    levels = block.network.structure.levels
    return (families.NODES, *[levels[v] for v in core])


def _rows(value: Array, rows: NDArray[np.intp]) -> Array:
    return value if value.shape[-1] == 1 else value[..., rows]


def _scaled(table: Array, weight: Array) -> Array:
    return table if (weight == 1.0).all() else np.asarray(table * weight)


def family_quadrature(network: Network, family: str, mechanisms: int) -> Nodes:
    """Nodes of a family of which so many mechanisms were seen; made once for a network."""
    key = f"nodes {min(mechanisms, 3)} {family}"
    nodes = network.cache.get(key)
    if nodes is None:
        number = network.structure.families.index(family)
        rho_structure = network.by_column["rho_structure"][number]
        rho_mechanism = network.by_column["rho_mechanism"][number]
        nodes = network.cache[key] = family_nodes(rho_structure, rho_mechanism, mechanisms)
    assert isinstance(nodes, Nodes)
    return nodes


def pair_tables(network: Network) -> dict[int, Array]:
    """Joint prior of each active pair, (L, L, D); made once for a network."""
    tables = network.cache.get("pairs")
    if tables is None:
        tables = network.cache["pairs"] = {pair: _table(network, pair) for pair in network.paired}
    return tables


def _table(network: Network, pair: int) -> Array:
    left, right = network.structure.pair_numbers[pair]
    levels, prior = network.structure.levels[left], network.by_column["prior"]
    concordance = network.by_column["concordance"][pair]
    return side_table(prior[left, :levels], prior[right, :levels], concordance)


def side_table(first: Array, second: Array, concordance: Array) -> Array:
    """(L, L, D) joint probability of the levels of two sides, with exactly these margins.

    (1 - k) * independent + k * as alike as the margins allow (the upper bound of Frechet), where
    k is the concordance, 0 to 1. first, second: (L, D) margins, levels in order of severity.
    """
    upper_first, upper_second = np.cumsum(first, axis=0), np.cumsum(second, axis=0)
    upper = np.minimum(upper_first[:, None], upper_second[None])
    lower = np.maximum((upper_first - first)[:, None], (upper_second - second)[None])
    alike = np.maximum(upper - lower, 0.0)
    return np.asarray((1.0 - concordance) * (first[:, None] * second[None]) + concordance * alike)
