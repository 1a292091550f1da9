"""Exact posterior of every condition by summing variables out, batched over draws or what-ifs.

Two passes over the tree of buckets (Dechter, Artificial Intelligence 1999; 113:41-85): upwards
each bucket sums its variable out of the product of its tables; downwards each receives the rest of
the network and gives its variable's marginal. Messages are scaled, the logs of the scales kept:
they give the log probability of the evidence, and nothing under- or overflows.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import Protocol

import numpy as np

from sidewise.reason.engine import lower
from sidewise.reason.engine.assemble import Problem, problem_of, widths
from sidewise.reason.engine.evidence import Evidence
from sidewise.reason.engine.factors import Block
from sidewise.reason.engine.folding import level_weights
from sidewise.reason.engine.network import Array, Network
from sidewise.reason.engine.plan import Bucket, Plan, elimination_plan

# Tables of one block of the batch should stay in a core's cache (2^17 doubles are 1 MiB) and must
# stay far below 64 MiB; short blocks pay numpy's overhead per call instead.
BLOCK_NUMBERS = 1 << 20
SHORTEST_BLOCK = 16
# Table entries (over the batch) from which two threads gain more than their calls cost.
WORTH_A_THREAD = 1_000_000
# Factors multiplied before a message is scaled: each is rarely below 1e-12, doubles reach 1e-308.
SCALE_EVERY = 8
TINY = 1e-300
# Switches (see `assemble`) are tried when the plan without them has more table entries than this,
# taken when they save at least a third, and only while the answer keeps 16 - 6 digits.
CHEAP = 4000
# Up to this many entries the order of multiplication does not matter.
SMALL = 256
WORTH = 0.67
MOST_DIGITS = 6.0


@dataclass(frozen=True, eq=False)
class Solution:
    """Exact answer for each of B draws or rows.

    marginal: (B, V, Lmax) probability of each level of each variable, 0 beyond the last level.
    log_evidence: (B,) log probability of the findings given the complaints, natural logs.
    """

    marginal: Array
    log_evidence: Array


def solve(
    network: Network,
    evidence: Evidence,
    *,
    marginals: bool = True,
    workers: int | None = None,
    switched: frozenset[int] | None = None,
) -> Solution:
    """Posterior of every variable and the evidence, exactly.

    The batch is the draws of the network, or the rows of the evidence; if both are longer than
    one they must be equally long and go together. With `marginals=False` only the evidence is
    computed (about half the work) and `marginal` is empty. `switched`: numbers of the readings
    to be written with a switch, from `switches`; if not said they are chosen here.
    """
    solution = _solve(network, evidence, marginals, workers, switched)
    if not network.structure.complaints:
        return solution
    return Solution(solution.marginal, solution.log_evidence - log_complaint(network))


@dataclass(frozen=True, eq=False)
class Ranked:
    """Log evidence of rows for ranking, and the table entries it took."""

    log_evidence: Array
    work: int


def ranked_rows(network: Network, evidence: Evidence) -> Ranked:
    """(rows,) log evidence, with switches and no watch on digits: for ranking records only.

    A record so improbable that its digits are lost comes out as minus infinity or near it, which
    is its place in the ranking.
    """
    free = frozenset(widths(network, evidence))
    forms = [form_of(problem_of(network, evidence, switched)) for switched in (frozenset(), free)]
    chosen = min(forms, key=lambda form: form.work)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = chosen.swept(False).log_evidence
    log_evidence = np.where(np.isnan(found), -np.inf, found) - log_complaint(network)
    return Ranked(log_evidence, chosen.work * evidence.rows)


def prior_solution(network: Network) -> Solution:
    """The answer with nothing examined: priors given the complaints; kept with the network."""
    cached = _before(network)
    return Solution(cached.marginal, np.zeros_like(cached.log_evidence))


def with_prior_solution(network: Network, before: Solution) -> Network:
    """The network, told its answer with nothing examined: that of one with the same priors.

    before: `unexamined` of a network with the same priors, concordance and complaints.
    """
    if before.marginal.shape[0] not in (1, network.draws):
        raise ValueError(f"{before.marginal.shape[0]} answers for {network.draws} draws")
    network.cache["before"] = before
    return network


def unexamined(network: Network) -> Solution:
    """Priors given the complaints, and the log probability of the complaints themselves."""
    return _before(network)


def log_complaint(network: Network) -> Array:
    """(D,) log probability of the complaints before anything was examined."""
    return _before(network).log_evidence


def _before(network: Network) -> Solution:
    """Nothing examined but the complaints; kept with the network."""
    cached = network.cache.get("before")
    if cached is None:
        cached = network.cache["before"] = _solve(network, _nothing(), True, None)
    assert isinstance(cached, Solution)
    return cached


def _nothing() -> Evidence:
    return Evidence((), np.empty((1, 0)), np.empty((1, 0)))


def _solve(
    network: Network,
    evidence: Evidence,
    marginals: bool,
    workers: int | None,
    switched: frozenset[int] | None = None,
) -> Solution:
    if network.draws > 1 and evidence.rows > 1 and network.draws != evidence.rows:
        raise ValueError(f"{network.draws} draws cannot go with {evidence.rows} rows")
    plain = form_of(problem_of(network, evidence))
    if switched is None:
        chosen = _switches(plain)[1]
    else:
        columns = frozenset(c for c, r in enumerate(evidence.readings) if r in switched)
        chosen = form_of(problem_of(network, evidence, columns)) if columns else None
    if chosen is not None:
        found = chosen.swept(marginals, workers)
        if np.isfinite(found.log_evidence).all():
            return found
    return plain.swept(marginals, workers)


def switches(network: Network, evidence: Evidence) -> frozenset[int]:
    """Numbers of the readings to write with a switch: all that may be, the widest half, or none.

    The first choice that saves work and keeps its digits, in every row (of the draws: in the
    first; they differ little in this).
    """
    return _switches(form_of(problem_of(network, evidence)))[0]


def _switches(plain: Form) -> tuple[frozenset[int], Form | None]:
    network, evidence = plain.problem.network, plain.problem.evidence
    free = widths(network, evidence)
    if plain.work < CHEAP or not free:
        return frozenset(), None
    rows = slice(0, 1 if network.draws > 1 else evidence.rows)
    widest = sorted(free, key=free.__getitem__, reverse=True)
    for count in dict.fromkeys((len(widest), -(-len(widest) // 2))):
        columns = frozenset(widest[:count])
        form = form_of(problem_of(network, evidence, columns))
        if form.work < WORTH * plain.work and form.digits_lost(rows) < MOST_DIGITS:
            return frozenset(evidence.readings[c] for c in columns), form
    return frozenset(), None


class Form(Protocol):
    """A problem, planned in one way of computing: by numpy, or compiled."""

    @property
    def problem(self) -> Problem:
        """What is to be summed."""

    @property
    def work(self) -> int:
        """Table entries of one run over one row."""

    def swept(self, marginals: bool, workers: int | None = None) -> Solution:
        """Both passes over the whole batch; only upwards if no marginals are wanted."""

    def digits_lost(self, part: slice) -> float:
        """Decimal digits lost to cancellation: log10 of the sum without signs over the sum."""


def form_of(problem: Problem) -> Form:
    """The problem in the compiled form if that is turned on and its tables are not too large."""
    if lower.is_on():
        plan = lower.planned(problem)
        if plan.entries <= lower.MOST_ENTRIES:
            return Compiled(plan)
    return InNumpy(problem)


def _lost(absolute: Array, signed: Array) -> float:
    lost = (absolute - signed) / np.log(10.0)
    return float(np.where(np.isfinite(lost), lost, np.inf).max())


@dataclass(frozen=True, eq=False)
class Compiled:
    """A problem for the compiled passes."""

    plan: lower.Scopes

    @property
    def problem(self) -> Problem:
        """What is to be summed."""
        return self.plan.problem

    @property
    def work(self) -> int:
        """Table entries of one run over one row."""
        return self.plan.entries

    @cached_property
    def _ready(self) -> lower.Ready:
        return lower.ready(self.plan)

    def swept(self, marginals: bool, workers: int | None = None) -> Solution:
        """Both passes over the whole batch."""
        marginal, log_evidence = self._ready.run_all(marginals, workers)
        if not marginals:
            return Solution(np.empty((len(log_evidence), 0, 0)), log_evidence)
        return Solution(np.moveaxis(marginal, -1, 0), log_evidence)

    def digits_lost(self, part: slice) -> float:
        """Decimal digits lost to cancellation."""
        with np.errstate(invalid="ignore"):
            return _lost(self._ready.log_evidence(part, True), self._ready.log_evidence(part))


@dataclass(frozen=True, eq=False)
class InNumpy:
    """A problem for the passes below."""

    problem: Problem

    @cached_property
    def work(self) -> int:
        """Table entries of one run over one row, from the plan alone."""
        _, sizes, scopes = _joined(self.problem)
        return sum(bucket.size for bucket in _plan(sizes, scopes).buckets)

    @cached_property
    def _program(self) -> Program:
        return compiled_program(self.problem)

    def swept(self, marginals: bool, workers: int | None = None) -> Solution:
        """The program run over the whole batch, block by block."""
        return _swept(self._program, marginals, workers)

    def digits_lost(self, part: slice) -> float:
        """Decimal digits lost to cancellation."""
        return self._program.digits_lost(part)


def _swept(program: Program, marginals: bool, workers: int | None) -> Solution:
    """The program run over the whole batch, block by block."""
    network, parts = program.problem.network, _parts(program)
    if len(parts) == 1:
        found = [program.run(parts[0], marginals)]
    else:
        _warm(network)
        with ThreadPoolExecutor(workers or _workers()) as pool:
            found = list(pool.map(lambda part: program.run(part, marginals), parts))
    return Solution(
        np.concatenate([f.marginal for f in found]),
        np.concatenate([f.log_evidence for f in found]),
    )


def _workers() -> int:
    return min(os.cpu_count() or 1, 4)


def _warm(network: Network) -> None:
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


@dataclass(frozen=True, slots=True)
class Step:
    """What one bucket does.

    factors: (number of the factor, shape without the batch) of each table made here.
    shapes: shape in which each child's message arrives.
    merges: pairs (kept, absorbed) of operands to multiply, in order; the last holds the product.
    wanted: some condition's marginal is read in this bucket or below it.
    """

    bucket: Bucket
    scopes: tuple[tuple[int, ...], ...]
    shapes: tuple[tuple[int, ...], ...]
    merges: tuple[tuple[int, int], ...]
    unary: bool
    wanted: bool
    away: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, eq=False)
class Program:
    """A plan with the shapes worked out: run on any stretch of the batch."""

    problem: Problem
    plan: Plan
    steps: tuple[Step, ...]
    active: tuple[int, ...]  # number in the problem of each variable of the plan

    def run(self, part: slice, marginals: bool) -> Solution:
        """Both passes over one stretch of the batch."""
        # Impossible evidence has log 0; switches that lost all digits may go below it.
        with np.errstate(divide="ignore", invalid="ignore"):
            return _Run(self, part).solution(marginals)

    def digits_lost(self, part: slice) -> float:
        """Decimal digits lost to cancellation: log10 of the sum without signs over the sum."""
        with np.errstate(divide="ignore", invalid="ignore"):
            signed = _Run(self, part).solution(False).log_evidence
            absolute = _Run(self, part, absolute=True).solution(False).log_evidence
        return _lost(absolute, signed)


def compiled_program(problem: Problem) -> Program:
    """Plan the elimination of the variables that some factor joins."""
    active, sizes, scopes = _joined(problem)
    conditions = len(problem.network.structure.variables)
    plan, steps = _planned(sizes, scopes, tuple(v < conditions for v in active))
    return Program(problem, plan, steps, active)


Numbers = tuple[int, ...]


def _joined(problem: Problem) -> tuple[Numbers, Numbers, tuple[Numbers, ...]]:
    """Variables that some factor joins, their sizes, and the scopes in the new numbers."""
    active = tuple(sorted({v for factor in problem.factors for v in factor.scope}))
    place = {v: i for i, v in enumerate(active)}
    scopes = tuple([tuple([place[v] for v in factor.scope]) for factor in problem.factors])
    return active, tuple([problem.sizes[v] for v in active]), scopes


@lru_cache(maxsize=256)
def _plan(sizes: Numbers, scopes: tuple[Numbers, ...]) -> Plan:
    return elimination_plan(sizes, scopes)


@lru_cache(maxsize=256)
def _planned(
    sizes: Numbers, scopes: tuple[Numbers, ...], condition: tuple[bool, ...]
) -> tuple[Plan, tuple[Step, ...]]:
    plan = _plan(sizes, scopes)
    steps: list[Step] = []
    for bucket in plan.buckets:
        own = condition[bucket.variable]
        wanted = own or any(steps[child].wanted for child in bucket.children)
        steps.append(_step(plan, sizes, scopes, bucket, own, wanted))
    return plan, tuple(steps)


def _step(
    plan: Plan,
    sizes: tuple[int, ...],
    scopes: tuple[tuple[int, ...], ...],
    bucket: Bucket,
    condition: bool,
    wanted: bool,
) -> Step:
    position = plan.position.__getitem__
    mine = tuple(tuple(sorted(scopes[f], key=position)) for f in bucket.factors)
    messages = tuple(plan.buckets[child].scope[1:] for child in bucket.children)
    operands = [*mine, *messages]
    if condition:
        operands.append((bucket.variable,))
    sets = [frozenset(scope) for scope in operands]
    shapes = tuple(tuple(sizes[v] if v in s else 1 for v in bucket.scope) for s in sets)
    away = tuple(
        tuple(axis for axis, v in enumerate(bucket.scope) if v not in set(m)) for m in messages
    )
    small = bucket.size <= SMALL
    merges = tuple((0, other) for other in range(1, len(shapes))) if small else _merges(shapes)
    return Step(bucket, mine, shapes, merges, condition, wanted, away)


def _merges(shapes: tuple[tuple[int, ...], ...]) -> tuple[tuple[int, int], ...]:
    """Order of multiplication that keeps the tables between small.

    First each operand goes into the smallest other that already spans it; what is left is
    chained, each time taking the operand that widens the product least. The widest goes last.
    """
    masks = [sum(1 << a for a, n in enumerate(shape) if n > 1) for shape in shapes]
    sizes = [int(np.prod(shape)) for shape in shapes]
    left = sorted(range(len(shapes)), key=sizes.__getitem__)
    merges, kept = [], []
    while left:
        i = left.pop(0)
        host = next((j for j in left if masks[i] | masks[j] == masks[j]), None)
        if host is None:
            kept.append(i)
        else:
            merges.append((host, i))
    first, rest = kept[0], kept[1:]
    mask, shape = masks[first], shapes[first]
    while rest:
        best = min(rest, key=lambda j: (_widened(shape, shapes[j]), -(masks[j] & mask).bit_count()))
        rest.remove(best)
        shape = tuple(map(max, shape, shapes[best]))
        mask |= masks[best]
        merges.append((first, best))
    return tuple(merges)


def _widened(a: tuple[int, ...], b: tuple[int, ...]) -> int:
    size = 1
    for x, y in zip(a, b, strict=True):
        size *= max(x, y)
    return size


class _Run:
    """One stretch of the batch: tables, messages and scales."""

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
            found.append(self.problem.factors[number].build(self.block, real))
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
        self.tables[number] = None

    def _divisor(self, message: Array) -> Array:
        """The message, but nothing is handed down where it is nought."""
        if self.problem.signed:
            return np.where(np.abs(message) < TINY, np.inf, message)
        return np.maximum(message, TINY)

    def _marginal(self, step: Step, belief: Array) -> None:
        variable = self.program.active[step.bucket.variable]
        marginal = belief.sum(axis=tuple(range(1, belief.ndim - 1)))
        if self.problem.signed:
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
