"""What the fit gives back: figures per reading, residuals of every row, combinations held back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.evidence.fit.correlation import (
    CombinationFit,
    combination_fits,
    predict,
    rho_posterior,
)
from sidewise.evidence.fit.expected_shares import positive_share, positive_share_given_complaint
from sidewise.evidence.fit.fitted import MARKS, stable_seed
from sidewise.evidence.fit.inputs import METHOD, Inputs
from sidewise.evidence.fit.reading_fit import ReadingFit
from sidewise.evidence.pretest.selection import before_complaint
from sidewise.evidence.studies.display import pooled_as_data, pooled_targets
from sidewise.evidence.studies.groups import mix_at_levels
from sidewise.evidence.studies.rows import AccuracyRow, Levels
from sidewise.ground.arrays import Array

# A link whose lower limit is below this is shown as telling little.
LITTLE = 0.05


def fit_summary(
    inputs: Inputs, fits: Sequence[ReadingFit], arrays: Mapping[str, NDArray[Any]]
) -> dict[str, Any]:
    """The content of fitted.json."""
    by_reading = {fit.prior.reading: fit for fit in fits}
    rows = [row_residual(inputs, by_reading[row.reading], row) for row in inputs.rows.fitted]
    return {
        "region": inputs.region,
        "method": METHOD,
        "fingerprint": inputs.fingerprint,
        "draws": len(fits[0].draws.leak),
        "groups": len(inputs.groups),
        "marks": _mark_counts(arrays),
        "residuals": _residual_summary(rows),
        "readings": _readings(inputs, fits, arrays),
        "rows": rows,
        "correlation": _correlation(inputs, arrays),
        "combinations": combinations_report(inputs),
    }


def _mark_counts(arrays: Mapping[str, NDArray[Any]]) -> dict[str, dict[str, int]]:
    return {
        what: {mark: int((arrays[f"{what}_mark"] == i).sum()) for i, mark in enumerate(MARKS)}
        for what in ("link", "leak")
    }


def _interval(draws: Array) -> dict[str, float]:
    low, high = np.quantile(draws, [0.025, 0.975])
    figures = {"mean": draws.mean(), "low": low, "high": high}
    return {name: round(float(value), 4) for name, value in figures.items()}


def _readings(
    inputs: Inputs, fits: Sequence[ReadingFit], arrays: Mapping[str, NDArray[Any]]
) -> list[dict[str, Any]]:
    marks = iter(arrays["link_mark"].tolist())
    found = []
    for fit, leak_mark in zip(fits, arrays["leak_mark"].tolist(), strict=True):
        links = []
        for i, column in enumerate(fit.prior.columns):
            condition, level = inputs.conditions.columns[column]
            figures = _interval(fit.draws.links[:, i])
            links.append(
                {"condition": condition, "level": level, **figures, "mark": MARKS[next(marks)],
                 "measured_by_a_row": fit.prior.kinds[i] == "measured",
                 "tells_little": figures["low"] < LITTLE}
            )  # fmt: skip
        found.append(
            {"reading": fit.prior.reading,
             "groups": len(inputs.groups_by_reading[fit.prior.reading]),
             "leak": {**_interval(fit.draws.leak), "mark": MARKS[leak_mark]},
             "tau_se": _interval(fit.draws.tau_se), "tau_sp": _interval(fit.draws.tau_sp),
             "jumps_taken": round(fit.accepted, 3), "links": links,
             "pooled": [pooled_as_data(t) for t in pooled_targets(_rows_of(inputs, fit))]}
        )  # fmt: skip
    return found


def _rows_of(inputs: Inputs, fit: ReadingFit) -> Sequence[AccuracyRow]:
    return inputs.rows.by_reading.get(fit.prior.reading, ())


def dense_links(inputs: Inputs, fit: ReadingFit) -> Array:
    """(D, C) links of one reading, 0 where it has no parent."""
    found = np.zeros((len(fit.draws.leak), len(inputs.conditions.columns)))
    found[:, list(fit.prior.columns)] = fit.draws.links
    return found


def expected_share(inputs: Inputs, fit: ReadingFit, levels: Array) -> float:
    """Posterior mean of P(positive) in a group with `levels` (C,), without a study effect."""
    parts = tuple(inputs.conditions.slices.values())
    links = dense_links(inputs, fit)
    return float(positive_share(fit.draws.leak, links, levels[None], parts).mean())


def _rest_levels(inputs: Inputs, row: AccuracyRow) -> Array:
    assert row.target is not None
    mix = inputs.mixes.mix(row.case_mix)
    if not row.rest:
        part = inputs.conditions.slices[row.target.condition]
        every = range(part.stop - part.start + 1)
        left = tuple(k for k in every if k not in row.target.levels)
        return mix_at_levels(inputs.mixes, mix, Levels(row.target.condition, left), row.also)[None]
    return np.stack([mix_at_levels(inputs.mixes, mix, group.who, row.also) for group in row.rest])


def row_residual(inputs: Inputs, fit: ReadingFit, row: AccuracyRow) -> dict[str, Any]:
    """Printed and expected sensitivity and specificity of one row, and their differences."""
    assert row.target is not None
    mix = inputs.mixes.mix(row.case_mix)
    named = bool(row.rest) and all(g.who is None or g.who.alone for g in row.rest)
    target = Levels(row.target.condition, row.target.levels, row.target.alone or named)
    sens = expected_share(inputs, fit, mix_at_levels(inputs.mixes, mix, target, row.also))
    sizes = [group.size or 1 for group in row.rest] or [1]
    shares = [expected_share(inputs, fit, levels) for levels in _rest_levels(inputs, row)]
    spec = 1 - float(np.average(shares, weights=sizes))
    found: dict[str, Any] = {"row": row.id, "reading": row.reading}
    figures = (("sensitivity", row.sensitivity, sens), ("specificity", row.specificity, spec))
    for name, figure, expected in figures:
        if figure is None or (row.groups == "rest" and name == "sensitivity"):
            continue
        found[name] = {"printed": figure.value, "expected": round(expected, 3),
                       "residual": round(figure.value - expected, 3)}  # fmt: skip
    return found


def _residual_summary(rows: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, float]]:
    found = {}
    for name in ("sensitivity", "specificity"):
        sizes = np.array([abs(row[name]["residual"]) for row in rows if name in row])
        found[name] = {"rows": len(sizes), "median": round(float(np.median(sizes)), 3),
                       "centile_95": round(float(np.quantile(sizes, 0.95)), 3)}  # fmt: skip
    return found


def _correlation(inputs: Inputs, arrays: Mapping[str, NDArray[Any]]) -> list[dict[str, Any]]:
    return [
        {"family": name, "rho_s": _interval(arrays["rho_s"][:, f].astype(float)),
         "rho_m": _interval(arrays["rho_m"][:, f].astype(float)),
         "effective_prior_draws": round(float(arrays["rho_effective"][f]))}
        for f, name in enumerate(inputs.families.names)
    ]  # fmt: skip


def combinations_report(inputs: Inputs, count: int = 500) -> dict[str, Any]:
    """Every fitted combination under independence, all data, and its own condition held back.

    With the mean absolute errors of the log ratios, and why other combinations are not fitted.
    """
    fits = combination_fits(
        inputs.combinations, inputs.groups, inputs.families, inputs.conditions.slices
    )
    rows = [_combination(inputs, fits, fit, count) for fit in fits]
    sets = dict.fromkeys(f"{row['family']} {row['target']}" for row in rows)
    errors = {
        name: _errors([r for r in rows if f"{r['family']} {r['target']}" == name]) for name in sets
    }
    unused = [{"id": c.id, "why": c.why_not} for c in inputs.combinations if c.use != "fit"]
    return {"rows": rows, "mean_absolute_log_error": errors, "not_fitted": unused}


def _errors(rows: Sequence[Mapping[str, Any]]) -> dict[str, float]:
    return {
        how: round(float(np.mean([abs(np.log(r[how] / r["printed_ratio"])) for r in rows])), 3)
        for how in ("independent", "prior", "held_back", "fitted")
    }


def _ratio(inputs: Inputs, fit: CombinationFit, used: Sequence[CombinationFit], n: int) -> float:
    rng = np.random.default_rng(stable_seed(fit.row.id, str(len(used))))
    rho = rho_posterior(inputs.families, used, n, rng)
    f = inputs.families.names.index(fit.row.family)
    drawn = predict(fit, rho.structure[:, f], rho.mechanism[:, f])
    return round(float(drawn.diseased.mean() / drawn.others.mean()), 3)


def _combination(
    inputs: Inputs, fits: Sequence[CombinationFit], fit: CombinationFit, count: int
) -> dict[str, Any]:
    row = fit.row
    zero = np.zeros(1)
    others = [f for f in fits if f.row.target != row.target or f.row.family != row.family]
    printed = row.lr
    if printed is None and row.sensitivity is not None and row.specificity is not None:
        printed = row.sensitivity / max(1 - row.specificity, 0.005)
    return {
        "id": row.id,
        "family": row.family,
        "readings": list(row.readings),
        "rule": row.rule,
        "target": f"{row.target.condition}:{','.join(map(str, row.target.levels))}",
        "printed_ratio": None if printed is None else round(printed, 3),
        "independent": round(float(predict(fit, zero, zero).ratio[0]), 3),
        "prior": _ratio(inputs, fit, (), count),
        "held_back": _ratio(inputs, fit, others, count),
        "fitted": _ratio(inputs, fit, fits, count),
    }


def complaint_shift(inputs: Inputs, fit: ReadingFit, row: AccuracyRow) -> float:
    """Largest change of the row's expected shares when the complaint is conditioned on.

    The mix before selection is the fixed point that gives the published mix back, so that only
    the negative dependence of the conditions remains (docs/decisions/fitting.md).
    """
    assert row.target is not None
    mix = inputs.mixes.mix(row.case_mix)
    earlier = before_complaint(mix[None], inputs.conditions)[0]
    links, parts = dense_links(inputs, fit), tuple(inputs.conditions.slices.values())
    plain = positive_share(fit.draws.leak, links, _both(inputs, row, mix), parts)
    given = positive_share_given_complaint(
        fit.draws.leak, links, _both(inputs, row, earlier), inputs.conditions
    )
    return float(np.abs(given.mean(axis=0) - plain.mean(axis=0)).max())


def _both(inputs: Inputs, row: AccuracyRow, mix: Array) -> Array:
    """(2, C) people of the row's setting with its target, and those without."""
    assert row.target is not None
    part = inputs.conditions.slices[row.target.condition]
    every = range(part.stop - part.start + 1)
    left = Levels(row.target.condition, tuple(k for k in every if k not in row.target.levels))
    return np.stack([mix_at_levels(inputs.mixes, mix, who, row.also) for who in (row.target, left)])
