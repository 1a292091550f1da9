"""Many-facet rating-scale and partial-credit models by marginal maximum likelihood: the numbers.

log P(x)/P(x-1) = ability - station - examiner - step_x, abilities normal with mean 0. Examiners
and stations are tied together through ability, so one examiner per student and station is enough.
Ratings are counted once by (station and examiner, category); a step of the search is one table of
log probabilities on the nodes, one sparse product to students and one back.

Linacre JM, Many-Facet Rasch Measurement, 1989; Andrich D, Psychometrika 1978; 43:561-573; Masters
GN, Psychometrika 1982; 47:149-174; marginal likelihood: Bock & Aitkin, Psychometrika 1981;
46:443-459; observed information: Louis TA, J R Stat Soc B 1982; 44:226-233. All from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sidewise.ground.arrays import Array, IntArray
from sidewise.ground.searches import find_minimum

NODES = np.linspace(-6.0, 6.0, 21)
# Far beyond any estimate, for every parameter but the last; the spread between 0.01 and 20 logits
# keeps its logarithm finite.
FARTHEST, LOG_SPREAD = 30.0, (-4.6, 3.0)
# Students handled at a time when the information is summed: bounds memory, not the answer.
CHUNK = 20_000
# Of the deviance of one student, over two: the Newton steps that follow do the rest.
SETTLED = 1e-10


@dataclass(frozen=True)
class FacetTable:
    """Ratings as counted for the search.

    `design` (students x pair-and-category) counts ratings; `design_back` is its transpose.
    `pair_station`, `pair_examiner` say what each pair is; `tops` the highest category at each
    station; `spread` maps free parameters to natural ones (station, examiner, steps, log spread).
    """

    design: Any
    design_back: Any
    pair_station: IntArray
    pair_examiner: IntArray
    tops: IntArray
    examiners: int
    step_sets: int
    spread: Array = field(repr=False)

    @property
    def students(self) -> int:
        return int(self.design.shape[0])

    @property
    def stations(self) -> int:
        return len(self.tops)

    @property
    def top(self) -> int:
        return int(self.tops.max())

    @property
    def step_of_pair(self) -> IntArray:
        """Which set of steps each pair uses: one for all, or its station's own."""
        if self.step_sets == 1:
            return np.zeros(len(self.pair_station), dtype=np.int64)
        return self.pair_station


@dataclass(frozen=True)
class FacetParameters:
    """Parameters by their meaning, in logits; steps as (sets, categories)."""

    station: Array
    examiner: Array
    steps: Array
    spread: float


@dataclass(frozen=True)
class FacetState:
    """One evaluation: log probabilities and probabilities (pairs, categories, nodes), the
    posterior of each student over nodes, and the deviance (-2 log likelihood)."""

    natural: FacetParameters
    probability: Array
    posterior: Array
    prior_slope: Array
    deviance: float


@dataclass(frozen=True)
class FacetFit:
    """Best parameters with the covariance of the natural ones (log spread last)."""

    state: FacetState
    covariance: Array
    converged: bool
    evaluations: int


def facet_table(
    student: IntArray, station: IntArray, examiner: IntArray, category: IntArray, *,
    contrasts: Array, own_steps: bool, tops: IntArray,
) -> FacetTable:  # fmt: skip
    """Count ratings. Codes count from zero; `contrasts` spans the estimable severities."""
    from scipy import sparse

    examiners = contrasts.shape[0]
    pairs, pair = np.unique(station * examiners + examiner, return_inverse=True)
    width = int(tops.max()) + 1
    shape = (int(student.max()) + 1, len(pairs) * width)
    design = sparse.csr_array((np.ones(len(student)), (student, pair * width + category)), shape)
    design.sum_duplicates()
    return FacetTable(
        design=design, design_back=design.T.tocsr(), pair_station=pairs // examiners,
        pair_examiner=pairs % examiners, tops=tops, examiners=examiners,
        step_sets=len(tops) if own_steps else 1, spread=_spread(contrasts, tops, own_steps),
    )  # fmt: skip


def _spread(contrasts: Array, tops: IntArray, own_steps: bool) -> Array:
    """Natural parameters from free ones: steps of a set sum to zero, severities to zero."""
    top = int(tops.max())
    blocks = [np.eye(len(tops)), contrasts]
    for own in tops if own_steps else [top]:
        padded = np.zeros((top, max(int(own) - 1, 0)))
        padded[:own] = sum_to_zero(int(own))
        blocks.append(padded)
    blocks.append(np.eye(1))
    rows, columns = (np.cumsum([0, *(b.shape[axis] for b in blocks)]) for axis in (0, 1))
    out = np.zeros((rows[-1], columns[-1]))
    for block, row, column in zip(blocks, rows, columns, strict=False):
        out[row : row + block.shape[0], column : column + block.shape[1]] = block
    return out


def sum_to_zero(size: int) -> Array:
    """Orthonormal columns that sum to zero (size x size-1)."""
    centred = np.eye(size) - 1.0 / size
    left = np.linalg.svd(centred)[0]
    return left[:, : size - 1]


def natural_from(table: FacetTable, vector: Array) -> FacetParameters:
    """Split the natural parameter vector."""
    i, j, k = table.stations, table.examiners, table.top
    steps = vector[i + j : -1].reshape(table.step_sets, k)
    return FacetParameters(vector[:i], vector[i : i + j], steps, float(np.exp(vector[-1])))


def log_probability(
    table: FacetTable, natural: FacetParameters, nodes: Array, examiner: Array | None = None
) -> Array:
    """log P(category) at each pair and ability: (pairs, categories, nodes)."""
    severity = natural.examiner if examiner is None else examiner
    place = natural.station[table.pair_station] + severity[table.pair_examiner]
    eta = nodes - place[:, None]
    x = np.arange(table.top + 1)
    passed = np.concatenate([np.zeros((table.step_sets, 1)), natural.steps.cumsum(axis=1)], axis=1)
    psi = x[:, None] * eta[:, None, :] - passed[table.step_of_pair][:, :, None]
    over = x > table.tops[table.pair_station][:, None]
    psi[over] = -np.inf
    psi -= psi.max(axis=1, keepdims=True)
    log: Array = psi - np.log(np.exp(psi).sum(axis=1, keepdims=True))
    return log


def log_at(natural: FacetParameters, table: FacetTable, station: int, ability: Array) -> Array:
    """log P(category) at one station for abilities less severity (any, nodes): (any, categories,
    nodes)."""
    own = int(table.tops[station])
    steps = natural.steps[station if table.step_sets > 1 else 0, :own]
    eta = ability - natural.station[station]
    psi = np.full((len(eta), table.top + 1, eta.shape[1]), -np.inf)
    passed = np.concatenate([[0.0], steps.cumsum()])
    psi[:, : own + 1] = np.arange(own + 1)[:, None] * eta[:, None, :] - passed[:, None]
    psi -= psi.max(axis=1, keepdims=True)
    log: Array = psi - np.log(np.exp(psi).sum(axis=1, keepdims=True))
    return log


def facet_state(table: FacetTable, vector: Array) -> FacetState:
    """Posterior and deviance at a natural parameter vector."""
    natural = natural_from(table, vector)
    log_p = log_probability(table, natural, NODES)
    square = NODES**2 / natural.spread**2
    log_weight = -square / 2
    log_weight -= log_weight.max() + np.log(np.exp(log_weight - log_weight.max()).sum())
    # Categories above a station's top are never counted; 0 x -inf must not become nan.
    flat = np.where(np.isfinite(log_p), log_p, 0.0).reshape(-1, len(NODES))
    joint = table.design @ flat
    joint += log_weight
    peak = joint.max(axis=1, keepdims=True)
    joint -= peak
    np.exp(joint, out=joint)
    total = joint.sum(axis=1, keepdims=True)
    joint /= total
    deviance = -2.0 * float((np.log(total) + peak).sum())
    slope = square - float(np.exp(log_weight) @ square)
    return FacetState(natural, np.exp(log_p), joint, slope, deviance)


def expected_counts(table: FacetTable, state: FacetState) -> Array:
    """Ratings expected at each pair, category and node, given the data."""
    counts: Array = table.design_back @ state.posterior
    return counts.reshape(len(table.pair_station), table.top + 1, len(NODES))


def deviance_gradient(table: FacetTable, state: FacetState) -> Array:
    """Derivative of the log likelihood by the free parameters."""
    counts = expected_counts(table, state)
    surplus = counts - counts.sum(axis=1, keepdims=True) * state.probability
    by_category = surplus.sum(axis=2)
    x = np.arange(table.top + 1)
    by_place = -(by_category @ x)
    upper = -by_category[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    steps = np.zeros((table.step_sets, table.top))
    np.add.at(steps, table.step_of_pair, upper)
    by_spread = float(state.posterior.sum(axis=0) @ state.prior_slope)
    natural = np.concatenate([
        np.bincount(table.pair_station, by_place, table.stations),
        np.bincount(table.pair_examiner, by_place, table.examiners),
        steps.ravel(), [by_spread],
    ])  # fmt: skip
    return natural @ table.spread


def _row_slopes(table: FacetTable, state: FacetState, node: int) -> Array:
    """Derivative of log P by the free parameters for each pair and category, at one node."""
    pairs, width = len(table.pair_station), table.top + 1
    p = state.probability[:, :, node]
    x = np.arange(width)
    excess = x - (p @ x)[:, None]
    upper = p[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    reached = (x[:, None] >= np.arange(1, width)).astype(float)
    natural = np.zeros((pairs, width, table.spread.shape[0]))
    each = np.arange(pairs)
    natural[each, :, table.pair_station] = -excess
    natural[each, :, table.stations + table.pair_examiner] = -excess
    base = table.stations + table.examiners
    step = base + table.step_of_pair[:, None] * table.top + np.arange(table.top)
    natural[each[:, None, None], x[:, None], step[:, None, :]] = -(reached - upper[:, None, :])
    return natural.reshape(pairs * width, -1) @ table.spread


def deviance_information(table: FacetTable, state: FacetState) -> Array:
    """Observed information of the free parameters, all covariances included (Louis 1982):
    sum over students of E[-second derivative] - E[s s'] + E[s] E[s]', given their ratings."""
    free = table.spread.shape[1]
    total = np.zeros((free, free))
    counts = expected_counts(table, state).sum(axis=1)
    means = np.zeros((table.students, free))
    for node in range(len(NODES)):
        slopes = _row_slopes(table, state, node)
        weight = (counts[:, node, None] * state.probability[:, :, node]).ravel()
        total += slopes.T @ (slopes * weight[:, None])
        for start in range(0, table.students, CHUNK):
            rows = slice(start, start + CHUNK)
            score = table.design[rows] @ slopes
            score[:, -1] += state.prior_slope[node]
            share = state.posterior[rows, node, None]
            weighted = score * share
            means[rows] += weighted
            total -= score.T @ weighted
    total += means.T @ means
    square = NODES**2 / state.natural.spread**2
    weight = np.exp(-square / 2) / np.exp(-square / 2).sum()
    spread = float(weight @ square)
    curve = 2 * square - 2 * spread + float(weight @ (square - spread) ** 2)
    total[-1, -1] += float(state.posterior.sum(axis=0) @ curve)
    return (total + total.T) / 2


def fit_facets(table: FacetTable, start: Array) -> FacetFit:
    """Best fit from a free parameter vector: quasi-Newton, then exact Newton steps."""
    scale = 1.0 / table.students

    def objective(free: Array) -> tuple[float, Array]:
        state = facet_state(table, table.spread @ free)
        return state.deviance * scale / 2, -deviance_gradient(table, state) * scale

    low, high = (
        np.append(np.full(len(start) - 1, side * FARTHEST), end)
        for side, end in zip((-1, 1), LOG_SPREAD, strict=True)
    )
    found = find_minimum(objective, start, low, high, tolerance=SETTLED)
    return _polish(table, found.at, found.evaluations)


def _polish(table: FacetTable, free: Array, evaluations: int) -> FacetFit:
    """One Newton step with the whole information, kept if it lowers the deviance."""
    state = facet_state(table, table.spread @ free)
    info = deviance_information(table, state)
    slope = deviance_gradient(table, state)
    covariance = _inverse(info)
    if covariance is None:
        natural = np.full((table.spread.shape[0],) * 2, np.nan)
        return FacetFit(state, natural, False, evaluations)
    trial = free + covariance @ slope
    newer = facet_state(table, table.spread @ trial)
    if newer.deviance < state.deviance:
        state, slope = newer, deviance_gradient(table, newer)
    # The Newton decrement: how far the deviance could still fall.
    converged = float(slope @ covariance @ slope) < 1e-4
    natural = table.spread @ covariance @ table.spread.T
    return FacetFit(state, natural, converged, evaluations + 2)


def _inverse(info: Array) -> Array | None:
    try:
        lower = np.linalg.cholesky(info)
    except np.linalg.LinAlgError:
        return None
    half = np.linalg.inv(lower)
    inverse: Array = half.T @ half
    return inverse


def starting_point(table: FacetTable) -> Array:
    """Stations from their mean category, evenly spaced steps, equal examiners, spread one logit."""
    counts = np.asarray(table.design.sum(axis=0)).reshape(-1, table.top + 1)
    by_station = np.zeros((table.stations, table.top + 1))
    np.add.at(by_station, table.pair_station, counts)
    share = by_station @ np.arange(table.top + 1) / by_station.sum(axis=1) / table.tops
    share = np.clip(share, 0.02, 0.98)
    station = -1.5 * np.log(share / (1 - share))
    steps = np.zeros((table.step_sets, table.top))
    for k, own in enumerate(table.tops if table.step_sets > 1 else [table.top]):
        steps[k, :own] = 0.8 * (np.arange(own) - (own - 1) / 2)
    natural = np.concatenate([station, np.zeros(table.examiners), steps.ravel(), [0.0]])
    # Columns of `spread` are orthonormal, so its transpose takes natural to free.
    free: Array = table.spread.T @ natural
    return free
