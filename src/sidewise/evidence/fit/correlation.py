"""How far the findings of one family go together: prior, published combinations, posterior.

Given the state of the patient, finding i is present when
    P(+ | z, u) = Phi((Phi^-1(p_i) + sqrt(rho_s) z + sqrt(rho_m) u) / sqrt(1 - rho_s - rho_m)),
z shared by the family, u by the findings of one mechanism (random effects after Qu, Tan and
Kutner, Biometrics 1996; 52:797-810), summed out by the rule that the patient's posterior uses. The
single shares p_i are those of the study itself, group by group, so that the misfit of single
figures is not paid by the correlation. The posterior is by importance weights on draws of the
prior. Printed likelihood ratios are taken as log-normal with
the sampling sd at the printed group sizes plus 0.15; printed pairs of sensitivity and specificity
as binomial.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from sidewise.evidence.conditions import Families, Family
from sidewise.evidence.studies.combinations import Combination
from sidewise.evidence.studies.groups import PatientGroup
from sidewise.ground.arrays import Array, IndexArray
from sidewise.network import family_counts

EXTRA_SD = 0.15
TINY = 1e-9


@dataclass(frozen=True)
class Margins:
    """Single shares in one group of patients: (readings,) of `size` people."""

    label: str
    shares: Array
    size: int
    diseased: bool


@dataclass(frozen=True)
class CombinationFit:
    """A combination with its margins, and which mechanism each reading belongs to."""

    row: Combination
    margins: tuple[Margins, ...] = field(repr=False)
    mechanisms: tuple[int, ...]


@dataclass(frozen=True)
class RhoDraws:
    """rho_s, rho_m (D, F), and the number of prior draws that counted for each family (F,)."""

    structure: Array
    mechanism: Array
    effective: Array


def rho_prior(families: Families, count: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """(count, F) rho_s and rho_m.

    logit of (rho_s + rho_m) / most is normal around the family's mean, with a part common to all
    families; the share of rho_s is beta. The centre is shifted so that the mean is the one given.
    """
    pooling = families.pooling
    common = pooling.between_families_sd * rng.standard_normal((count, 1))
    own = pooling.own_sd * rng.standard_normal((count, len(families.families)))
    mean = np.array([f.correlation.mean for f in families.families]) / pooling.most
    sd2 = pooling.between_families_sd**2 + pooling.own_sd**2
    # Probit-type approximation of the mean of a logistic normal (MacKay, Neural Comp 1992).
    centre = np.log(mean / (1 - mean)) * np.sqrt(1 + np.pi * sd2 / 8)
    total = pooling.most / (1 + np.exp(-(centre + common + own)))
    part = np.array([f.correlation.share_of_structure for f in families.families])
    k = pooling.share_concentration
    share = rng.beta(k * part, k * (1 - part), size=total.shape)
    return total * share, total * (1 - share)


def study_margins(
    row: Combination, groups: Sequence[PatientGroup], slices: Mapping[str, slice]
) -> tuple[Margins, ...]:
    """Single shares of the row's readings in each group of its own series; () if one is missing.

    A group counts as diseased when its people have the row's target.
    """
    by_label: dict[str, dict[str, PatientGroup]] = {}
    for group in groups:
        if group.series == row.series and group.reading in row.readings:
            by_label.setdefault(group.label, {})[group.reading] = group
    whole = {k: v for k, v in by_label.items() if set(v) == set(row.readings)}
    found = []
    for label, mine in whole.items():
        first = next(iter(mine.values()))
        inside = first.levels[slices[row.target.condition]]
        target = sum(inside[k - 1] for k in row.target.levels if k)
        # Half a person is added so that an empty cell does not make a likelihood ratio infinite.
        shares = [(mine[r].positive + 0.5) / (mine[r].size + 1) for r in row.readings]
        found.append(Margins(label, np.array(shares), first.size, bool(target > 0.5)))
    both = {m.diseased for m in found} == {True, False}
    return tuple(found) if both else ()


def combination_fits(
    rows: Sequence[Combination],
    groups: Sequence[PatientGroup],
    families: Families,
    slices: Mapping[str, slice],
) -> tuple[CombinationFit, ...]:
    """The rows marked `fit` whose single figures are known in the same patients."""
    found = []
    for row in rows:
        if row.use != "fit":
            continue
        margins = study_margins(row, groups, slices)
        if margins:
            mechanisms = _mechanisms(row, families)
            found.append(CombinationFit(row, margins, mechanisms))
    return tuple(found)


def _mechanisms(row: Combination, families: Families) -> tuple[int, ...]:
    names = [families.place[reading][1] for reading in row.readings]
    order = list(dict.fromkeys(names))
    return tuple(order.index(name) for name in names)


@dataclass(frozen=True)
class Predicted:
    """P(the combination | with the target), P(... | without), each (D,)."""

    diseased: Array
    others: Array

    @property
    def ratio(self) -> Array:
        """The likelihood ratio."""
        return self.diseased / self.others


def predict(fit: CombinationFit, rho_s: Array, rho_m: Array) -> Predicted:
    """Probability of the combination in both groups for each draw of the correlations."""
    assert fit.row.least is not None
    assert fit.row.most is not None
    wanted = slice(fit.row.least, fit.row.most + 1)
    parts: dict[bool, Array] = {}
    for diseased in (True, False):
        mine = [m for m in fit.margins if m.diseased is diseased]
        size = sum(m.size for m in mine)
        parts[diseased] = sum(
            (
                family_counts(m.shares, fit.mechanisms, rho_s, rho_m)[:, wanted].sum(axis=1)
                * m.size / size
                for m in mine
            ),
            np.zeros(len(rho_s)),
        )  # fmt: skip
    return Predicted(parts[True], parts[False])


def log_likelihood(fit: CombinationFit, rho_s: Array, rho_m: Array) -> Array:
    """(D,) how well each draw explains the printed figures."""
    predicted = predict(fit, rho_s, rho_m)
    row = fit.row
    assert row.diseased is not None
    assert row.others is not None
    a, b = np.clip(predicted.diseased, TINY, 1), np.clip(predicted.others, TINY, 1)
    if row.lr is not None:
        sd = np.sqrt((1 - a) / (a * row.diseased) + (1 - b) / (b * row.others)) + EXTRA_SD
        z = (np.log(row.lr) - np.log(a / b)) / sd
        return np.asarray(-0.5 * z * z - np.log(sd))
    assert row.sensitivity is not None
    assert row.specificity is not None
    sick, well = row.sensitivity * row.diseased, (1 - row.specificity) * row.others
    return np.asarray(
        sick * np.log(a) + (row.diseased - sick) * np.log1p(-np.minimum(a, 1 - TINY))
        + well * np.log(b) + (row.others - well) * np.log1p(-np.minimum(b, 1 - TINY))
    )  # fmt: skip


def rho_posterior(
    families: Families,
    fits: Sequence[CombinationFit],
    count: int,
    rng: np.random.Generator,
    prior_count: int = 4000,
) -> RhoDraws:
    """`count` draws of both correlations of every family.

    Each family's prior draws are resampled by its own combinations' likelihood.
    """
    rho_s, rho_m = rho_prior(families, prior_count, rng)
    structure = np.empty((count, len(families.families)))
    mechanism, effective = structure.copy(), np.empty(len(families.families))
    for f, family in enumerate(families.families):
        weight = _weights(family, fits, rho_s[:, f], rho_m[:, f])
        effective[f] = 1 / (weight * weight).sum()
        chosen = _systematic(weight, count, rng)
        structure[:, f], mechanism[:, f] = rho_s[chosen, f], rho_m[chosen, f]
    return RhoDraws(structure, mechanism, effective)


def _weights(family: Family, fits: Sequence[CombinationFit], rho_s: Array, rho_m: Array) -> Array:
    logs = np.zeros(len(rho_s))
    for fit in fits:
        if fit.row.family == family.id:
            logs += log_likelihood(fit, rho_s, rho_m)
    weight = np.exp(logs - logs.max())
    return np.asarray(weight / weight.sum())


def _systematic(weight: Array, count: int, rng: np.random.Generator) -> IndexArray:
    """Systematic resampling (Kitagawa, J Comput Graph Stat 1996; 5:1-25), in random order."""
    places = (rng.random() + np.arange(count)) / count
    found = np.searchsorted(np.cumsum(weight), places).clip(max=len(weight) - 1)
    return rng.permutation(found)
