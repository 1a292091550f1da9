"""What folds into the level weights of the conditions: priors, absent findings, single parents.

P(absent | levels) is a product over the parents, so an absent finding needs no table: it multiplies
each parent's levels by 1 - q. With one set of parameters and many rows all of them are folded in
one matrix product of logs.
"""

from __future__ import annotations

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.model import Network
from sidewise.network.plain.block import Block
from sidewise.network.plain.noisy_or import absent_table, likelihood_of
from sidewise.network.problem import Problem


def level_weights(problem: Problem, block: Block) -> Array:
    """(V, Lmax, B) prior times everything that folds; ones for the prior of paired variables."""
    network, structure = problem.network, problem.network.structure
    prior = block.parameter("prior")
    weights = np.empty((*prior.shape[:2], block.width))
    weights[:] = prior
    for pair in network.paired:
        for variable in structure.pair_numbers[pair]:
            weights[variable, : structure.levels[variable]] = 1.0
    _fold_absent(problem, block, weights)
    for column in problem.single:
        reading = problem.evidence.readings[column]
        scope = tuple(v for v, _ in network.linked[reading])
        table = likelihood_of(absent_table(block, reading, scope), *block.weights(column))
        if scope:
            weights[scope[0], : structure.levels[scope[0]]] *= table
        else:
            weights[0] *= table
    return weights


def _fold_absent(problem: Problem, block: Block, weights: Array) -> None:
    network, evidence = problem.network, problem.evidence
    # With one set of parameters the rows differ only in who was seen: one matrix product of logs
    # then folds every finding into every row.
    by_logs = network.draws == 1 and evidence.rows > 1 and _fold_by_logs(problem, block, weights)
    for column in () if by_logs else problem.beside:
        reading = evidence.readings[column]
        _fold_one(problem, block, weights, column, network.beside[reading])
    if not problem.folded:
        return
    columns = list(problem.folded)
    readings = [evidence.readings[c] for c in columns]
    if by_logs:
        pass
    elif network.draws == 1 and evidence.rows == 1:
        kept = network.kept_by_variable[readings]
        weights *= np.multiply.reduce(kept, axis=0)
    else:
        for column, reading in zip(columns, readings, strict=True):
            parents = tuple(v for v, _ in network.linked[reading])
            _fold_one(problem, block, weights, column, parents)
    leak = block.parameter("leak")[readings]
    absent, present = (block.cut(x[:, columns].T) for x in (evidence.absent, evidence.present))
    says = present != absent
    scale = np.where(says, absent * (1.0 - leak), absent)
    # No level is concerned, so that any variable may take it; it comes out with that one's sum.
    weights[0] *= np.multiply.reduce(scale, axis=0)


def _fold_by_logs(problem: Problem, block: Block, weights: Array) -> bool:
    """All absent findings of all rows in one matrix product of logs; False if a link is one."""
    network, evidence = problem.network, problem.evidence
    columns = [*problem.folded, *problem.beside]
    if not columns:
        return True
    if "logs" not in network.cache:
        network.cache["logs"] = _logs_of_kept(network)
    whole, apart = network.cache["logs"]
    # A certain link has log minus infinity, and zero times that is no number.
    if not np.isfinite(whole).all():
        return False
    logs = np.concatenate(
        [
            whole[[evidence.readings[c] for c in problem.folded]],
            apart[[evidence.readings[c] for c in problem.beside]],
        ]
    )
    says = evidence.says[columns, block.part].astype(float)
    weights *= np.exp(logs.T @ says).reshape(*weights.shape[:2], -1)
    return True


def _logs_of_kept(network: Network) -> tuple[Array, Array]:
    """(R, V * Lmax) ln(1 - q) of one set of parameters: all parents, and those beside the core."""
    with np.errstate(divide="ignore"):
        whole = np.log(network.kept_by_variable[..., 0])
    apart = np.zeros_like(whole)
    for reading, variables in enumerate(network.beside):
        apart[reading, list(variables)] = whole[reading, list(variables)]
    count = len(whole)
    return whole.reshape(count, -1), apart.reshape(count, -1)


def _fold_one(
    problem: Problem, block: Block, weights: Array, column: int, parents: tuple[int, ...]
) -> None:
    """Multiply the levels of these parents by 1 - q in the rows where the finding is absent."""
    network = problem.network
    reading = problem.evidence.readings[column]
    place, first = dict(network.linked[reading]), network.structure.first_arc[reading]
    absent, present = block.weights(column)
    says = absent != present
    rows = slice(None) if says.all() else np.flatnonzero(says)
    for variable in parents:
        levels = network.structure.levels[variable]
        kept = block.cut(network.kept[first + place[variable], 1:levels])
        mine = weights[variable]
        mine[1:levels, rows] *= kept if kept.shape[-1] == 1 else kept[:, rows]
