"""The answer of an elimination, and how many digits signed sums cost it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array


@dataclass(frozen=True, eq=False)
class Solution:
    """Exact answer for each of B draws or rows.

    marginal: (B, V, Lmax) probability of each level of each variable, 0 beyond the last level.
    log_evidence: (B,) log probability of the findings given the complaints, natural logs.
    """

    marginal: Array
    log_evidence: Array


def digits_between(absolute: Solution, signed: Solution) -> float:
    """Most decimal digits that cancellation took in any row: log10 of the two sums' ratio.

    absolute: the same sum without the signs of switches. Infinite where nothing is left.
    """
    with np.errstate(invalid="ignore"):
        lost = (absolute.log_evidence - signed.log_evidence) / np.log(10.0)
    return float(np.where(np.isfinite(lost), lost, np.inf).max())
