"""A problem compiled: planned and lowered once, then run on any stretch of the batch.

numba is imported only where something is computed.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, pairwise

import numpy as np

from sidewise.ground.arrays import Array, BoolArray, IntArray
from sidewise.network.compiled.inputs import Sources, Steps, Tables
from sidewise.network.compiled.lowering import integers, lowered
from sidewise.network.compiled.workspace import workspace
from sidewise.network.problem import Problem
from sidewise.network.solution import Solution, digits_between

# Table entries of one draw above which numpy takes over: 2^20 entries of 8 draws are 64 MiB.
MOST_ENTRIES = 1 << 20
# Lanes of a block, and the entries of its largest table times its lanes that stay in the cache.
MOST_LANES = 32
CACHED = 1 << 18
# Table entries (over the batch) from which two threads gain more than their calls cost.
WORTH_A_THREAD = 400_000


@dataclass(frozen=True, eq=False)
class Scopes:
    """Which variables each factor joins, and the order in which to sum them out.

    around: (n, n) neighbours of each variable when it goes. entries: of all tables, for one row.
    """

    sizes: IntArray
    scope_start: IntArray
    scope: IntArray
    order: IntArray
    around: BoolArray
    entries: int


def _planned(problem: Problem) -> Scopes:
    """The order of elimination, from the scopes alone."""
    from sidewise.network.compiled.order import greedy

    sizes = integers(problem.sizes)
    starts = integers([0, *accumulate(len(factor.scope) for factor in problem.factors)])
    scope = integers([v for factor in problem.factors for v in factor.scope])
    order, around, entries = greedy(sizes, starts, scope)
    return Scopes(sizes, starts, scope, order, around, int(entries))


@dataclass(frozen=True, eq=False)
class Ready:
    """What the compiled passes read: what to make tables of, in which steps, and which are equal.

    same: for each member of a family an earlier one with the same table, or -1.
    """

    tables: Tables
    sources: Sources
    steps: Steps
    same: IntArray


def _ready(problem: Problem, plan: Scopes) -> Ready:
    from sidewise.network.compiled.buckets import buckets
    from sidewise.network.compiled.members import alike

    levels = problem.network.structure.levels
    tables, sources = lowered(problem, plan.sizes)
    found = buckets(
        plan.sizes, plan.scope_start, plan.scope, tables.at, plan.order, plan.around,
        len(levels), max(levels),
    )  # fmt: skip
    return Ready(tables, sources, Steps(plan.order, *found), alike(tables, sources))


@dataclass(frozen=True, eq=False)
class CompiledForm:
    """A problem for the compiled passes."""

    problem: Problem

    @cached_property
    def _plan(self) -> Scopes:
        return _planned(self.problem)

    @cached_property
    def _ready(self) -> Ready:
        return _ready(self.problem, self._plan)

    @property
    def work(self) -> int:
        """Table entries of one run over one row."""
        return self._plan.entries

    def swept(self, marginals: bool, workers: int | None = None) -> Solution:
        """Both passes over the whole batch.

        In two threads where that gains, or in as many as `workers` says.
        """
        marginal, log = self._empty(marginals)
        first, *others = self._parts(workers)
        if not others:
            self._run(first, marginal, log)
        else:
            with ThreadPoolExecutor(len(others)) as pool:
                running = [pool.submit(self._run, part, marginal, log) for part in others]
                self._run(first, marginal, log)
                for one in running:
                    one.result()
        return Solution(np.moveaxis(marginal, -1, 0), log)

    def digits_lost(self, part: slice) -> float:
        """Decimal digits lost to cancellation: log10 of the sum without signs over the sum."""
        return digits_between(self._evidence(part, absolute=True), self._evidence(part))

    def _evidence(self, part: slice, absolute: bool = False) -> Solution:
        marginal, log = self._empty(False)
        self._run(part, marginal, log, absolute)
        return Solution(marginal, log[part])

    def _parts(self, workers: int | None) -> list[slice]:
        """Stretches of whole blocks of lanes, one for each thread."""
        batch = self.problem.batch
        large = batch * self.work >= WORTH_A_THREAD
        threads = workers or (min(os.cpu_count() or 1, 2) if large else 1)
        blocks = -(-batch // self._lanes)
        edges = [min(self._lanes * (blocks * i // threads), batch) for i in range(threads + 1)]
        return [slice(a, b) for a, b in pairwise(edges)]

    @cached_property
    def _lanes(self) -> int:
        """Draws side by side: many share the work of finding entries, few stay in the cache."""
        largest = int(self._ready.steps.size.max(initial=1))
        eights = min(-(-self.problem.batch // 8), CACHED // largest // 8, MOST_LANES // 8)
        return 8 * max(eights, 1)

    def _empty(self, marginals: bool) -> tuple[Array, Array]:
        """(V, Lmax, B) for marginals, or (0, 0, B) where none are wanted; (B,) for the evidence."""
        structure, batch = self.problem.network.structure, self.problem.batch
        shape = (len(structure.variables), max(structure.levels), batch)
        return np.empty(shape if marginals else (0, 0, batch)), np.empty(batch)

    def _run(self, part: slice, marginal: Array, log: Array, absolute: bool = False) -> None:
        from sidewise.network.compiled.sweep import room, sweep

        ready, levels = self._ready, max(self.problem.network.structure.levels)
        numbers = int(room(ready.tables, ready.sources, ready.steps, len(marginal) > 0).sum())
        space = workspace.take(numbers * self._lanes)
        sweep(
            ready.tables, ready.sources, ready.steps, ready.same,
            levels, self.problem.signed, absolute,
            part.start, part.stop, self._lanes, space, marginal, log,
        )  # fmt: skip
        workspace.give_back(space)
