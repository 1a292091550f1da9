"""Optional: many records at once, each with its own findings, compiled with numba.

The same elimination as `eliminate`, one record after another on every core, for networks whose
findings are independent given the conditions (no families) and without complaints; side pairs are
allowed. For mass simulation and batches; nothing needs it. Numba is imported when asked for, and
the first call compiles (some seconds, kept on disk afterwards).
"""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidewise.errors import UserError
from sidewise.reason.engine.eliminate import Solution
from sidewise.reason.engine.factors import pair_tables
from sidewise.reason.engine.network import Array, Network

# Largest table of one record: 2^21 doubles are 16 MiB for each thread.
LARGEST = 1 << 21


def available() -> bool:
    """Whether numba is installed."""
    return importlib.util.find_spec("numba") is not None


@dataclass(frozen=True, eq=False)
class _Flat:
    """The network as the compiled code wants it: one set of parameters, flat arrays."""

    levels: NDArray[np.int64]
    prior: Array  # (V, Lmax); ones for paired variables
    start: NDArray[np.int64]  # (R + 1,) first arc of each reading
    parent: NDArray[np.int64]  # (arcs,)
    kept: Array  # (arcs, Lmax)
    leak: Array  # (R,)
    pairs: NDArray[np.int64]  # (P, 2)
    tables: Array  # (P, Lmax, Lmax)


def solve_records(
    network: Network, readings: Sequence[int], observed: NDArray[np.integer]
) -> Solution:
    """Posterior of every record: marginal (N, V, Lmax) and log_evidence (N,).

    observed: (N, len(readings)) of 1 present, 0 absent, -1 not examined.
    """
    if not available():
        raise UserError("compiled", "no numba", "numba installed", "Install the extra `compiled`.")
    _check(network)
    from sidewise.reason.engine import _kernel

    flat = _flat(network)
    codes = np.ascontiguousarray(observed, dtype=np.int8)
    numbers = np.asarray(readings, dtype=np.int64)
    marginal, log_evidence, failed = _kernel.all_records(
        codes,
        numbers,
        flat.levels,
        flat.prior,
        flat.start,
        flat.parent,
        flat.kept,
        flat.leak,
        flat.pairs,
        flat.tables,
        LARGEST,
    )
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
    if len(network.structure.variables) > 62:
        raise ValueError("compiled records hold at most 62 variables")


def _flat(network: Network) -> _Flat:
    cached = network.cache.get("flat")
    if cached is None:
        cached = network.cache["flat"] = _flattened(network)
    assert isinstance(cached, _Flat)
    return cached


def _flattened(network: Network) -> _Flat:
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
    return _Flat(
        levels=np.asarray(structure.levels, dtype=np.int64),
        prior=np.ascontiguousarray(prior),
        start=np.cumsum([0, *counts]).astype(np.int64),
        parent=np.asarray([variable for variable, _ in arcs], dtype=np.int64),
        kept=np.ascontiguousarray(network.kept[rows, :, 0]),
        leak=np.ascontiguousarray(network.by_column["leak"][:, 0]),
        pairs=np.asarray(pairs, dtype=np.int64).reshape(-1, 2),
        tables=tables,
    )
