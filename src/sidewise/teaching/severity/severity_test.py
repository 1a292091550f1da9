"""When an examiner may be called severe.

Examiners differ a little everywhere. To be named, one must stand out from the ordinary spread of
the *others*, after allowing for how many were looked at, and by enough to matter:

1. severities r have covariance S (whole information matrix) about their true values, which are
   spread normally with variance t2 about a common mean;
2. for each examiner in turn a shift d is added to that model, so that t2 is learned from the
   others alone (Paule-Mandel: weighted squares equal their degrees of freedom, not below 0), and
   d/SE(d) is the deleted residual;
3. it is referred, on both sides, to Student's t with J - 2 degrees of freedom where the others
   show spread beyond sampling (t2 > 0), else to the normal, whose variance is then known; with
   fewer than a dozen examiners t2 = 0 may be chance, so there it is always t;
4. p values are adjusted by Holm's method over all J examiners (family-wise error 5%);
5. d itself must be at least the smallest shift of practical size.

Only contrasts of severities enter, so the constraint that identifies the model does not matter.

Deleted residuals: Viechtbauer W, Cheung MW-L, Res Synth Methods 2010; 1:112-125. Paule RC, Mandel
J, J Res Natl Bur Stand 1982; 87:377-385. Holm S, Scand J Stat 1979; 6:65-70. All from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.ground.distributions import chi_squared_above, normal_below, t_above
from sidewise.ground.searches import find_root

# Below this many examiners an estimated spread of 0 is no evidence of none: our judgement, after
# simulating the family-wise error (docs/marks-statistics.md).
DOZEN = 12
# With fewer examiners the spread of "the others" cannot be learned at all.
FEWEST = 4


@dataclass(frozen=True)
class SeverityTests:
    """How each examiner stands among the others.

    `shift` (logits, against the mean of the others), its `standard_error` (sampling and ordinary
    spread together), the deleted residual `z`, two-sided `p` and Holm-`adjusted` p. `spread` is
    the standard deviation of true severities; `heterogeneity` the chi-squared test of none.
    """

    shift: Array
    standard_error: Array
    z: Array
    p: Array
    adjusted: Array
    spread: float
    heterogeneity: Heterogeneity


@dataclass(frozen=True, slots=True)
class Heterogeneity:
    """Test that all examiners are equally severe: Q on `freedom` degrees of freedom."""

    statistic: float
    freedom: int
    p: float


def holm_adjusted_p(p: Array) -> Array:
    """Holm-adjusted p values: the k-th smallest times (m - k + 1), made non-decreasing."""
    order = np.argsort(p, kind="stable")
    raw = p[order] * np.arange(len(p), 0, -1)
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(raw))
    return adjusted


def severity_tests(severity: Array, covariance: Array, contrasts: Array) -> SeverityTests:
    """Deleted residuals of at least four examiners; see the module for the model.

    `contrasts` are orthonormal columns that sum to zero (J x J-1).
    """
    values, vectors = np.linalg.eigh(contrasts.T @ covariance @ contrasts)
    values = np.maximum(values, 1e-12)
    y = vectors.T @ contrasts.T @ severity
    designs = vectors.T @ contrasts.T
    count = len(severity)
    q = float((y**2 / values).sum())
    extra = np.array([_paule_mandel(y, values, designs[:, j]) for j in range(count)])
    weight = 1.0 / (values[:, None] + extra)
    information = (weight * designs**2).sum(axis=0)
    shift = (weight * designs * y[:, None]).sum(axis=0) / information
    error = 1.0 / np.sqrt(information)
    z = shift / error
    learned = (extra > 0) | (count < DOZEN)
    tail = np.where(learned, t_above(np.abs(z), count - 2), normal_below(-np.abs(z)))
    p = np.minimum(1.0, 2 * tail)
    return SeverityTests(
        shift=shift, standard_error=error, z=z, p=p, adjusted=holm_adjusted_p(p),
        spread=float(np.sqrt(_paule_mandel(y, values, None))),
        heterogeneity=Heterogeneity(q, count - 1, chi_squared_above(q, count - 1)),
    )  # fmt: skip


def _paule_mandel(y: Array, values: Array, design: Array | None) -> float:
    """Extra variance at which weighted squares (less the shift's share) equal their freedom."""
    freedom = len(y) - (0 if design is None else 1)

    def excess(extra: float) -> float:
        weight = 1.0 / (values + extra)
        squares = float((weight * y**2).sum())
        if design is not None:
            along = float((weight * design * y).sum())
            squares -= along**2 / float((weight * design**2).sum())
        return squares - freedom

    if excess(0.0) <= 0:
        return 0.0
    high = float(values.max())
    while excess(high) > 0:
        high *= 2
    return find_root(excess, 0.0, high, tolerance=1e-10 * high)
