"""Both passes over a stretch of the batch, in numpy.

Upwards each bucket sums its variable out of the product of its tables; downwards each receives the
rest of the network and gives its variable's marginal. Messages are scaled, the logs of the scales
kept: they give the log probability of the evidence, and nothing under- or overflows.
"""

from __future__ import annotations

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.plain.block import Block
from sidewise.network.plain.program import Program
from sidewise.network.plain.steps import Step
from sidewise.network.plain.tables import table_of
from sidewise.network.plain.weights import level_weights
from sidewise.network.solution import Solution

# Factors multiplied before a message is scaled: each is rarely below 1e-12, doubles reach 1e-308.
SCALE_EVERY = 8
TINY = 1e-300


class Sweep:
    """One stretch of the batch: tables, messages and scales.

    absolute: signs of switches are left out, to see how much cancels.
    """

    def __init__(self, program: Program, part: slice, absolute: bool = False) -> None:
        self.program = program
        self.problem = program.problem
        self.width = part.stop - part.start
        self.block = Block(self.problem.network, self.problem.evidence, part, absolute)
        self.log = np.zeros(self.width)
        self.messages: list[Array] = []
        self.tables: list[Array | None] = []
        self.waiting = [0] * len(program.steps)
        self.weights = level_weights(self.problem, self.block)
        self._scale_weights()

    def _scale_weights(self) -> None:
        total = self.weights.sum(axis=1)
        self.log += np.log(total).sum(axis=0)
        self.weights /= np.maximum(total, TINY)[:, None]

    def solution(self, marginals: bool) -> Solution:
        """Upwards, and if marginals are wanted downwards; once for each sweep."""
        for number, step in enumerate(self.program.steps):
            self._up(number, step, marginals and step.wanted)
        if marginals:
            self._all_down()
            return Solution(np.moveaxis(self.weights, -1, 0), self.log)
        return Solution(np.empty((self.width, 0, 0)), self.log)

    def _operands(self, step: Step) -> list[Array]:
        program = self.program
        found = []
        for number, scope in zip(step.bucket.factors, step.scopes, strict=True):
            real = tuple(program.active[v] for v in scope)
            found.append(table_of(self.problem.factors[number], self.block, real))
        found += [self.messages[child] for child in step.bucket.children]
        if step.unary:
            variable = program.active[step.bucket.variable]
            found.append(self.weights[variable, : self.problem.sizes[variable]])
        return [
            table.reshape(*shape, table.shape[-1])
            for table, shape in zip(found, step.shapes, strict=True)
        ]

    def _up(self, number: int, step: Step, keep: bool) -> None:
        operands = self._operands(step)
        # A product that nobody comes back to need not be stored to be summed.
        fused = bool(step.merges) and not keep
        own: set[int] = set()
        for host, guest in step.merges[:-1] if fused else step.merges:
            operands[host] = _product(operands[host], operands[guest], host in own)
            own.add(host)
        last = step.merges[-1] if step.merges else (0, 0)
        if fused:
            message = _summed_product(operands[last[0]], operands[last[1]])
        else:
            message = operands[last[0]].sum(axis=0)
        self.tables.append(operands[last[0]] if keep else None)
        self.messages.append(self._scaled(number, step, message))

    def _scaled(self, number: int, step: Step, message: Array) -> Array:
        # Scaling every message would read each of a thousand small tables twice more.
        bucket = step.bucket
        waiting = len(bucket.factors) + sum(self.waiting[child] for child in bucket.children)
        if bucket.parent >= 0 and waiting < SCALE_EVERY:
            self.waiting[number] = waiting
            return message
        axes = tuple(range(message.ndim - 1))
        largest = message.max(axis=axes)
        if self.problem.signed and bucket.parent >= 0:
            largest = np.maximum(largest, -message.min(axis=axes))
        self.log += np.log(largest)
        return np.asarray(message / np.maximum(largest, TINY))

    def _all_down(self) -> None:
        rest: list[Array | None] = [None] * len(self.program.steps)
        for number in range(len(self.program.steps) - 1, -1, -1):
            if self.program.steps[number].wanted:
                self._down(number, rest)

    def _down(self, number: int, rest: list[Array | None]) -> None:
        step, belief, outer = self.program.steps[number], self.tables[number], rest[number]
        assert belief is not None
        if outer is not None:
            belief = _product(belief, outer[None], bool(step.merges))
        if step.unary:
            self._marginal(step, belief)
        for child, away in zip(step.bucket.children, step.away, strict=True):
            if self.program.steps[child].wanted:
                toward = belief.sum(axis=away) if away else belief
                rest[child] = toward / self._divisor(self.messages[child])
        # Nobody reads it again, and the widest tables should not all be held at once.
        self.tables[number] = None

    def _divisor(self, message: Array) -> Array:
        """The message, but nothing is handed down where it is zero."""
        if self.problem.signed:
            return np.where(np.abs(message) < TINY, np.inf, message)
        return np.maximum(message, TINY)

    def _marginal(self, step: Step, belief: Array) -> None:
        variable = self.program.active[step.bucket.variable]
        marginal = belief.sum(axis=tuple(range(1, belief.ndim - 1)))
        if self.problem.signed:
            # What should be zero may be a last digit below it, after the switches cancelled.
            np.maximum(marginal, 0.0, out=marginal)
        total = np.maximum(marginal.sum(axis=0), TINY)
        self.weights[variable, : len(marginal)] = marginal / total


def _product(a: Array, b: Array, own: bool) -> Array:
    """a * b, written over `a` if that is ours and large enough."""
    if own and all(n >= m for n, m in zip(a.shape, b.shape, strict=True)):
        a *= b
        return a
    return np.asarray(a * b)


def _summed_product(a: Array, b: Array) -> Array:
    """Sum over the first axis of a * b, without keeping the product."""
    if len(a) == 1 or len(b) == 1 or len(a) < 4:
        return np.asarray((a * b).sum(axis=0))
    total: Array = a[0] * b[0]
    term = np.empty_like(total)
    for first, second in zip(a[1:], b[1:], strict=True):
        np.multiply(first, second, out=term)
        total += term
    return total
