"""Many records at once, each with its own findings and its own plan, compiled with numba.

The same elimination one record after another on every core, for networks whose findings are
independent given the conditions (no families) and without complaints; side pairs are allowed. For
mass simulation and batches; nothing needs it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.errors import UserError
from sidewise.network.compiled.turned_on import available
from sidewise.network.joint_tables import pair_tables
from sidewise.network.model import Network
from sidewise.network.solution import Solution

# Largest table of one record: 2^21 doubles are 16 MiB for each thread.
LARGEST = 1 << 21
MOST_VARIABLES = 62  # bits of a scope that leave room for a sign


def solve_records(
    network: Network, readings: Sequence[int], observed: NDArray[np.integer]
) -> Solution:
    """Posterior of every record: marginal (N, V, Lmax) and log_evidence (N,).

    observed: (N, len(readings)) of 1 present, 0 absent, -1 not examined. The first call compiles
    (some seconds, kept on disk afterwards). UserError without numba; MemoryError where a record's
    tables would exceed 2^21 numbers.
    """
    if not available():
        raise UserError("compiled", "no numba", "numba installed", "Install the extra `compiled`.")
    _check(network)
    from sidewise.network.compiled.record_sweep import all_records

    codes = np.ascontiguousarray(observed, dtype=np.int8)
    numbers = np.asarray(readings, dtype=np.int64)
    marginal, log_evidence, failed = all_records(_flat(network), codes, numbers, LARGEST)
    if failed.any():
        raise MemoryError(f"{int(failed.sum())} records need a table of over {LARGEST} numbers")
    return Solution(marginal, log_evidence)


def _check(network: Network) -> None:
    if network.draws != 1:
        raise ValueError("compiled records share one set of parameters: use network.mean()")
    if network.structure.complaints:
        raise ValueError("compiled records know no complaints")
    if network.parameters.rho_structure is not None:
        raise ValueError("compiled records know no families: use independent(network)")
    if len(network.structure.variables) > MOST_VARIABLES:
        raise ValueError(f"compiled records hold at most {MOST_VARIABLES} variables")


def _flat(network: Network) -> Any:
    cached = network.cache.get("flat")
    if cached is None:
        cached = network.cache["flat"] = _flattened(network)
    return cached


def _flattened(network: Network) -> Any:
    from sidewise.network.compiled.record_sweep import Flat

    structure = network.structure
    most = max(structure.levels)
    prior = network.by_column["prior"][..., 0].copy()
    pairs = [structure.pair_numbers[pair] for pair in network.paired]
    tables = np.zeros((len(pairs), most, most))
    for place, (pair, (left, right)) in enumerate(zip(network.paired, pairs, strict=True)):
        levels = structure.levels[left]
        tables[place, :levels, :levels] = pair_tables(network)[pair][..., 0]
        prior[[left, right], :levels] = 1.0
    arcs = [
        (variable, structure.first_arc[reading] + position)
        for reading, mine in enumerate(network.linked)
        for variable, position in mine
    ]
    counts = [len(mine) for mine in network.linked]
    rows = np.asarray([arc for _, arc in arcs], dtype=np.intp)
    return Flat(
        levels=np.asarray(structure.levels, dtype=np.int64),
        prior=np.ascontiguousarray(prior),
        start=np.cumsum([0, *counts]).astype(np.int64),
        parent=np.asarray([variable for variable, _ in arcs], dtype=np.int64),
        kept=np.ascontiguousarray(network.kept[rows, :, 0]),
        leak=np.ascontiguousarray(network.by_column["leak"][:, 0]),
        pairs=np.asarray(pairs, dtype=np.int64).reshape(-1, 2),
        joints=tables,
    )
