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
`switches` measures the loss for the record in hand and uses only as many as it can bear.
"""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.ground.arrays import Array
from sidewise.network import families
from sidewise.network.evidence import Evidence
from sidewise.network.factors import (
    ComplaintSwitch,
    Factor,
    Gathered,
    Given,
    Hurts,
    Lone,
    LoneSwitch,
    Member,
    MemberAlone,
    MemberOrOther,
    MemberSwitched,
    OtherCauses,
    Spares,
)
from sidewise.network.joint_tables import family_quadrature, pair_tables
from sidewise.network.model import Network

# A finding present whose parents beside its core number more than this may be given a switch.
FREED = 2


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
    signed: bool  # some table has entries below zero

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
    factors: list[Factor] = [_pair_factor(network, pair) for pair in network.paired]
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
            switch = len(sizes)
            sizes.append(2)
            factors.append(LoneSwitch((switch,), reading, column))
            factors += [Spares((switch, variable), reading) for variable, _ in parents]
        else:
            factors.append(Lone(tuple(v for v, _ in parents), reading, column))
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


def _pair_factor(network: Network, pair: int) -> Factor:
    def joint(network: Network) -> Array:
        return pair_tables(network)[pair]

    return Given(network.structure.pair_numbers[pair], joint)


def _complaint_factors(network: Network, complaint: int, switch: int) -> list[Factor]:
    structure = network.structure
    first = structure.first_complaint_arc[complaint]
    found: list[Factor] = [ComplaintSwitch((switch,), complaint)]
    for position, variable in enumerate(structure.complaint_parents[complaint]):
        columns = structure.complaint_columns(complaint, position)
        if network.by_column["complaint_link"][columns].any():
            levels = structure.levels[variable]
            found.append(Hurts((switch, variable), first + position, levels, columns.start))
    return found


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
    alike: dict[tuple[int, frozenset[int]], list[Member]] = {}
    for column in columns:
        reading = evidence.readings[column]
        mechanism = readings[reading].mechanism or ""
        member = Member(family, len(kinds), reading, column, node[mechanism], network.core[reading])
        beside = network.beside[reading]
        if seen.separable[column]:
            alike.setdefault((member.node, frozenset(member.core)), []).append(member)
        elif not beside:
            factors.append(MemberAlone((member.node, *member.core), member))
        elif column in seen.switched:
            helper = len(sizes)
            sizes.append(2)
            factors.append(MemberSwitched((helper, member.node, *member.core), member))
            factors += [Spares((helper, variable), reading) for variable in beside]
        else:
            helper = len(sizes)
            sizes.append(2)
            factors.append(MemberOrOther((helper, member.node, *member.core), member))
            factors.append(OtherCauses((helper, *beside), reading))
    return factors + [_gathered(tuple(members)) for members in alike.values()]


def _gathered(members: tuple[Member, ...]) -> Factor:
    return Gathered((members[0].node, *members[0].core), members)


def _node_factors(family: str, nodes: list[int], sizes: list[int]) -> list[Factor]:
    count = len(nodes)

    def weight(network: Network) -> Array:
        return family_quadrature(network, family, count).weight

    def joint(network: Network) -> Array:
        return family_quadrature(network, family, count).joint

    def given(network: Network) -> Array:
        return family_quadrature(network, family, count).given

    if count == 1:
        return [Given((nodes[0],), weight)]
    if count == 2:
        return [Given((nodes[0], nodes[1]), joint)]
    shared = len(sizes)
    sizes.append(sizes[nodes[0]])
    below = [Given((shared, node), given) for node in nodes]
    return [Given((shared,), weight), *below]
