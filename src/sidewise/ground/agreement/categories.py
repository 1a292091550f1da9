"""Chance-corrected agreement of two or more raters on categories, with missing ratings.

Every coefficient is (pa - pe) / (1 - pe): pa is the observed agreement, the same for all but
Krippendorff's; pe is what each author expects by chance. Standard errors are linearised over
units (subjects), so they hold for these raters and other subjects; intervals use t with n - 1
degrees of freedom and stop at 1. Units that hang together (both sides of one patient) are summed
by cluster first, and n is the number of clusters (linearised as in survey sampling: Yang Z, Zhou M,
Stat Methods Med Res 2014;23:378-389 for kappa, from memory).

Gwet KL, Handbook of Inter-Rater Reliability, 4th ed., 2014 (formulas from memory, checked on the
worked example of its page 120); Cohen J, Educ Psychol Meas 1960;20:37-46; Fleiss JL, Psychol Bull
1971;76:378-382; Conger AJ, Psychol Bull 1980;88:322-328; Brennan RL, Prediger DJ, Educ Psychol
Meas 1981;41:687-699; Krippendorff K, Content Analysis, 2004.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.agreement.weights import Metric, metric_weights
from sidewise.ground.arrays import Array, BoolArray, IntArray
from sidewise.ground.distributions import beta_quantile, t_quantile
from sidewise.ground.interval import Z95


@dataclass(frozen=True, slots=True)
class Coefficient:
    """A coefficient of agreement: value, standard error, 95% limits, observed and expected.

    `value` is NaN where chance alone explains everything (all ratings in one category) and the
    coefficient does not exist; `note` says so.
    """

    name: str
    value: float
    se: float
    low: float
    high: float
    observed: float
    expected: float
    units: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement of raters on one item, with how common each category is.

    `prevalence` is the share of ratings in each of `categories`; `pairs` how many units have two
    ratings or more; `units` all with at least one.
    """

    categories: tuple[float, ...]
    prevalence: Array
    units: int
    pairs: int
    raters: int
    fleiss: Coefficient
    conger: Coefficient
    gwet: Coefficient
    brennan_prediger: Coefficient
    krippendorff: Coefficient

    @property
    def coefficients(self) -> tuple[Coefficient, ...]:
        """All of them, in a fixed order."""
        return (
            self.conger, self.fleiss, self.gwet, self.brennan_prediger, self.krippendorff,
        )  # fmt: skip


def rater_agreement(
    ratings: Array, weights: Array | None = None, clusters: IntArray | None = None
) -> Agreement:
    """All coefficients of a (units, raters) table of category numbers, NaN where not rated.

    `weights` are agreement weights between the categories in increasing order (identity unless
    given; then Gwet's is AC2). With two raters Conger's coefficient is Cohen's. `clusters` says
    which units hang together (one code a unit); coefficients stay, errors and intervals change.
    """
    rated = ~np.isnan(ratings).all(axis=1)
    kept = ratings[rated]
    within = None if clusters is None else clusters[rated]
    categories = np.unique(kept[~np.isnan(kept)])
    w = np.eye(categories.size) if weights is None else weights
    counts = _counts(kept, categories)
    n = counts.sum(axis=1)
    share = (counts / n[:, None]).mean(axis=0) if n.size else np.array([])
    return Agreement(
        categories=tuple(categories.tolist()),
        prevalence=share,
        units=int(n.size),
        pairs=int((n >= 2).sum()),
        raters=int((~np.isnan(kept)).any(axis=0).sum()),
        fleiss=fleiss_kappa(counts, w, within),
        conger=conger_kappa(kept, categories, w, within),
        gwet=gwet_coefficient(counts, w, within),
        brennan_prediger=brennan_prediger(counts, w, within),
        krippendorff=krippendorff_from_counts(counts, w, within),
    )


def exact_agreement(ratings: Array) -> float:
    """Share of equal pairs of ratings, units with two or more counted alike; NaN: no pairs."""
    kept = ratings[(~np.isnan(ratings)).sum(axis=1) >= 2]
    if not kept.size:
        return float("nan")
    categories = np.unique(kept[~np.isnan(kept)])
    return _observed(_counts(kept, categories), np.eye(categories.size)).mean


def _counts(ratings: Array, categories: Array) -> Array:
    """How many raters put each unit in each category."""
    return np.asarray((ratings[:, :, None] == categories).sum(axis=1), dtype=float)


@dataclass(frozen=True, slots=True)
class _Observed:
    """Agreement of each unit (0 where it has fewer than two ratings) and which have two."""

    unit: Array
    paired: BoolArray

    @property
    def mean(self) -> float:
        return float(self.unit[self.paired].mean()) if self.paired.any() else float("nan")


def _observed(counts: Array, w: Array) -> _Observed:
    n = counts.sum(axis=1)
    agreeing = (counts * (counts @ w.T - 1)).sum(axis=1)
    pairs = n * (n - 1)
    paired = n >= 2
    return _Observed(np.where(paired, agreeing / np.maximum(pairs, 1), 0.0), paired)


def _coefficient(
    name: str, seen: _Observed, pe: float, pull: Array, clusters: IntArray | None = None
) -> Coefficient:
    """The coefficient and its linearised error.

    `pull` is each unit's first-order effect on the expected agreement, centred on zero mean.
    """
    pa, units = seen.mean, seen.unit.size
    if not seen.paired.any() or 1 - pe < 1e-12:
        nan = float("nan")
        note = "no unit has two ratings" if not seen.paired.any() else "one category only"
        return Coefficient(name, nan, nan, nan, nan, pa, pe, units, note)
    value = (pa - pe) / (1 - pe)
    scale = units / int(seen.paired.sum())
    own = scale * (seen.unit - pe * seen.paired) / (1 - pe)
    effect = own - (1 - value) * pull / (1 - pe)
    return _limits(name, value, effect - value, pa, pe, clusters)


def _limits(
    name: str, value: float, effect: Array, pa: float, pe: float, clusters: IntArray | None = None
) -> Coefficient:
    """Limits from each unit's effect, units of a cluster summed."""
    n = effect.size
    if clusters is not None and n:
        codes = np.unique(clusters, return_inverse=True)[1]
        effect = np.bincount(codes, effect).astype(float)
    groups = effect.size
    if groups < 2:
        nan, alone = float("nan"), "one unit only" if clusters is None else "one cluster only"
        return Coefficient(name, value, nan, nan, nan, pa, pe, n, alone)
    se = float(np.sqrt((effect**2).sum() * groups / (groups - 1))) / n
    if se < 1e-12 and value >= 1 - 1e-12:
        # No sample can know that raters never differ: a width of zero would say so.
        nan, note = float("nan"), "agreement is perfect here and its error cannot be told"
        return Coefficient(name, value, nan, nan, nan, pa, pe, n, note)
    half = float(t_quantile(0.975, groups - 1)) * se
    return Coefficient(name, value, se, max(-1.0, value - half), min(1.0, value + half), pa, pe, n)


def fleiss_kappa(counts: Array, w: Array, clusters: IntArray | None = None) -> Coefficient:
    """Fleiss' kappa from (units, categories) counts: pe = sum w_kl p_k p_l over common shares."""
    share = _shares(counts)
    p = share.mean
    both = (w + w.T) / 2 @ p
    pe = float(p @ w @ p)
    pull = 2 * (share.unit @ both - pe)
    return _coefficient("Fleiss kappa", _observed(counts, w), pe, pull, clusters)


def gwet_coefficient(counts: Array, w: Array, clusters: IntArray | None = None) -> Coefficient:
    """Gwet's AC1 (AC2 with weights): pe = sum(w) sum p_k (1 - p_k) / (q (q - 1))."""
    q = counts.shape[1]
    name = "Gwet AC1" if np.array_equal(w, np.eye(q)) else "Gwet AC2"
    if q < 2:
        return _one_category(name, _observed(counts, w))
    share = _shares(counts)
    p = share.mean
    factor = float(w.sum()) / (q * (q - 1))
    pe = factor * float((p * (1 - p)).sum())
    pull = 2 * (factor * (share.unit @ (1 - p)) - pe)
    return _coefficient(name, _observed(counts, w), pe, pull, clusters)


def _one_category(name: str, seen: _Observed) -> Coefficient:
    """All ratings in one category of two or more that could be given: chance agreement is 0.

    sum p_k (1 - p_k) is 0 whatever the number of categories, so the coefficient is the observed
    agreement, 1. Its linearised error would be 0, which no sample can know: none is given.
    """
    nan = float("nan")
    if not seen.paired.any():
        return Coefficient(
            name, nan, nan, nan, nan, nan, nan, seen.unit.size, "no unit has two ratings"
        )
    note = "one category only: agreement is perfect and its error cannot be told"
    return Coefficient(name, 1.0, nan, nan, nan, seen.mean, 0.0, seen.unit.size, note)


def brennan_prediger(counts: Array, w: Array, clusters: IntArray | None = None) -> Coefficient:
    """Brennan and Prediger's coefficient: every category equally likely, pe = sum(w) / q^2."""
    q = counts.shape[1]
    pe = float(w.sum()) / q**2 if q else 1.0
    none = np.zeros(counts.shape[0])
    return _coefficient("Brennan-Prediger", _observed(counts, w), pe, none, clusters)


@dataclass(frozen=True, slots=True)
class _Shares:
    """Each unit's shares of the categories, and their mean over units."""

    unit: Array
    mean: Array


def _shares(counts: Array) -> _Shares:
    unit = counts / np.maximum(counts.sum(axis=1, keepdims=True), 1)
    return _Shares(unit, unit.mean(axis=0))


def conger_kappa(
    ratings: Array, categories: Array, w: Array, clusters: IntArray | None = None
) -> Coefficient:
    """Conger's kappa (Cohen's with two raters): each rater has shares of their own.

    pe = mean over pairs of different raters g, h of sum w_kl p_gk p_hl.
    """
    counts = _counts(ratings, categories)
    rated = ~np.isnan(ratings)
    ratings, rated = ratings[:, rated.any(axis=0)], rated[:, rated.any(axis=0)]
    r, units = ratings.shape[1], ratings.shape[0]
    name = "Cohen kappa" if r == 2 else "Conger kappa"
    if r < 2:
        return _coefficient(name, _observed(counts, w), 1.0, np.zeros(units))
    chosen = (ratings[:, :, None] == categories).astype(float)
    own = chosen.sum(axis=0) / rated.sum(axis=0)[:, None]
    others = own.sum(axis=0) - own
    toward = others @ ((w + w.T) / 2)
    pe = float((own * toward).sum()) / (r * (r - 1))
    # A rater who saw few units weighs more per unit: n / n_g.
    heavier = units / rated.sum(axis=0)
    moved = heavier[None, :, None] * (chosen - rated[:, :, None] * own)
    pull = 2 * (moved * toward).sum(axis=(1, 2)) / (r * (r - 1))
    return _coefficient(name, _observed(counts, w), pe, pull, clusters)


def krippendorff_from_counts(
    counts: Array, w: Array, clusters: IntArray | None = None
) -> Coefficient:
    """Krippendorff's alpha: only units with two ratings or more, with its small-sample term.

    pa = (1 - 1/N) pa' + 1/N with N the number of pairable ratings.
    """
    paired = counts.sum(axis=1) >= 2
    kept = counts[paired]
    within = None if clusters is None else clusters[paired]
    name = "Krippendorff alpha"
    if kept.shape[0] == 0:
        return _coefficient(name, _observed(counts, w), 1.0, np.zeros(counts.shape[0]))
    n = kept.sum(axis=1)
    typical, pairable = float(n.mean()), float(n.sum())
    share = kept / typical
    p = share.mean(axis=0)
    pe = float(p @ w @ p)
    agreeing = (kept * (kept @ w.T - 1)).sum(axis=1) / (typical * (n - 1))
    raw = float(agreeing.mean())
    pa = (1 - 1 / pairable) * raw + 1 / pairable
    if 1 - pe < 1e-12:
        nan = float("nan")
        return Coefficient(name, nan, nan, nan, nan, pa, pe, n.size, "one category only")
    value = (pa - pe) / (1 - pe)
    # Gwet's linearisation is of alpha without its small-sample term.
    plain = (raw - pe) / (1 - pe)
    uneven = (n - typical) / typical
    expected = share @ ((w + w.T) / 2 @ p) - pe * uneven
    effect = (agreeing - pa * uneven - pe - 2 * (1 - plain) * (expected - pe)) / (1 - pe)
    return _limits(name, value, effect - plain, pa, pe, within)


def krippendorff_alpha(ratings: Array, metric: Metric) -> Coefficient:
    """Krippendorff's alpha of (units, raters) values for a level of measurement."""
    categories = np.unique(ratings[~np.isnan(ratings)])
    counts = _counts(ratings, categories)
    kept = counts[counts.sum(axis=1) >= 2]
    weights = metric_weights(categories, kept.sum(axis=0), metric)
    return krippendorff_from_counts(counts, weights)


# ---------------------------------------------------------------- one table, two raters


@dataclass(frozen=True, slots=True)
class TableAgreement:
    """Cohen's kappa of a square table, with what prevalence and bias do to it.

    `se` is the large-sample error of the estimate and gives the limits; `null_se` the error if
    there were no agreement beyond chance, which gives `z` (some programs print it as the error and
    draw limits from it: they differ). For a 2 x 2 table also `pabak` (prevalence and bias
    adjusted) with exact binomial limits, `prevalence_index`, `bias_index` and McNemar's chi
    squared; None for larger ones.
    """

    kappa: float
    se: float
    low: float
    high: float
    null_se: float
    z: float
    observed: float
    expected: float
    n: float
    pabak: float | None = None
    pabak_low: float | None = None
    pabak_high: float | None = None
    prevalence_index: float | None = None
    bias_index: float | None = None
    mcnemar: float | None = None


def cohen_table(
    table: Array, weights: Array | None = None, n: float | None = None
) -> TableAgreement:
    """Cohen's (weighted) kappa from a square table of counts, or of shares with `n` given.

    kappa = (pa - pe)/(1 - pe); large-sample standard errors of Fleiss JL, Cohen J, Everitt BS,
    Psychol Bull 1969;72:323-327 (from memory). Weights are agreement weights and need not be
    symmetric.
    """
    p = table / table.sum()
    size = float(table.sum()) if n is None else n
    w = np.eye(p.shape[0]) if weights is None else weights
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    pa, pe = float((w * p).sum()), float(rows @ w @ columns)
    if 1 - pe < 1e-12:
        nan = float("nan")
        return TableAgreement(nan, nan, nan, nan, nan, nan, pa, pe, size)
    kappa = (pa - pe) / (1 - pe)
    mixed = (w @ columns)[:, None] + (rows @ w)[None, :]
    inner = float((p * (w - mixed * (1 - kappa)) ** 2).sum()) - (kappa - pe * (1 - kappa)) ** 2
    se = float(np.sqrt(inner / size)) / (1 - pe)
    chance = np.outer(rows, columns)
    null = float(np.sqrt(((chance * (w - mixed) ** 2).sum() - pe**2) / size)) / (1 - pe)
    half = Z95 * se
    extras = _two_by_two(table) if p.shape[0] == 2 else {}
    return TableAgreement(
        kappa, se, kappa - half, kappa + half, null, kappa / null, pa, pe, size, **extras
    )


def _two_by_two(table: Array) -> dict[str, float]:
    n, same = float(table.sum()), float(np.trace(table))
    off = float(table[0, 1] - table[1, 0])
    low = beta_quantile(0.025, same, n - same + 1) if same > 0 else 0.0
    high = beta_quantile(0.975, same + 1, n - same) if same < n else 1.0
    apart = float(table[0, 1] + table[1, 0])
    return {
        "pabak": 2 * same / n - 1,
        "pabak_low": 2 * low - 1,
        "pabak_high": 2 * high - 1,
        "prevalence_index": float(table[0, 0] - table[1, 1]) / n,
        "bias_index": off / n,
        "mcnemar": off**2 / apart if apart else 0.0,
    }


@dataclass(frozen=True, slots=True)
class ByCategory:
    """Fleiss' kappa of each category against the rest, and z of the whole under no agreement."""

    kappa: Array
    z: float


def fleiss_by_category(counts: Array) -> ByCategory:
    """Kappa per category for units all rated equally often, and the null z of the whole.

    Fleiss JL, Nee JCM, Landis JR, Psychol Bull 1979;86:974-977 (variance, from memory).
    """
    n, m = counts.shape[0], float(counts[0].sum())
    p = counts.sum(axis=0) / (n * m)
    q = 1 - p
    apart = (counts * (m - counts)).sum(axis=0)
    kappa = 1 - apart / (n * m * (m - 1) * p * q)
    spread = float((p * q).sum())
    variance = 2 / (n * m * (m - 1)) * (spread**2 - float((p * q * (q - p)).sum())) / spread**2
    whole = float((p * q * kappa).sum()) / spread
    return ByCategory(kappa, whole / float(np.sqrt(variance)))


def light_kappa(ratings: Array) -> float:
    """Light's kappa: the mean of Cohen's kappa over all pairs of raters (no missing ratings)."""
    categories = np.unique(ratings)
    raters = ratings.shape[1]
    pairs = [(g, h) for g in range(raters) for h in range(g + 1, raters)]
    return float(np.mean([_pair(ratings[:, g], ratings[:, h], categories) for g, h in pairs]))


def _pair(first: Array, second: Array, categories: Array) -> float:
    table = (first[:, None, None] == categories[:, None]) & (
        second[:, None, None] == categories[None, :]
    )
    return cohen_table(table.sum(axis=0).astype(float)).kappa
