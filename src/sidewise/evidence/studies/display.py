"""What to show for a reading: its studies with likelihood ratios, pooled figures, and the fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sidewise.errors import UserError
from sidewise.evidence.fit.fitted import fitted_of
from sidewise.evidence.studies.counts import TwoByTwo
from sidewise.evidence.studies.pooling import Pooled, pool_exact
from sidewise.evidence.studies.ratios import LikelihoodRatios, LimitedEstimate, likelihood_ratios
from sidewise.evidence.studies.rows import AccuracyRow, accuracy_rows_of
from sidewise.knowledge.region import Region

ASSUMED = "Group sizes of {count} of {studies} studies are assumed: intervals are only indicative."


@dataclass(frozen=True)
class Study:
    """One row as shown. `ratios` is None where sensitivity or specificity is missing."""

    row: AccuracyRow
    ratios: LikelihoodRatios | None
    residual: Mapping[str, Any]


@dataclass(frozen=True)
class PooledTarget:
    """Pooled figures of a reading against one target, at least two studies with both figures."""

    target: str
    studies: int
    sensitivity: LimitedEstimate
    specificity: LimitedEstimate
    predicted_sensitivity: LimitedEstimate
    predicted_specificity: LimitedEstimate
    positive_ratio: float
    negative_ratio: float
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class ReadingEvidence:
    """Everything behind one reading. `fit` is its entry in the summary of the shipped fit."""

    reading: str
    studies: tuple[Study, ...]
    pooled: tuple[PooledTarget, ...]
    fit: Mapping[str, Any]


def counts_of(row: AccuracyRow) -> TwoByTwo | None:
    """The row's two-by-two table, None where a figure or a group is missing."""
    sick, well = row.positive_diseased, row.positive_others
    if sick is None or well is None or not row.diseased or not row.others:
        return None
    return TwoByTwo(sick, row.diseased - sick, well, row.others - well)


def target_of(row: AccuracyRow) -> str:
    """`condition:levels` of the row's target."""
    assert row.target is not None
    return f"{row.target.condition}:{','.join(map(str, row.target.levels))}"


def poolable_rows(rows: Sequence[AccuracyRow]) -> dict[str, list[tuple[AccuracyRow, TwoByTwo]]]:
    """Fitted rows with both figures and plain groups, by target, where there are at least two."""
    found: dict[str, list[tuple[AccuracyRow, TwoByTwo]]] = {}
    for row in rows:
        table = counts_of(row) if row.use == "fit" and row.groups == "both" else None
        if table is not None:
            found.setdefault(target_of(row), []).append((row, table))
    return {target: mine for target, mine in found.items() if len(mine) > 1}


def pooled_targets(rows: Sequence[AccuracyRow]) -> list[PooledTarget]:
    """Exact bivariate pooling of every target of one reading."""
    return [_pooled(target, mine) for target, mine in poolable_rows(rows).items()]


def _pooled(target: str, mine: Sequence[tuple[AccuracyRow, TwoByTwo]]) -> PooledTarget:
    found: Pooled = pool_exact([table for _, table in mine])
    guessed = sum(row.sizes_mark == "our judgement" for row, _ in mine)
    note = (ASSUMED.format(count=guessed, studies=len(mine)),) if guessed else ()
    return PooledTarget(
        target, len(mine), found.sensitivity, found.specificity, found.predicted_sensitivity,
        found.predicted_specificity, found.positive_ratio, found.negative_ratio,
        (*found.warnings, *note),
    )  # fmt: skip


def pooled_as_data(target: PooledTarget) -> dict[str, Any]:
    """A pooled target as it is shipped."""
    shares = ("sensitivity", "specificity", "predicted_sensitivity", "predicted_specificity")
    return {
        "target": target.target,
        "studies": target.studies,
        **{name: _three(getattr(target, name)) for name in shares},
        "positive_ratio": round(target.positive_ratio, 4),
        "negative_ratio": round(target.negative_ratio, 4),
        "warnings": list(target.warnings),
    }


def _three(interval: LimitedEstimate) -> list[float]:
    return [round(x, 4) for x in (interval.estimate, interval.low, interval.high)]


def _from_data(data: Mapping[str, Any]) -> PooledTarget:
    shares = ("sensitivity", "specificity", "predicted_sensitivity", "predicted_specificity")
    return PooledTarget(
        target=data["target"],
        studies=data["studies"],
        **{name: LimitedEstimate(*data[name]) for name in shares},
        positive_ratio=data["positive_ratio"],
        negative_ratio=data["negative_ratio"],
        warnings=tuple(data["warnings"]),
    )


def evidence_for(region: Region, reading: str) -> ReadingEvidence:
    """The studies, pooled figures and fit of one reading; UserError if there is no such reading."""
    return region.view(_display, reading)


def _display(region: Region, reading: str) -> ReadingEvidence:
    fitted = fitted_of(region)
    if reading not in fitted.reading_index:
        raise UserError("reading", reading, "a reading of this region")
    entry = fitted.summary["readings"][fitted.reading_index[reading]]
    residuals = {row["row"]: row for row in fitted.summary["rows"]}
    rows = accuracy_rows_of(region).by_reading.get(reading, ())
    studies = tuple(_study(row, residuals.get(row.id, {})) for row in rows)
    pooled = tuple(_from_data(data) for data in entry["pooled"])
    return ReadingEvidence(reading, studies, pooled, entry)


def _study(row: AccuracyRow, residual: Mapping[str, Any]) -> Study:
    table = counts_of(row)
    return Study(row, likelihood_ratios(table) if table else None, residual)
