"""The basis of what is concluded: studies, pooled figures, marks, and residuals of the fit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sidewise.errors import UserError
from sidewise.evidence.display import Display, PooledTarget, Study, display
from sidewise.evidence.fitted import load_fitted
from sidewise.evidence.pretest_table import load_pretest_table
from sidewise.protocol import Item, Protocol, Reading, load_protocol, regions
from sidewise.protocol.model import nearest

WORST = 25
"""How many of the largest residuals are listed when no reading is named."""


def basis_text(name: str, region: str = "") -> str:
    """What stands behind an item, a reading or a condition; an overview for an empty name."""
    protocol = load_protocol(region or regions()[0])
    if not name:
        return "\n".join(_overview(protocol))
    if name in protocol.by_id:
        return "\n".join(_item(protocol.by_id[name], protocol))
    if name in protocol.readings_by_id:
        return "\n".join(_reading(protocol.readings_by_id[name], protocol))
    conditions = load_fitted(protocol.region).conditions
    if name in conditions.by_id:
        return "\n".join(_condition(name, protocol))
    known = {**protocol.by_id, **protocol.readings_by_id, **conditions.by_id}
    raise UserError("sources", name, "an item, reading or condition", nearest(name, known))


def residual_text(name: str = "", region: str = "") -> str:
    """Published rows against what the fitted network gives back for them, the worst first."""
    protocol = load_protocol(region or regions()[0])
    summary = load_fitted(protocol.region).summary
    rows = [row for row in summary["rows"] if not name or row["reading"] == name]
    if not rows:
        raise UserError("sources --residuals", name, "a reading with fitted rows",
                        nearest(name, protocol.readings_by_id))  # fmt: skip
    rows.sort(key=lambda row: -_worst(row))
    listed = rows if name else rows[:WORST]
    lines = [*_residual_heading(summary), *(_residual_line(row) for row in listed)]
    if len(listed) < len(rows):
        lines.append(f"... and {len(rows) - len(listed)} rows that fit better; name a reading.")
    return "\n".join((*lines, "", *_combination_lines(summary)))


def _overview(protocol: Protocol) -> Iterator[str]:
    fitted = load_fitted(protocol.region)
    marks = fitted.summary["marks"]["link"]
    yield f"{protocol.label}: {len(protocol.items)} items, {len(protocol.readings)} readings."
    words = ", ".join(f"{number} {mark}" for mark, number in marks.items())
    yield f"Links between conditions and readings: {words}."
    rows = len(fitted.summary["rows"])
    yield f"Fitted from {rows} published rows; version {fitted.fingerprint[:12]}."
    yield "Name an item, a reading or a condition to see what stands behind it:"
    for stage in dict.fromkeys(item.stage for item in protocol.items):
        names = [item.id for item in protocol.items if item.stage is stage]
        yield f"  {stage}: {', '.join(names)}"


def _item(item: Item, protocol: Protocol) -> Iterator[str]:
    yield f"{item.label} ({item.stage})"
    for basis in item.basis:
        yield f"  {basis.mark}: {basis.source}" + (f" ({basis.note})" if basis.note else "")
    readings = protocol.readings_by_item.get(item.id, ())
    if not readings:
        yield "  It is recorded and shown; it moves no probability."
    for reading in readings:
        yield ""
        yield from _reading(reading, protocol)


def _reading(reading: Reading, protocol: Protocol) -> Iterator[str]:
    shown = display(protocol.region, reading.id)
    yield f"{reading.id}: {reading.label}"
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


def _links(shown: Display) -> Iterator[str]:
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


def _condition(name: str, protocol: Protocol) -> Iterator[str]:
    condition = load_fitted(protocol.region).conditions.by_id[name]
    yield f"{condition.label}: {condition.note or 'no note'}"
    for basis in condition.basis:
        yield f"  {basis.mark}: {basis.source}" + (f" ({basis.note})" if basis.note else "")
    for row in load_pretest_table(protocol.region).rows:
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
