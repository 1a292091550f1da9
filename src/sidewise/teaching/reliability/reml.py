"""The restricted likelihood of a mean with nested and crossed random effects, made small.

One rating is y = mean + effects of its groups + residual. Groups that nest in one another (a
student's cell at a station, the student, the session) form the *chain*; the others (stations,
examiners) are *crossed*. With variance ratios r = variance / residual variance, eliminating a
group of weight w from the normal equations subtracts r/(1 + r w) times the outer product of its
sums and hands sums divided by 1 + r w to the next level: no matrix is ever wider than the crossed
columns plus two. The gradient is the same pass run backwards.

Patterson HD, Thompson R, Biometrika 1971; 58:545-554 (restricted likelihood). Harville DA, J Am
Stat Assoc 1977; 72:320-338 (its derivatives). Both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from sidewise.ground.arrays import Array, BoolArray, IntArray
from sidewise.ground.searches import find_minimum

# Below this square root of a variance ratio a component is tried at exactly zero.
NEAR_ZERO = 0.02
# Of n, for a response scaled to n: smaller sums of squares are rounding.
ROUNDING = 1e-13
# Square root of the largest variance ratio looked at: beyond it a residual is as good as zero.
LARGEST_ROOT = 1e3
# A search never stands at a root of exactly zero, where its slope vanishes.
SMALLEST_ROOT = 1e-3
RESTARTS = 4
# Slopes by a ratio below this are flat: over the tiny ratios in question they change nothing.
SLOPE = 1e-3
# How near the least criterion a search comes; it grows with the number of ratings, whose sum it is.
EXACT, RELATIVE = 1e-11, 1e-14
# Numbers (128 MB of them) that outer products may hold before they are summed anew for each step.
MOST_HELD = 16_000_000
# Rows of dense products at a time: bounds memory, not the answer.
ROWS_AT_ONCE = 2_000


@dataclass(frozen=True)
class Sums:
    """Everything the criterion needs, summed over ratings once.

    `cross` is D'D for D = [crossed indicators, intercept, response]. Finest groups are gathered
    by their number of ratings (`sizes`, `counts`, `outer`); `passed` and `weights` are their sums
    within the groups one level up; `starts` and `parents` lead from each level to the next.
    Where groups have so many sizes, and so many levels are crossed with them, that `outer` would
    hold too much, it is None; `finest` then has the sums of every group (sparse) and `kind` which
    of `sizes` it has.
    """

    rows: int
    cross: Array
    sizes: Array
    counts: Array
    outer: Array | None
    finest: Any
    kind: IntArray
    passed: Array
    weights: Array
    starts: tuple[IntArray, ...]
    parents: tuple[IntArray, ...]
    widths: tuple[int, ...]
    levels: int
    log_scale: float

    @property
    def spread(self) -> IntArray:
        """For each crossed column, the number of its facet."""
        return np.repeat(np.arange(len(self.widths)), self.widths)

    @property
    def free(self) -> int:
        """Degrees of freedom of the residual contrast: ratings less the one mean."""
        return self.rows - 1


@dataclass(frozen=True)
class RestrictedLikelihood:
    """The criterion (-2 log restricted likelihood) at one set of variance ratios.

    `gradient` is by ratio (chain from finest to coarsest, then crossed facets) and, where the
    residual variance was given, `by_residual` at fixed ratios. Units are those of the scaled
    response; `criterion` is already that of the response as it came.
    """

    criterion: float
    gradient: Array
    by_residual: float
    residual: float
    mean: float
    mean_variance: float


def sums_of_design(
    response: Array, chain: list[IntArray], crossed: list[IntArray], widths: tuple[int, ...]
) -> Sums:
    """Sum the ratings. `chain` holds group codes from finest to coarsest, each nested in the next;
    `crossed` the codes of crossed facets with `widths` levels. Codes count from zero."""
    chain = _in_family_order(chain)
    centred = response - response.mean()
    scale = float(centred.std())
    data = _columns(centred / scale, crossed, widths)
    cross = (data.T @ data).toarray()
    finest = _by_group(chain[0]) @ data
    size = np.bincount(chain[0])
    sizes, which = np.unique(size, return_inverse=True)
    parent = _parents(chain)
    outer = None
    if len(sizes) * cross.size <= MOST_HELD:
        outer = np.stack([_outer(finest[which == k]) for k in range(len(sizes))])
    passed, weights = _passed_up(finest, which, len(sizes), parent[0] if parent else None)
    return Sums(
        rows=len(response), cross=cross, sizes=sizes.astype(float),
        counts=np.bincount(which).astype(float), outer=outer, finest=finest,
        kind=which.astype(np.int64), passed=passed, weights=weights,
        starts=tuple(_starts(p) for p in parent[1:]), parents=tuple(parent[1:]), widths=widths,
        levels=len(chain), log_scale=float(np.log(scale)),
    )  # fmt: skip


def _in_family_order(chain: list[IntArray]) -> list[IntArray]:
    """Renumber every level so that groups of one parent stand together."""
    ordered: list[IntArray] = []
    above: IntArray | None = None
    for codes in reversed(chain):
        key = codes if above is None else above * (int(codes.max()) + 1) + codes
        above = np.unique(key, return_inverse=True)[1].astype(np.int64)
        ordered.append(above)
    return ordered[::-1]


def _columns(response: Array, crossed: list[IntArray], widths: tuple[int, ...]) -> Any:
    from scipy import sparse

    n = len(response)
    offsets = np.concatenate([[0], np.cumsum(widths)]).astype(np.int64)
    per_row = len(crossed) + 2
    index = np.empty((n, per_row), dtype=np.int64)
    value = np.ones((n, per_row))
    for k, codes in enumerate(crossed):
        index[:, k] = codes + offsets[k]
    index[:, -2], index[:, -1] = offsets[-1], offsets[-1] + 1
    value[:, -1] = response
    pointer = np.arange(0, n * per_row + 1, per_row)
    shape = (n, int(offsets[-1]) + 2)
    return sparse.csr_array((value.ravel(), index.ravel(), pointer), shape=shape)


def _by_group(codes: IntArray) -> Any:
    from scipy import sparse

    n = len(codes)
    return sparse.csr_array((np.ones(n), (codes, np.arange(n))), shape=(int(codes.max()) + 1, n))


def _outer(block: Any) -> Array:
    dense: Array = (block.T @ block).toarray()
    return dense


def _parents(chain: list[IntArray]) -> list[IntArray]:
    """For each level but the last, the group one level up that each group lies in."""
    parents = []
    for fine, coarse in pairwise(chain):
        parent = np.empty(int(fine.max()) + 1, dtype=np.int64)
        parent[fine] = coarse
        parents.append(parent)
    return parents


def _passed_up(
    finest: Any, which: IntArray, kinds: int, parent: IntArray | None
) -> tuple[Array, Array]:
    """Sums and numbers of the finest groups, by size and by the group they lie in."""
    width = finest.shape[1]
    if parent is None:
        return np.zeros((kinds, 0, width)), np.zeros((kinds, 0))
    groups = int(parent.max()) + 1
    adder = _by_group(parent)
    sums = [(adder[:, which == k] @ finest[which == k]).toarray() for k in range(kinds)]
    numbers = [np.bincount(parent[which == k], minlength=groups) for k in range(kinds)]
    return np.stack(sums), np.stack(numbers).astype(float)


def _starts(parent: IntArray) -> IntArray:
    return np.flatnonzero(np.diff(parent, prepend=-1)).astype(np.int64)


@dataclass
class _Tape:
    """What the forward pass leaves for the backward one, level by level."""

    sums: list[Array] = field(default_factory=list)
    weight: list[Array] = field(default_factory=list)
    shrink: list[Array] = field(default_factory=list)


def _eliminate_chain(s: Sums, ratios: Array) -> tuple[Array, float, _Tape]:
    """D'V^-1 D and log det V for the chain alone (V in residual variances)."""
    tape = _Tape()
    shrink = 1.0 / (1.0 + ratios[0] * s.sizes)
    matrix = s.cross - _outer_sum(s, ratios[0] * shrink)
    logdet = -float(s.counts @ np.log(shrink))
    tape.shrink.append(shrink)
    if s.levels == 1:
        return matrix, logdet, tape
    sums = np.tensordot(shrink, s.passed, axes=1)
    weight = (shrink * s.sizes) @ s.weights
    for level in range(1, s.levels):
        shrink = 1.0 / (1.0 + ratios[level] * weight)
        matrix = matrix - (sums * (ratios[level] * shrink)[:, None]).T @ sums
        logdet -= float(np.log(shrink).sum())
        tape.sums.append(sums)
        tape.weight.append(weight)
        tape.shrink.append(shrink)
        if level + 1 < s.levels:
            starts = s.starts[level - 1]
            sums = np.add.reduceat(sums * shrink[:, None], starts, axis=0)
            weight = np.add.reduceat(weight * shrink, starts)
    return matrix, logdet, tape


def _outer_sum(s: Sums, weight: Array) -> Array:
    """The finest groups' outer products, summed with a weight for each size."""
    if s.outer is not None:
        return np.asarray(np.tensordot(weight, s.outer, axes=1))
    weighted = s.finest.copy()
    weighted.data *= np.repeat(weight[s.kind], np.diff(s.finest.indptr))
    dense: Array = (s.finest.T @ weighted).toarray()
    return dense


def _outer_with(s: Sums, matrix: Array) -> Array:
    """For each size the sum over its finest groups of g' M g, g the sums of a group."""
    if s.outer is not None:
        dense: Array = np.einsum("kij,ij->k", s.outer, matrix)
        return dense
    each = np.zeros(s.finest.shape[0])
    for start in range(0, len(each), ROWS_AT_ONCE):
        some = s.finest[start : start + ROWS_AT_ONCE]
        each[start : start + ROWS_AT_ONCE] = (some.multiply(some @ matrix)).sum(axis=1)
    return np.bincount(s.kind, each, len(s.sizes)).astype(float)


def chain_eliminated(s: Sums, ratios: Array) -> Array:
    """D'V^-1 D, V that of the chain alone: normal equations with crossed facets as they are."""
    return _eliminate_chain(s, ratios)[0]


def _chain_gradient(s: Sums, ratios: Array, tape: _Tape, by_matrix: Array) -> Array:
    """Derivative by each chain ratio, given the derivative by the eliminated matrix."""
    gradient = np.zeros(s.levels)
    sums_bar: Array | None = None
    weight_bar: Array | None = None
    for level in range(s.levels - 1, 0, -1):
        sums, w, b = tape.sums[level - 1], tape.weight[level - 1], tape.shrink[level]
        r = ratios[level]
        product = sums @ by_matrix
        c_bar = -np.einsum("ij,ij->i", product, sums)
        own = product * (-2.0 * r * b)[:, None]
        own_weight = r * b - c_bar * (r * b) ** 2
        slope = w * b + c_bar * b**2
        if sums_bar is not None and weight_bar is not None:
            parent = s.parents[level - 1]
            above, above_weight = sums_bar[parent], weight_bar[parent]
            b_bar = np.einsum("ij,ij->i", above, sums) + above_weight * w
            own += above * b[:, None]
            own_weight = own_weight + above_weight * b - b_bar * r * b**2
            slope = slope - b_bar * w * b**2
        gradient[level] = float(slope.sum())
        sums_bar, weight_bar = own, own_weight
    gradient[0] = _finest_gradient(s, tape.shrink[0], by_matrix, sums_bar, weight_bar)
    return gradient


def _finest_gradient(
    s: Sums, b: Array, by_matrix: Array, sums_bar: Array | None, weight_bar: Array | None
) -> float:
    total = float(s.counts @ (s.sizes * b))
    total -= float(b**2 @ _outer_with(s, by_matrix))
    if sums_bar is None or weight_bar is None:
        return total
    b_bar = np.array([np.vdot(sums_bar, passed) for passed in s.passed])
    b_bar = b_bar + s.sizes * (s.weights @ weight_bar)
    return total - float(b_bar @ (s.sizes * b**2))


def restricted_likelihood(
    s: Sums, ratios: Array, residual: float | None = None
) -> RestrictedLikelihood:
    """The criterion and its gradient at `ratios` (chain first, then crossed).

    -2 l = f log(2 pi v) + log det V + log det X'V^-1 X + rss/v with f = n - 1, V in residual
    variances; v is `residual`, or where that is None its best value rss/f (profiled out).
    """
    matrix, logdet, tape = _eliminate_chain(s, ratios)
    width = sum(s.widths)
    root = np.sqrt(ratios[s.levels :])[s.spread] if width else np.zeros(0)
    m_zz, m_rz = matrix[:width, :width], matrix[width:, :width]
    inner = np.eye(width) + root[:, None] * m_zz * root
    lower = np.linalg.cholesky(inner)
    logdet += 2.0 * float(np.log(np.diag(lower)).sum())
    hat = root[:, None] * np.linalg.inv(inner) * root
    y = hat @ m_rz.T
    rest = matrix[width:, width:] - m_rz @ y
    # Where effects explain every mark both vanish, and rounding could take them below zero.
    floor = ROUNDING * s.rows
    info = max(float(rest[0, 0]), floor)
    mean = float(rest[0, 1]) / info
    rss = max(float(rest[1, 1]) - mean * float(rest[0, 1]), floor)
    v = rss / s.free if residual is None else residual
    criterion = s.free * np.log(2 * np.pi * v) + logdet + np.log(info) + rss / v
    toward = np.array([-mean, 1.0])
    by_rest = np.outer(toward, toward) / v
    by_rest[0, 0] += 1.0 / info
    by_matrix = np.block([[hat + y @ by_rest @ y.T, -y @ by_rest], [-by_rest @ y.T, by_rest]])
    gradient = np.concatenate([
        _chain_gradient(s, ratios, tape, by_matrix), _crossed_gradient(s, m_zz, m_rz, hat, by_rest)
    ])  # fmt: skip
    return RestrictedLikelihood(
        criterion=float(criterion) + 2.0 * s.free * s.log_scale,
        gradient=gradient, by_residual=s.free / v - rss / v**2,
        residual=v, mean=mean, mean_variance=v / info,
    )  # fmt: skip


def _crossed_gradient(s: Sums, m_zz: Array, m_rz: Array, hat: Array, by_rest: Array) -> Array:
    if not s.widths:
        return np.zeros(0)
    left = np.eye(len(m_zz)) - m_zz @ hat
    spread = left @ m_rz.T
    each = np.einsum("ij,ji->i", left, m_zz) - np.einsum("ij,jk,ik->i", spread, by_rest, spread)
    return np.bincount(s.spread, weights=each, minlength=len(s.widths)).astype(float)


@dataclass(frozen=True)
class RemlFit:
    """Ratios at the least criterion, the residual variance there, and how it was reached."""

    ratios: Array
    value: RestrictedLikelihood
    evaluations: int
    converged: bool


def fit_reml(s: Sums, start: Array | None = None) -> RemlFit:
    """Least criterion over variance ratios at or above zero; tiny ones are tried at zero."""
    count = s.levels + len(s.widths)
    first = _search(s, np.full(count, 0.7) if start is None else np.sqrt(start))
    for _ in range(RESTARTS):
        # By the root the slope vanishes at zero whatever it is by the ratio: a search that stopped
        # there on a falling slope is sent on from further out.
        stuck = (np.sqrt(first.ratios) < NEAR_ZERO) & (first.value.gradient < -SLOPE)
        if not stuck.any():
            break
        again = _search(s, np.where(stuck, 0.2, np.sqrt(first.ratios)))
        better = again.value.criterion < first.value.criterion - 1e-9
        evaluations = first.evaluations + again.evaluations
        kept = again if better else first
        first = RemlFit(kept.ratios, kept.value, evaluations, kept.converged)
        if not better:
            break
    return _at_zero(s, first)


def _at_zero(s: Sums, first: RemlFit) -> RemlFit:
    """Tiny ratios at exactly zero where that is no worse and the criterion rises from there."""
    small = np.sqrt(first.ratios) < NEAR_ZERO
    if not small.any():
        return first
    trial = _search(s, np.where(small, 0.0, np.sqrt(first.ratios)), held=small)
    better = trial.value.criterion <= first.value.criterion + 1e-7
    down = bool(np.all(trial.value.gradient[small] >= -SLOPE))
    best = trial if better and down else first
    evaluations = first.evaluations + trial.evaluations
    return RemlFit(best.ratios, best.value, evaluations, best.converged)


def _search(s: Sums, root: Array, held: BoolArray | None = None) -> RemlFit:
    fixed = np.zeros(len(root), dtype=bool) if held is None else held
    low, high = np.where(fixed, 0.0, SMALLEST_ROOT), np.where(fixed, 0.0, LARGEST_ROOT)
    root = np.where(fixed, 0.0, np.clip(root, SMALLEST_ROOT, LARGEST_ROOT))
    base = restricted_likelihood(s, root**2).criterion

    def objective(x: Array) -> tuple[float, Array]:
        value = restricted_likelihood(s, x**2)
        return value.criterion - base, value.gradient * 2 * x

    found = find_minimum(objective, root, low, high, tolerance=EXACT + RELATIVE * s.rows, most=400)
    ratios = found.at**2
    value = restricted_likelihood(s, ratios)
    # A line search that stalls in rounding error has converged for every practical purpose.
    flat = float(np.abs(value.gradient * 2 * found.at).max()) < 1e-3 + 1e-7 * s.free
    return RemlFit(ratios, value, found.evaluations + 2, found.converged or flat)
