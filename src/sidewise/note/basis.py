"""The basis of the conclusions: studies, pooled figures, marks, and residuals of the fit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sidewise.errors import UserError
from sidewise.evidence.conditions import conditions_of
from sidewise.evidence.fit.fitted import fitted_of
from sidewise.evidence.pretest.table import pretest_table_of
from sidewise.evidence.studies.display import PooledTarget, ReadingEvidence, Study, evidence_for
from sidewise.knowledge.manifest import NO_WEIGHING
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, Reading, protocol_of
from sidewise.protocol.model import nearest_names

WORST = 25
"""How many of the largest residuals are listed when no reading is named."""


def basis_text(name: str, region: Region) -> str:
    """What stands behind an item, a reading or a condition; an overview for an empty name."""
    protocol = protocol_of(region)
    if not name:
        return "\n".join(_overview(region))
    if name in protocol.by_id:
        return "\n".join(_item(protocol.by_id[name], region))
    if name in protocol.readings_by_id:
        return "\n".join(reading_lines(protocol.readings_by_id[name], region))
    by_id = conditions_of(region).by_id if region.has("conditions") else {}
    if name in by_id:
        return "\n".join(_condition(name, region))
    known = {**protocol.by_id, **protocol.readings_by_id, **by_id}
    raise UserError("sources", name, "an item, reading or condition", nearest_names(name, known))


def residual_text(name: str, region: Region) -> str:
    """Published rows against the fitted network's figures for them, the worst first.

    UserError where the region has no studies.
    """
    if not region.has_weighing:
        raise UserError("sources --residuals", region.id, "a region with fitted rows", NO_WEIGHING)
    summary = fitted_of(region).summary
    rows = [row for row in summary["rows"] if not name or row["reading"] == name]
    if not rows:
        raise UserError("sources --residuals", name, "a reading with fitted rows",
                        nearest_names(name, protocol_of(region).readings_by_id))  # fmt: skip
    rows.sort(key=lambda row: -_worst(row))
    listed = rows if name else rows[:WORST]
    lines = [*_residual_heading(summary), *(_residual_line(row) for row in listed)]
    if len(listed) < len(rows):
        lines.append(f"... and {len(rows) - len(listed)} rows that fit better; name a reading.")
    return "\n".join((*lines, "", *_combination_lines(summary)))


def _overview(region: Region) -> Iterator[str]:
    protocol = protocol_of(region)
    yield f"{protocol.label}: {len(protocol.items)} items, {len(protocol.readings)} readings."
    yield from _fit_lines(region) if region.has_weighing else (NO_WEIGHING,)
    yield "Name an item, a reading or a condition to see what stands behind it:"
    for stage in protocol.stages:
        if items := protocol.items_of(stage):
            yield f"  {stage}: {', '.join(item.id for item in items)}"


def _fit_lines(region: Region) -> Iterator[str]:
    fitted = fitted_of(region)
    marks = fitted.summary["marks"]["link"]
    words = ", ".join(f"{number} {mark}" for mark, number in marks.items())
    yield f"Links between conditions and readings: {words}."
    rows = len(fitted.summary["rows"])
    yield f"Fitted from {rows} published rows; version {fitted.fingerprint[:12]}."


def _item(item: Item, region: Region) -> Iterator[str]:
    protocol = protocol_of(region)
    yield f"{item.label} ({protocol.stage_of(item)})"
    for basis in item.basis:
        yield f"  {basis.mark}: {basis.source}" + (f" ({basis.note})" if basis.note else "")
    readings = protocol.readings_by_item.get(item.id, ())
    if not readings:
        yield "  It is recorded and shown; it moves no probability."
    for reading in readings:
        yield ""
        yield from reading_lines(reading, region)


def reading_lines(reading: Reading, region: Region) -> Iterator[str]:
    """The studies of a reading, what they come to when pooled, and its links."""
    yield f"{reading.id}: {reading.label}"
    if not region.has_weighing:
        yield f"  {NO_WEIGHING}"
        return
    shown = evidence_for(region, reading.id)
    if not shown.studies:
        yield "  No study is attached; links rest on the trade or on a definition."
    for study in shown.studies:
        yield _study(study)
    for pooled in shown.pooled:
        yield _pooled(pooled)
    yield from _links(shown)


def _study(study: Study) -> str:
    row = study.row
    figures = " ".join(
        f"{name} {figure.value:.2f}" if figure is not None else f"{name} -"
        for name, figure in (("sens", row.sensitivity), ("spec", row.specificity))
    )
    use = "" if row.use == "fit" else f"; {row.use}: {row.why_not}"
    return f"  {row.source} [{row.mark}]: {row.condition_printed}, {figures}, {row.setting}{use}"


def _pooled(pooled: PooledTarget) -> str:
    return (
        f"  pooled for {pooled.target}, {pooled.studies} studies: LR+ {pooled.positive_ratio:.1f}, "
        f"LR- {pooled.negative_ratio:.2f}" + "".join(f" ({w})" for w in pooled.warnings)
    )


def _links(shown: ReadingEvidence) -> Iterator[str]:
    leak = shown.fit["leak"]
    yield (
        f"  without any listed cause: {leak['mean']:.2f} "
        f"({leak['low']:.2f} to {leak['high']:.2f}), {leak['mark']}"
    )
    for link in shown.fit["links"]:
        little = "; tells little" if link["tells_little"] else ""
        yield (
            f"  {link['condition']} level {link['level']} causes it: {link['mean']:.2f} "
            f"({link['low']:.2f} to {link['high']:.2f}), {link['mark']}{little}"
        )


def _condition(name: str, region: Region) -> Iterator[str]:
    condition = conditions_of(region).by_id[name]
    yield f"{condition.label}: {condition.note or 'no note'}"
    for basis in condition.basis:
        yield f"  {basis.mark}: {basis.source}" + (f" ({basis.note})" if basis.note else "")
    for row in pretest_table_of(region).rows:
        if row.condition == name:
            where = row.setting or row.when or row.sex or f"age {row.age_low:g} on"
            yield (
                f"  {row.kind} {where}: {row.value:g} ({row.low:g} to {row.high:g}), "
                f"{row.mark}: {row.source}"
            )


def _residual_heading(summary: Mapping[str, Any]) -> Iterator[str]:
    yield "Published figure against what the fitted network gives back for that row."
    for what, found in summary["residuals"].items():
        yield (
            f"  {what}: {found['rows']} rows, median difference {found['median']:.2f}, "
            f"95th centile {found['centile_95']:.2f}"
        )
    yield "What remains is studies that contradict each other."


def _residual_line(row: Mapping[str, Any]) -> str:
    parts = [
        f"{what[:4]} {row[what]['printed']:.2f} printed, {row[what]['expected']:.2f} expected"
        for what in ("sensitivity", "specificity")
        if row.get(what)
    ]
    return f"  {row['row']} {row['reading']}: {'; '.join(parts)}"


def _worst(row: Mapping[str, Any]) -> float:
    found = [abs(row[w]["residual"]) for w in ("sensitivity", "specificity") if row.get(w)]
    return max(found, default=0.0)


def _combination_lines(summary: Mapping[str, Any]) -> Iterator[str]:
    yield "Published combinations: likelihood ratio printed, if independent, held back, fitted"
    for row in summary["combinations"]["rows"]:
        yield (
            f"  {' + '.join(row['readings'])}, {row['rule']} -> {row['target']}: "
            f"{row['printed_ratio']:g}, {row['independent']:.1f}, {row['held_back']:.1f}, "
            f"{row['fitted']:.1f}"
        )
