"""A problem in numpy: the batch in blocks that fit the cache, a thread for each core."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from sidewise.network.model import Network
from sidewise.network.plain.program import Program, planned_entries, program_of
from sidewise.network.plain.sweep import Sweep
from sidewise.network.problem import Problem
from sidewise.network.solution import Solution, digits_between

# Tables of one block of the batch should stay in a core's cache (2^17 doubles are 1 MiB) and must
# stay far below 64 MiB; short blocks pay numpy's overhead per call instead.
BLOCK_NUMBERS = 1 << 20
SHORTEST_BLOCK = 16
# Table entries (over the batch) from which two threads gain more than their calls cost.
WORTH_A_THREAD = 1_000_000
MOST_WORKERS = 4


@dataclass(frozen=True, eq=False)
class PlainForm:
    """A problem for the passes in numpy."""

    problem: Problem

    @cached_property
    def work(self) -> int:
        """Table entries of one run over one row, from the plan alone."""
        return planned_entries(self.problem)

    @cached_property
    def _program(self) -> Program:
        return program_of(self.problem)

    def swept(self, marginals: bool, workers: int | None = None) -> Solution:
        """Both passes over the whole batch, block by block."""
        parts = _parts(self._program)
        if len(parts) == 1:
            found = [self._run(parts[0], marginals)]
        else:
            _make_shared(self.problem.network)
            with ThreadPoolExecutor(workers or _workers()) as pool:
                found = list(pool.map(lambda part: self._run(part, marginals), parts))
        return Solution(
            np.concatenate([f.marginal for f in found]),
            np.concatenate([f.log_evidence for f in found]),
        )

    def digits_lost(self, part: slice) -> float:
        """Decimal digits lost to cancellation: log10 of the sum without signs over the sum."""
        absolute = self._run(part, False, absolute=True)
        return digits_between(absolute, self._run(part, False))

    def _run(self, part: slice, marginals: bool, absolute: bool = False) -> Solution:
        # Impossible evidence has log 0; switches that lost all digits may go below it.
        with np.errstate(divide="ignore", invalid="ignore"):
            return Sweep(self._program, part, absolute).solution(marginals)


def _workers() -> int:
    return min(os.cpu_count() or 1, MOST_WORKERS)


def _make_shared(network: Network) -> None:
    """Make what blocks share before threads ask for it."""
    _ = network.kept, network.core, network.beside, network.paired
    if network.structure.complaints:
        _ = network.complaint_kept


def _parts(program: Program) -> list[slice]:
    """Stretches of the batch whose tables fit the cache."""
    batch = program.problem.batch
    length = max(SHORTEST_BLOCK, BLOCK_NUMBERS // program.plan.largest)
    count = -(-batch // length)
    entries = batch * sum(bucket.size for bucket in program.plan.buckets)
    if batch >= 4 * SHORTEST_BLOCK and count == 1 and entries >= WORTH_A_THREAD:
        count = min(2, _workers())
    edges = np.linspace(0, batch, count + 1).astype(int).tolist()
    return [slice(a, b) for a, b in pairwise(edges)]
