"""A problem as plain integers and arrays, for the compiled passes.

No table is made here and no parameter copied: each factor becomes a kind and the numbers of the
rows it is made of, and compiled code takes 1 - q where it reads it. Copying the parameters of a
record, draws and all, would cost as much as summing over them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import prod
from typing import Any, assert_never

import numpy as np

from sidewise.ground.arrays import Array, IntArray
from sidewise.network.compiled.inputs import (
    COMPLAINT_IF_ON,
    COMPLAINT_SWITCH,
    GATHERED,
    GIVEN,
    IF_ON,
    LONE,
    LONE_SWITCH,
    MEMBER,
    MEMBER_OR_OTHER,
    MEMBER_SWITCHED,
    OTHER_CAUSES,
    Sources,
    Tables,
)
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
from sidewise.network.families import Nodes
from sidewise.network.model import Network
from sidewise.network.problem import Problem


def lowered(problem: Problem, sizes: IntArray) -> tuple[Tables, Sources]:
    """The factors and foldings of a problem as integers, and the arrays these point into.

    sizes: levels or nodes of every variable, helpers included.
    """
    writer = _Writer(problem)
    for factor in problem.factors:
        writer.add(factor)
    return writer.tables(sizes), writer.sources()


def integers(values: Sequence[Any], width: int = 0) -> IntArray:
    """A vector, or with a width a table of so many columns."""
    found = np.asarray(values, dtype=np.int64)
    return found.reshape(-1, width) if width else found


@dataclass
class _Writer:
    """Collects the integers of all factors."""

    problem: Problem
    kind: list[int] = field(default_factory=list)
    start: list[int] = field(default_factory=lambda: [0])
    parameter: list[int] = field(default_factory=list)
    at: list[int] = field(default_factory=lambda: [0])
    member_start: list[int] = field(default_factory=lambda: [0])
    member: list[int] = field(default_factory=list)
    member_at: list[int] = field(default_factory=lambda: [0])
    given: list[Array] = field(default_factory=list)
    given_rows: int = 0
    given_at: dict[int, int] = field(default_factory=dict)
    quadratures: list[Nodes] = field(default_factory=list)
    quadrature_at: dict[int, int] = field(default_factory=dict)

    @property
    def network(self) -> Network:
        """The problem's network."""
        return self.problem.network

    def add(self, factor: Factor) -> None:
        """One factor: kind, parameters and size of its table."""
        kind, parameters = self._kind_and_parameters(factor)
        self.kind.append(kind)
        self.parameter += parameters
        self.start.append(len(self.parameter))
        size = prod(self.problem.sizes[variable] for variable in factor.scope)
        self.at.append(self.at[-1] + size)

    def _kind_and_parameters(self, factor: Factor) -> tuple[int, list[int]]:
        match factor:
            case Given():
                return GIVEN, [self._given(factor.find(self.network))]
            case ComplaintSwitch():
                return COMPLAINT_SWITCH, [factor.complaint]
            case Hurts():
                return COMPLAINT_IF_ON, [factor.column]
            case Spares():
                return IF_ON, self._arcs(factor.reading, factor.scope[1:])[:1]
            case LoneSwitch():
                return LONE_SWITCH, [factor.reading, factor.column]
            case Lone():
                arcs = self._arcs(factor.reading, factor.scope)
                return LONE, [factor.reading, factor.column, *arcs]
            case OtherCauses():
                return OTHER_CAUSES, self._arcs(factor.reading, factor.scope[1:])
            case MemberAlone():
                return MEMBER, [self._member(factor.member)]
            case MemberSwitched():
                return MEMBER_SWITCHED, [self._member(factor.member)]
            case MemberOrOther():
                return MEMBER_OR_OTHER, [self._member(factor.member)]
            case Gathered():
                core = factor.scope[1:]
                return GATHERED, [self._member(member, core) for member in factor.members]
            case _:
                assert_never(factor)

    def _arcs(self, reading: int, scope: Sequence[int]) -> list[int]:
        """First column of the links and number of levels of each parent."""
        structure = self.network.structure
        first = structure.first_link[reading]
        return [n for v in scope for n in (first[v], structure.levels[v])]

    def _member(self, member: Member, core: Sequence[int] | None = None) -> int:
        # The parameters of a gathered factor are numbers of members: each member is worked out
        # once, before the tables that multiply them.
        number = len(self.member_at) - 1
        nodes = member.nodes(self.network)
        # By identity: both sides have the same nodes object, and comparing arrays would cost more.
        if id(nodes) not in self.quadrature_at:
            self.quadrature_at[id(nodes)] = len(self.quadratures)
            self.quadratures.append(nodes)
        arcs = self._arcs(member.reading, member.core if core is None else core)
        self.member += [member.reading, member.column, self.quadrature_at[id(nodes)], *arcs]
        self.member_start.append(len(self.member))
        entries = len(nodes.shift)
        for levels in arcs[1::2]:
            entries *= levels
        self.member_at.append(self.member_at[-1] + entries)
        return number

    def _given(self, table: Array) -> int:
        """Row at which a table of the network starts, its first axis fastest."""
        if id(table) not in self.given_at:
            # Compiled tables have the first axis fastest, numpy's the last.
            axes = range(table.ndim - 2, -1, -1)
            flat = table.transpose(*axes, table.ndim - 1).reshape(-1, table.shape[-1])
            self.given_at[id(table)] = self.given_rows
            self.given.append(flat)
            self.given_rows += len(flat)
        return self.given_at[id(table)]

    def tables(self, sizes: IntArray) -> Tables:
        """As the compiled code wants them; sizes: of every variable."""
        structure = self.network.structure
        paired = np.zeros(len(structure.variables), dtype=np.int64)
        for pair in self.network.paired:
            paired[list(structure.pair_numbers[pair])] = 1
        return Tables(
            sizes, paired, integers(self.kind), integers(self.start),
            integers(self.parameter), integers(self.at),
            integers(self.member_start), integers(self.member), integers(self.member_at),
            integers(self._folds(), 4), integers(self._folded(), 2), integers(self._single(), 5),
        )  # fmt: skip

    def _folds(self) -> list[int]:
        network, readings = self.network, self.problem.evidence.readings
        found = []
        for columns, whole in ((self.problem.folded, True), (self.problem.beside, False)):
            for column in columns:
                reading = readings[column]
                linked = network.linked[reading]
                scope = [v for v, _ in linked] if whole else network.beside[reading]
                arcs = self._arcs(reading, scope)
                for place, variable in enumerate(scope):
                    found += [column, variable, *arcs[2 * place : 2 * place + 2]]
        return found

    def _folded(self) -> list[int]:
        readings = self.problem.evidence.readings
        return [n for column in self.problem.folded for n in (column, readings[column])]

    def _single(self) -> list[int]:
        network, readings = self.network, self.problem.evidence.readings
        found = []
        for column in self.problem.single:
            scope = [v for v, _ in network.linked[readings[column]]]
            where = [scope[0], *self._arcs(readings[column], scope)] if scope else [-1, 0, 0]
            found += [column, readings[column], *where]
        return found

    def sources(self) -> Sources:
        """Views of the network's and the evidence's arrays, the batch last."""
        network, evidence = self.network, self.problem.evidence
        by_column, nothing = network.by_column, np.empty((0, 1))
        complaints = bool(network.structure.complaints)
        # One array has one width: tables without draws are repeated beside those with.
        draws = max((g.shape[-1] for g in self.given), default=1)
        given = [np.broadcast_to(g, (len(g), draws)) for g in self.given]
        nodes = self.quadratures
        return Sources(
            prior=_flat(by_column["prior"]),
            link=_flat(by_column["link"]),
            complaint_link=_flat(by_column["complaint_link"]) if complaints else nothing,
            leak=_flat(by_column["leak"]),
            complaint_leak=_flat(by_column["complaint_leak"]) if complaints else nothing,
            absent=np.ascontiguousarray(evidence.absent.T),
            present=np.ascontiguousarray(evidence.present.T),
            given=np.concatenate(given) if given else nothing,
            shift=np.concatenate([n.shift for n in nodes]) if nodes else nothing,
            scale=np.stack([n.scale for n in nodes]) if nodes else nothing,
        )


def _flat(table: Array) -> Array:
    return np.ascontiguousarray(table.reshape(-1, table.shape[-1]))
