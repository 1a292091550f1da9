"""From a network and what was found to the small tables whose product is to be summed.

Folded into the level weights, without any table: the prior; lone absent findings, since
P(absent | levels) is a product over the parents; and every finding with a single parent. What stays
are the factors that join variables: lone findings present (or soft), members of families with two
or more seen, side pairs, and complaints.

A complaint known to be present, 1 - (1 - leak) * product (1 - c), would join all painful
conditions. A binary switch with the signed weights (1, -(1 - leak)) writes it as a sum of two
products, so that it joins each condition only to the switch. P(complaint | anything) is at least
the leak, so that at most log10(1 / leak) digits are lost in the difference.

The same switch can be given to a finding that is present, and then frees its parents of one
another: tables shrink a hundredfold when readings have many parents. But there the digits lost
add up over the switches (inclusion and exclusion over all positives loses every digit), so
`eliminate` measures the loss for the record in hand and uses only as many as it can bear.

Arrays keep the batch (draws or rows) as their *last* axis: it is the long one, and the inner
loops of numpy then run along it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sidewise.reason.engine import families
from sidewise.reason.engine.evidence import Evidence
from sidewise.reason.engine.families import Nodes, family_nodes, node_probability
from sidewise.reason.engine.network import Array, Network

Builder = Callable[["Block", tuple[int, ...]], Array]
"""Gives a factor's table, axes in the order of the scope handed in and the batch last."""


# A finding present whose parents beside its core number more than this may be given a switch.
FREED = 2


@dataclass(frozen=True, slots=True)
class Factor:
    """A table over `scope` (numbers of variables), built block by block."""

    scope: tuple[int, ...]
    build: Builder


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


@dataclass(frozen=True, eq=False)
class Problem:
    """Sizes of all variables (conditions, then helpers), joining factors, and level weights."""

    network: Network
    evidence: Evidence
    sizes: tuple[int, ...]
    factors: tuple[Factor, ...]
    folded: tuple[int, ...]  # columns of the evidence
    beside: tuple[int, ...]  # columns of family members whose other parents fold
    single: tuple[int, ...]
    signed: bool  # some table has entries below nought

    @property
    def batch(self) -> int:
        """Length of the batch axis."""
        return max(self.network.draws, self.evidence.rows)


def widths(network: Network, evidence: Evidence) -> dict[int, int]:
    """Findings that may be written with a switch: column, and how many parents that frees."""
    members = _families_seen(network, evidence)
    in_family = {column for columns in members.values() for column in columns}
    found = {}
    for column, separable in enumerate(_separable(evidence)):
        reading = evidence.readings[column]
        free = network.beside[reading] if column in in_family else network.linked[reading]
        if not separable and len(free) > FREED:
            found[column] = len(free)
    return found


def problem_of(
    network: Network, evidence: Evidence, switched: frozenset[int] = frozenset()
) -> Problem:
    """Sort what was found into weights and factors; columns in `switched` get a switch."""
    structure = network.structure
    sizes = list(structure.levels)
    factors = [_pair_factor(network, pair) for pair in network.paired]
    for complaint in range(len(structure.complaints)):
        factors += _complaint_factors(network, complaint, len(sizes))
        sizes.append(2)
    members = _families_seen(network, evidence)
    separable = _separable(evidence)
    for columns in members.values():
        seen = _Seen(network, evidence, separable, switched)
        factors += _family_factors(seen, columns, sizes)
    in_family = {column for columns in members.values() for column in columns}
    lone = [c for c in range(len(evidence.readings)) if c not in in_family]
    folded, single = [], []
    for column in lone:
        reading = evidence.readings[column]
        parents = network.linked[reading]
        if separable[column]:
            folded.append(column)
        elif len(parents) <= 1:
            single.append(column)
        elif column in switched:
            switch, arcs = len(sizes), tuple(v for v, _ in parents)
            sizes.append(2)
            factors.append(Factor((switch,), _lone_switch(reading, column)))
            factors += [_spares(reading, switch, variable) for variable in arcs]
        else:
            factors.append(_lone_factor(reading, column, tuple(v for v, _ in parents)))
    return Problem(
        network,
        evidence,
        tuple(sizes),
        tuple(factors),
        tuple(folded),
        tuple(sorted(c for c in in_family if separable[c])),
        tuple(single),
        bool(structure.complaints) or bool(switched),
    )


def _separable(evidence: Evidence) -> list[bool]:
    """Columns that in every row are absent, or say nothing."""
    absent, present = evidence.absent, evidence.present
    return [bool(says) for says in ((present == 0.0) | (present == absent)).all(axis=0)]


def _families_seen(network: Network, evidence: Evidence) -> dict[str, list[int]]:
    """Columns of the evidence by family, for families of which two or more were seen."""
    found: dict[str, list[int]] = {}
    if network.parameters.rho_structure is None:
        return found
    readings = network.structure.readings
    for column, reading in enumerate(evidence.readings):
        family = readings[reading].family
        if family is not None and reading not in evidence.alone:
            found.setdefault(family, []).append(column)
    return {family: columns for family, columns in found.items() if len(columns) > 1}


def _spread(vector: Array, axis: int, axes: int) -> Array:
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
        table = table * _spread(vector, axis, len(scope))
    return np.asarray(table)


def likelihood_of(absent_probability: Array, absent: Array, present: Array) -> Array:
    """Likelihood of what was observed: absent * P + present * (1 - P)."""
    if not present.any():
        return np.asarray(absent_probability * absent)
    return np.asarray(present + (absent - present) * absent_probability)


def _lone_factor(reading: int, column: int, parents: tuple[int, ...]) -> Factor:
    def build(block: Block, scope: tuple[int, ...]) -> Array:
        return likelihood_of(absent_table(block, reading, scope), *block.weights(column))

    return Factor(parents, build)


def _pair_factor(network: Network, pair: int) -> Factor:
    left, right = network.structure.pair_numbers[pair]

    def build(block: Block, _: tuple[int, ...]) -> Array:
        # The table is symmetric only for equal margins: the scope's order is put right by the
        # caller through `ordered`.
        return block.cut(pair_tables(block.network)[pair])

    return Factor((left, right), ordered((left, right), build))


def ordered(own: tuple[int, int], build: Builder) -> Builder:
    """A builder of a table of two variables that obeys the order asked for."""

    def turned(block: Block, scope: tuple[int, ...]) -> Array:
        table = build(block, scope)
        return table if scope == own else table.swapaxes(0, 1)

    return turned


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


def _complaint_factors(network: Network, complaint: int, switch: int) -> list[Factor]:
    structure = network.structure
    first = structure.first_complaint_arc[complaint]
    found = [Factor((switch,), lambda block, _: _switch_weights(block, complaint))]
    for position, variable in enumerate(structure.complaint_parents[complaint]):
        columns = structure.complaint_columns(complaint, position)
        if network.by_column["complaint_link"][columns].any():
            found.append(_hurts(switch, variable, first + position, structure.levels[variable]))
    return found


def _switch_weights(block: Block, complaint: int) -> Array:
    leak = block.parameter("complaint_leak")[complaint]
    return _signed(block, np.ones_like(leak), leak - 1.0)


def _signed(block: Block, off: Array, on: Array) -> Array:
    """The two halves of a switch's table, the switch first."""
    return np.stack(np.broadcast_arrays(off, np.abs(on) if block.absolute else on))


def _lone_switch(reading: int, column: int) -> Builder:
    """present + (absent - present) * (1 - leak) * product of kept, as a sum of two products."""

    def build(block: Block, _: tuple[int, ...]) -> Array:
        absent, present = block.weights(column)
        quiet = 1.0 - block.parameter("leak")[reading]
        return _signed(block, present, (absent - present) * quiet)

    return build


def _spares(reading: int, switch: int, variable: int) -> Factor:
    """1 with the switch off; with it on, 1 - q of one parent."""

    def build(block: Block, scope: tuple[int, ...]) -> Array:
        kept = spared_table(block, reading, (variable,))
        return _if_on(kept, scope[0] == switch)

    return Factor((switch, variable), build)


def _if_on(kept: Array, switch_first: bool) -> Array:
    """1 with the switch off, `kept` (L, B) with it on."""
    table = np.ones((2, *kept.shape))
    table[1] = kept
    return table if switch_first else table.swapaxes(0, 1)


def _hurts(switch: int, variable: int, arc: int, levels: int) -> Factor:
    def build(block: Block, scope: tuple[int, ...]) -> Array:
        kept = block.cut(block.network.complaint_kept[arc, :levels])
        return _if_on(kept, scope[0] == switch)

    return Factor((switch, variable), build)


@dataclass(frozen=True, eq=False)
class _Seen:
    """What was found, and how each column is to be written."""

    network: Network
    evidence: Evidence
    separable: list[bool]
    switched: frozenset[int]


def _family_factors(seen: _Seen, columns: list[int], sizes: list[int]) -> list[Factor]:
    """Factors of one family; its node variables are appended to `sizes`."""
    network, evidence = seen.network, seen.evidence
    readings = network.structure.readings
    family = readings[evidence.readings[columns[0]]].family or ""
    kinds = dict.fromkeys(readings[evidence.readings[c]].mechanism or "" for c in columns)
    node = {}
    for mechanism in kinds:
        node[mechanism] = len(sizes)
        sizes.append(families.NODES)
    factors = _node_factors(family, list(node.values()), sizes)
    alike: dict[tuple[int, frozenset[int]], list[_Member]] = {}
    for column in columns:
        reading = evidence.readings[column]
        mechanism = readings[reading].mechanism or ""
        member = _Member(
            family, len(kinds), reading, column, node[mechanism], network.core[reading]
        )
        beside = network.beside[reading]
        if seen.separable[column]:
            alike.setdefault((member.node, frozenset(member.core)), []).append(member)
        elif not beside:
            factors.append(member.factor())
        elif column in seen.switched:
            factors += member.with_switch(len(sizes), beside)
            sizes.append(2)
        else:
            factors += member.with_other_cause(len(sizes), beside)
            sizes.append(2)
    return factors + [_gathered(members) for members in alike.values()]


def _gathered(members: list[_Member]) -> Factor:
    """Members absent or silent in every row, of one mechanism and one core, in one table."""
    first = members[0]

    def build(block: Block, scope: tuple[int, ...]) -> Array:
        core = tuple(v for v in scope if v != first.node)
        table = _by_logs(members, block, core)
        if table is not None:
            return _first_to(table, scope.index(first.node))
        says = [member.speaking_rows(block) for member in members]
        table = _times_members(members, says, block, core)
        return _first_to(table, scope.index(first.node))

    return Factor((first.node, *first.core), build)


def _by_logs(members: list[_Member], block: Block, core: tuple[int, ...]) -> Array | None:
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
    members: list[_Member],
    says: list[NDArray[np.intp] | None],
    block: Block,
    core: tuple[int, ...],
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


def _first_to(table: Array, axis: int) -> Array:
    """The first axis moved to this place, the others in their order."""
    if axis == 0:
        return table
    return table.transpose([*range(1, axis + 1), 0, *range(axis + 1, table.ndim)])


def _full(block: Block, core: tuple[int, ...]) -> tuple[int, ...]:
    levels = block.network.structure.levels
    return (families.NODES, *[levels[v] for v in core])


def _rows(value: Array, rows: NDArray[np.intp]) -> Array:
    return value if value.shape[-1] == 1 else value[..., rows]


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


def _node_factors(family: str, nodes: list[int], sizes: list[int]) -> list[Factor]:
    count = len(nodes)

    def weight(block: Block, _: tuple[int, ...]) -> Array:
        return block.cut(family_quadrature(block.network, family, count).weight)

    def joint(block: Block, _: tuple[int, ...]) -> Array:
        # Symmetric, so the order of the axes does not matter.
        return block.cut(family_quadrature(block.network, family, count).joint)

    def given(block: Block, _: tuple[int, ...]) -> Array:
        return block.cut(family_quadrature(block.network, family, count).given)

    if count == 1:
        return [Factor((nodes[0],), weight)]
    if count == 2:
        return [Factor((nodes[0], nodes[1]), joint)]
    shared = len(sizes)
    sizes.append(sizes[nodes[0]])
    below = [Factor((shared, node), ordered((shared, node), given)) for node in nodes]
    return [Factor((shared,), weight), *below]


@dataclass(frozen=True, slots=True)
class _Member:
    """One reading of a family: its column of the evidence, its mechanism's node, its core."""

    family: str
    mechanisms: int
    reading: int
    column: int
    node: int
    core: tuple[int, ...]

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

    def absent(self, block: Block, core: tuple[int, ...]) -> Array:
        """P(absent | node, core), no cause beside the core: (K, core..., D)."""
        if block.network.draws > 1:
            table = self._absent(block)
        else:
            # One set of parameters is asked for the same tables by effects, gain and records.
            cache, key = block.network.cache, f"absent {self.reading}"
            if key not in cache:
                cache[key] = self._absent(block)
            table = cache[key]
        if core == self.core:
            return np.asarray(table)
        axes = [1 + self.core.index(v) for v in core]
        return np.asarray(table.transpose([0, *axes, len(core) + 1]))

    def _absent(self, block: Block) -> Array:
        nodes = family_quadrature(block.network, self.family, self.mechanisms)
        present = 1.0 - absent_table(block, self.reading, self.core)
        key = (id(nodes.shift), present.shape, present.tobytes())
        table = block.alike.get(key)
        if table is None:
            shift, scale = block.cut(nodes.shift), block.cut(nodes.scale)
            table = block.alike[key] = node_probability(present, shift, scale, -1.0)
        return table

    def table(self, block: Block, core: tuple[int, ...]) -> Array:
        """Likelihood of what was observed, no cause beside the core: (K, core..., B)."""
        absent, present = block.weights(self.column)
        table = self.absent(block, core)
        if not present.any():
            return _scaled(table, absent)
        return np.asarray(present + (absent - present) * table)

    def factor(self) -> Factor:
        """The member where causes beside the core fold into weights, or there are none."""

        def build(block: Block, scope: tuple[int, ...]) -> Array:
            table = self.table(block, tuple(v for v in scope if v != self.node))
            # Only the node's axis may be out of place: it was put first.
            return _first_to(table, scope.index(self.node))

        return Factor((self.node, *self.core), build)

    def with_switch(self, switch: int, beside: tuple[int, ...]) -> list[Factor]:
        """The same sum with a signed switch, which meets each parent beside the core alone."""

        def build(block: Block, scope: tuple[int, ...]) -> Array:
            core = tuple(v for v in scope if v not in (self.node, switch))
            present = block.weights(self.column)[1]
            table = _signed(block, present, self.table(block, core) - present)
            own = (switch, self.node, *core)
            return table.transpose([*[own.index(v) for v in scope], table.ndim - 1])

        own = Factor((switch, self.node, *self.core), build)
        return [own, *[_spares(self.reading, switch, variable) for variable in beside]]

    def with_other_cause(self, other: int, beside: tuple[int, ...]) -> list[Factor]:
        """A helper variable (0 no, 1 yes) says whether a parent beside the core causes it.

        So neither the node meets those parents, nor they the core; all terms are positive.
        """

        def build(block: Block, scope: tuple[int, ...]) -> Array:
            core = tuple(v for v in scope if v not in (self.node, other))
            table = self.table(block, core)
            present = block.weights(self.column)[1]
            both = np.empty((2, *table.shape[:-1], max(table.shape[-1], len(present))))
            both[0], both[1] = table, present
            own = (other, self.node, *core)
            return both.transpose([*[own.index(v) for v in scope], both.ndim - 1])

        def causes(block: Block, scope: tuple[int, ...]) -> Array:
            spared = spared_table(block, self.reading, tuple(v for v in scope if v != other))
            both = np.empty((2, *spared.shape))
            both[0] = spared
            np.subtract(1.0, spared, out=both[1])
            return _first_to(both, scope.index(other))

        return [Factor((other, self.node, *self.core), build), Factor((other, *beside), causes)]


def _scaled(table: Array, weight: Array) -> Array:
    return table if (weight == 1.0).all() else np.asarray(table * weight)
