"""Domains of an examination: each one's reliability, how they hang together, and the composite's.

Students by stations, stations nested in the domains of the blueprint (multivariate
generalizability with one facet): errors of different domains are independent, so the covariance of
two domains' means is that of true scores. For a composite with weights w the reliability is

    1 - sum w_d^2 (error of d) / variance of the composite,

which is stratified alpha (Cronbach LJ, Schonemann P, McKie D, Educ Psychol Meas 1965;25:291-312,
from memory). Alpha over all stations takes them as alike and is too low when domains differ.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.ground.estimate import Estimate, no_estimate
from sidewise.teaching.reliability.consistency import consistency

DRAWS = 400


@dataclass(frozen=True, slots=True)
class DomainFigures:
    """One domain: its stations, weight in the total, mean and spread of students' means (percent),
    reliability of that mean (alpha) and its standard error of measurement.

    `borrowed`: one station only, so its error is taken from the other domains' stations. `carries`
    is the domain's share of the total's true variance: what the total in fact measures; `one_more`
    the reliability of the total with one more station of the domain.
    """

    domain: str
    stations: tuple[str, ...]
    weight: float
    mean: float
    sd: float
    reliability: Estimate
    sem: float
    borrowed: bool = False
    carries: float = float("nan")
    one_more: float = float("nan")


@dataclass(frozen=True)
class Composite:
    """The domains, true-score correlations between them, and the composite's reliability and SEM.

    `correlations` is (domains, domains); NaN where a domain shows no true variance.
    """

    domains: tuple[DomainFigures, ...]
    reliability: Estimate
    sem: float
    correlations: Array = field(repr=False)
    students: int = 0
    warnings: tuple[str, ...] = ()
    true_covariance: Array = field(repr=False, default_factory=lambda: np.empty((0, 0)))


@dataclass(frozen=True, slots=True)
class BlueprintProjection:
    """A blueprint with other numbers of stations: each domain's weight, the total's reliability and
    standard error of measurement (percent)."""

    weights: dict[str, float]
    reliability: float
    sem: float


def blueprint_projection(
    found: Composite, stations: Mapping[str, int], weights: Mapping[str, float] | None = None
) -> BlueprintProjection:
    """The decision study of the composite: `stations` of each domain, its `weights` (its share of
    the stations unless given; they are scaled to sum to 1).

    true variance w' S w, error sum over domains of w^2 (error of one station) / stations, with S
    the covariance of the domains' true scores (Brennan RL, Generalizability Theory, 2001, chapter
    10, from memory). Stations of a domain are taken as alike. UserError for an unknown domain or
    fewer than one station.
    """
    names = [f.domain for f in found.domains]
    asked = dict(stations)
    if sorted(asked) != sorted(names) or min(asked.values()) < 1:
        raise UserError(
            "blueprint", ", ".join(f"{k} {v}" for k, v in asked.items()),
            f"one station at least for each of: {', '.join(names)}", "",
        )  # fmt: skip
    count = np.array([asked[name] for name in names], dtype=float)
    weight = count if weights is None else np.array([weights[name] for name in names])
    weight = weight / weight.sum()
    each = np.array([f.sem**2 * len(f.stations) for f in found.domains])
    true = float(weight @ found.true_covariance @ weight)
    error = float(weight**2 @ (each / count))
    value = true / (true + error) if true + error > 0 else float("nan")
    shares = dict(zip(names, map(float, weight), strict=True))
    return BlueprintProjection(shares, value, float(np.sqrt(error)))


def composite_reliability(
    score: Array, stations: Sequence[str], domain_of: Sequence[str], seed: int = 1
) -> Composite:
    """From (students, stations) percent and each station's domain; students with a gap left out.

    Weights are the domains' shares of the stations, as in the total. The composite's interval is
    the bootstrap's over students. UserError for fewer than two domains or three students.
    """
    x = score[~np.isnan(score).any(axis=1)]
    names = tuple(dict.fromkeys(domain_of))
    if len(names) < 2 or x.shape[0] < 3:
        raise UserError(
            "domains", f"{len(names)} domains, {x.shape[0]} students with every station",
            "two domains and three students at least", "",
        )  # fmt: skip
    member = np.array([[d == name for d in domain_of] for name in names])
    parts = _parts(x, member)
    rng = np.random.default_rng(seed)
    picks = rng.integers(0, x.shape[0], (DRAWS, x.shape[0]))
    drawn = np.array([_reliability(_parts(x[pick], member)) for pick in picks])
    figures = tuple(_figures(k, name, x, member, stations, parts) for k, name in enumerate(names))
    alone = [f.domain for f in figures if f.borrowed]
    warnings = (
        (f"One station only in {', '.join(alone)}: its error is taken from the others.",)
        if alone else ()
    )  # fmt: skip
    sem = float(np.sqrt(parts.error @ parts.weight**2))
    whole = Composite(
        figures, _estimate(_reliability(parts), drawn), sem, _true_correlations(parts), x.shape[0],
        warnings, parts.covariance - np.diag(parts.error),
    )  # fmt: skip
    return replace(whole, domains=_carried(whole))


def _carried(found: Composite) -> tuple[DomainFigures, ...]:
    """Each domain with its share of the true variance and what one more station would do."""
    weight = np.array([f.weight for f in found.domains])
    along = found.true_covariance @ weight
    true = float(weight @ along)
    now = {f.domain: len(f.stations) for f in found.domains}
    return tuple(
        replace(
            f, carries=float(weight[k] * along[k] / true) if true > 0 else float("nan"),
            one_more=blueprint_projection(found, now | {f.domain: now[f.domain] + 1}).reliability,
        )
        for k, f in enumerate(found.domains)
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Parts:
    """Covariance of the domains' means, their error variances, and the weights."""

    covariance: Array
    error: Array
    weight: Array


def _parts(x: Array, member: Array) -> _Parts:
    count = member.sum(axis=1)
    means = x @ member.T / count
    rest = np.array([_residual(x[:, m]) for m in member])
    known = ~np.isnan(rest)
    # One station shows no error of its own: that of the other domains' stations, weighed by them.
    common = float(np.average(rest[known], weights=count[known] - 1)) if known.any() else np.nan
    error = np.where(known, rest, common) / count
    return _Parts(np.cov(means, rowvar=False), error, count / count.sum())


def _residual(x: Array) -> float:
    """Mean square of students by stations; NaN for one station."""
    n, k = x.shape
    if k < 2:
        return float("nan")
    left = x - x.mean(axis=1, keepdims=True) - x.mean(axis=0) + x.mean()
    return float((left**2).sum() / ((n - 1) * (k - 1)))


def _reliability(p: _Parts) -> float:
    whole = float(p.weight @ p.covariance @ p.weight)
    return 1 - float(p.error @ p.weight**2) / whole if whole > 0 else float("nan")


def _estimate(value: float, drawn: Array) -> Estimate:
    known = drawn[np.isfinite(drawn)]
    if not np.isfinite(value) or known.size < DRAWS / 2:
        return no_estimate("the students' composites do not differ")
    low, high = np.quantile(known, [0.025, 0.975])
    return Estimate(value, float(low), float(high), float(known.std(ddof=1)), "stratified alpha, "
                    f"bootstrap over students, {known.size} draws")  # fmt: skip


def _true_correlations(p: _Parts) -> Array:
    true = np.diag(p.covariance) - p.error
    root = np.sqrt(np.where(true > 0, true, np.nan))
    out = p.covariance / np.outer(root, root)
    np.fill_diagonal(out, np.where(true > 0, 1.0, np.nan))
    return np.asarray(out)


def _figures(
    k: int, name: str, x: Array, member: Array, stations: Sequence[str], p: _Parts
) -> DomainFigures:
    own = x[:, member[k]]
    mean = own.mean(axis=1)
    many = own.shape[1] > 1
    return DomainFigures(
        name, tuple(s for s, m in zip(stations, member[k], strict=True) if m), float(p.weight[k]),
        float(mean.mean()), float(mean.std(ddof=1)),
        consistency(own).alpha if many else no_estimate("one station only"),
        float(np.sqrt(p.error[k])), not many,
    )  # fmt: skip
