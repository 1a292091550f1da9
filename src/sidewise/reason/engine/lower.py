"""A problem as plain integers and arrays, for the compiled path; numba only once it is turned on.

`turn_on` is called by what weighs many records: the app, the batch, the benchmarks. A single record
at the command line stays with numpy, whose first answer does not wait for numba's import (and, in a
new environment, for some twenty seconds of compiling: `python -m sidewise.reason.compiled` does
that beforehand).
"""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from itertools import accumulate, pairwise
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.reason.engine import factors as kinds
from sidewise.reason.engine.assemble import Problem, problem_of
from sidewise.reason.engine.evidence import Evidence
from sidewise.reason.engine.families import Nodes
from sidewise.reason.engine.network import (
    Array,
    Network,
    Parameters,
    Reading,
    Structure,
    Variable,
)

# Table entries of one draw above which numpy takes over: 2^20 entries of 8 draws are 64 MiB.
MOST_ENTRIES = 1 << 20
# Lanes of a block, and the entries of its largest table times its lanes that stay in the cache.
MOST_LANES = 32
CACHED = 1 << 18
# Numbers of the largest room kept (32 MiB), and how many rooms are.
MOST_KEPT = 1 << 22
SPACES = 4
# Table entries (over the batch) from which two threads gain more than their calls cost.
WORTH_A_THREAD = 400_000

Integers = NDArray[np.int64]


@dataclass
class _Switch:
    on: bool = False


_switch = _Switch()


def available() -> bool:
    """Whether numba is installed."""
    return importlib.util.find_spec("numba") is not None


def turn_on(on: bool = True) -> bool:
    """Use the compiled path from now on if numba is installed; whether it is used."""
    _switch.on = on and available()
    return _switch.on


def warm_up() -> None:
    """Compile everything, or load what was compiled, by a sum of one variable and one finding."""
    structure = Structure((Variable("a"), Variable("b")), (Reading("f", ("a", "b")),))
    prior = np.array([[[0.5, 0.5], [0.5, 0.5]]])
    network = Network(structure, Parameters(prior, np.full((1, 2), 0.5), np.full((1, 1), 0.5)))
    problem = problem_of(network, Evidence((0,), np.zeros((1, 1)), np.ones((1, 1))))
    ready(planned(problem)).run_all(True)


def is_on() -> bool:
    """Whether the compiled path is used."""
    return _switch.on


@dataclass
class _Spaces:
    """Room to work in, kept from call to call: fresh memory costs more than the sums done in it."""

    free: list[Array] = field(default_factory=list)
    lock: Lock = field(default_factory=Lock)

    def take(self, numbers: int) -> Array:
        """At least so many numbers, whatever stands in them."""
        with self.lock:
            fitting = [place for place, space in enumerate(self.free) if len(space) >= numbers]
            if fitting:
                return self.free.pop(min(fitting, key=lambda place: len(self.free[place])))
        return np.empty(numbers + numbers // 4)

    def give_back(self, space: Array) -> None:
        """For the next; the smallest go where there are more than two threads would use."""
        if len(space) > MOST_KEPT:
            return
        with self.lock:
            self.free.append(space)
            self.free.sort(key=len, reverse=True)
            del self.free[SPACES:]


_spaces = _Spaces()


@dataclass(frozen=True, eq=False)
class Scopes:
    """Which variables each factor joins, and the order in which to sum them out."""

    problem: Problem
    sizes: Integers
    scope_start: Integers
    scope: Integers
    order: Integers
    around: NDArray[np.bool_]
    entries: int


def planned(problem: Problem) -> Scopes:
    """The order of elimination, from the scopes alone."""
    from sidewise.reason.engine import _order

    sizes = _array(problem.sizes)
    starts = _array([0, *accumulate(len(factor.scope) for factor in problem.factors)])
    scope = _array([v for factor in problem.factors for v in factor.scope])
    order, around, entries = _order.greedy(sizes, starts, scope)
    return Scopes(problem, sizes, starts, scope, order, around, int(entries))


@dataclass(frozen=True, eq=False)
class Ready:
    """A problem that can be run on any stretch of the batch."""

    problem: Problem
    entries: int
    tables: Any
    sources: Any
    steps: Any
    same: Integers

    def log_evidence(self, part: slice, absolute: bool = False) -> Array:
        """(width,) log evidence of a stretch; `absolute`: with the signs of switches left out."""
        marginal, log = self._empty(self.problem.batch, False)
        self._run(part, marginal, log, absolute)
        return log[part]

    def run_all(self, marginals: bool, workers: int | None = None) -> tuple[Array, Array]:
        """(V, Lmax, B) marginals, empty if not wanted, and (B,) log evidence of the whole batch.

        In two threads where that gains, or in as many as `workers` says.
        """
        batch = self.problem.batch
        marginal, log = self._empty(batch, marginals)
        large = batch * self.entries >= WORTH_A_THREAD
        threads = workers or (min(os.cpu_count() or 1, 2) if large else 1)
        blocks = -(-batch // self.lanes)
        edges = [min(self.lanes * (blocks * i // threads), batch) for i in range(threads + 1)]
        first, *others = [slice(a, b) for a, b in pairwise(edges)]
        if not others:
            self._run(first, marginal, log)
            return marginal, log
        with ThreadPoolExecutor(len(others)) as pool:
            running = [pool.submit(self._run, part, marginal, log) for part in others]
            self._run(first, marginal, log)
            for one in running:
                one.result()
        return marginal, log

    @cached_property
    def lanes(self) -> int:
        """Draws side by side: many share the work of finding entries, few stay in the cache."""
        largest = int(self.steps.size.max(initial=1))
        eights = min(-(-self.problem.batch // 8), CACHED // largest // 8, MOST_LANES // 8)
        return 8 * max(eights, 1)

    def _empty(self, batch: int, marginals: bool) -> tuple[Array, Array]:
        structure = self.problem.network.structure
        shape = (len(structure.variables), max(structure.levels), batch)
        return np.empty(shape if marginals else (0, 0, 0)), np.empty(batch)

    def _run(self, part: slice, marginal: Array, log: Array, absolute: bool = False) -> None:
        from sidewise.reason.engine import _sweep

        levels = max(self.problem.network.structure.levels)
        wanted = len(marginal) > 0
        room = int(_sweep.room(self.tables, self.sources, self.steps, wanted).sum())
        space = _spaces.take(room * self.lanes)
        _sweep.sweep(
            self.tables, self.sources, self.steps, self.same,
            levels, self.problem.signed, absolute,
            part.start, part.stop, self.lanes, space, marginal, log,
        )  # fmt: skip
        _spaces.give_back(space)


def ready(plan: Scopes) -> Ready:
    """The problem as integers, its steps, and which tables are equal."""
    from sidewise.reason.engine import _order, _sweep, _tables

    problem, levels = plan.problem, plan.problem.network.structure.levels
    writer = _Writer(problem)
    for factor in problem.factors:
        writer.add(factor)
    tables, sources = writer.tables(plan), writer.sources()
    found = _order.buckets(
        plan.sizes, plan.scope_start, plan.scope, tables.at, plan.order, plan.around,
        len(levels), max(levels),
    )  # fmt: skip
    steps, same = _sweep.Steps(plan.order, *found), _tables.alike(tables, sources)
    return Ready(problem, plan.entries, tables, sources, steps, same)


def _array(values: Sequence[Any], width: int = 0) -> Integers:
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

    def add(self, factor: kinds.Factor) -> None:
        """One factor: kind, parameters, size and scope."""
        from sidewise.reason.engine import _tables

        match factor:
            case kinds.Given():
                kind, parameters = _tables.GIVEN, [self._given(factor.find(self.network))]
            case kinds.ComplaintSwitch():
                kind, parameters = _tables.COMPLAINT_SWITCH, [factor.complaint]
            case kinds.Hurts():
                kind, parameters = _tables.COMPLAINT_IF_ON, [factor.column]
            case kinds.Spares():
                arcs = self._arcs(factor.reading, factor.scope[1:])
                kind, parameters = _tables.IF_ON, arcs[:1]
            case kinds.LoneSwitch():
                kind, parameters = _tables.LONE_SWITCH, [factor.reading, factor.column]
            case kinds.Lone():
                arcs = self._arcs(factor.reading, factor.scope)
                kind, parameters = _tables.LONE, [factor.reading, factor.column, *arcs]
            case kinds.OtherCauses():
                arcs = self._arcs(factor.reading, factor.scope[1:])
                kind, parameters = _tables.OTHER_CAUSES, arcs
            case kinds.MemberAlone():
                kind, parameters = _tables.MEMBER, [self._member(factor.member)]
            case kinds.MemberSwitched():
                kind, parameters = _tables.MEMBER_SWITCHED, [self._member(factor.member)]
            case kinds.MemberOrOther():
                kind, parameters = _tables.MEMBER_OR_OTHER, [self._member(factor.member)]
            case kinds.Gathered():
                core = factor.scope[1:]
                members = [self._member(member, core) for member in factor.members]
                kind, parameters = _tables.GATHERED, members
            case _:
                raise TypeError(f"no compiled form of {type(factor).__name__}")
        self.kind.append(kind)
        self.parameter += parameters
        self.start.append(len(self.parameter))
        size = 1
        for variable in factor.scope:
            size *= self.problem.sizes[variable]
        self.at.append(self.at[-1] + size)

    def _arcs(self, reading: int, scope: Sequence[int]) -> list[int]:
        """First column of the links and number of levels of each parent."""
        structure = self.network.structure
        first = structure.first_link[reading]
        return [n for v in scope for n in (first[v], structure.levels[v])]

    def _member(self, member: kinds.Member, core: Sequence[int] | None = None) -> int:
        number = len(self.member_at) - 1
        nodes = member.nodes(self.network)
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
            axes = range(table.ndim - 2, -1, -1)
            flat = table.transpose(*axes, table.ndim - 1).reshape(-1, table.shape[-1])
            self.given_at[id(table)] = self.given_rows
            self.given.append(flat)
            self.given_rows += len(flat)
        return self.given_at[id(table)]

    def tables(self, plan: Scopes) -> Any:
        """As the compiled code wants them."""
        from sidewise.reason.engine import _tables

        structure = self.network.structure
        paired = np.zeros(len(structure.variables), dtype=np.int64)
        for pair in self.network.paired:
            paired[list(structure.pair_numbers[pair])] = 1
        return _tables.Tables(
            plan.sizes, paired, _array(self.kind), _array(self.start),
            _array(self.parameter), _array(self.at),
            _array(self.member_start), _array(self.member), _array(self.member_at),
            _array(self._folds(), 4), _array(self._folded(), 2), _array(self._single(), 5),
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

    def sources(self) -> Any:
        """Views of the network's and the evidence's arrays, the batch last."""
        from sidewise.reason.engine import _tables

        network, evidence = self.network, self.problem.evidence
        by_column, nothing = network.by_column, np.empty((0, 1))
        complaints = bool(network.structure.complaints)
        draws = max((g.shape[-1] for g in self.given), default=1)
        given = [np.broadcast_to(g, (len(g), draws)) for g in self.given]
        nodes = self.quadratures
        return _tables.Sources(
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
