"""A visit that follows an earlier one: what lasts is carried, marked as carried; nothing else is.

Findings are never carried. What was not normal is named, so that it is examined again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from sidewise.protocol import Protocol
from sidewise.record.check import is_normal
from sidewise.record.model import Finding, Follows, Record

DAYS_A_WEEK, DAYS_A_YEAR = 7, 365.25


def with_carried(data: Mapping[str, Any], earlier: Record, protocol: Protocol) -> dict[str, Any]:
    """The data of a context that follows `earlier`: what it leaves unstated and lasts is filled in.

    data: as `Context` takes it, with `examined_at`. The age and the weeks of the complaint are
    carried on by the time between the visits (an age may be a year short). Of a question only a yes
    is carried; a no is asked again. `follows` of the result names each field that was carried.
    """
    filled = {**data, "known": dict(data.get("known") or {})}
    filled["history"] = dict(data.get("history") or {})
    carried = []
    for field in protocol.visits.carries:
        value = _lasting(field, earlier, data["examined_at"])
        if value is not None and _put(filled, field, value):
            carried.append(field)
    follows = Follows(
        record=earlier.id,
        at=earlier.context.examined_at,
        by=earlier.context.examiner,
        watch=tuple(watch_list(earlier, protocol)),
        carried=tuple(carried),
    )
    return {**filled, "follows": follows}


def _lasting(field: str, earlier: Record, at: datetime) -> Any:
    """What the earlier visit says of a field, as of today; None where it says nothing to carry."""
    context = earlier.context
    table, _, name = field.partition(".")
    # A field that two people stated differently is nobody's knowledge yet.
    if field in context.disputed:
        return None
    days = max(0.0, (at - context.examined_at).total_seconds() / 86_400)
    if table == "history":
        return "yes" if context.answer(name) == "yes" else None
    if table == "known":
        known = getattr(context.known, name)
        return known.model_dump() if known.anything else None
    value = getattr(context, field)
    if value is None or value == ():
        return None
    if field == "age":
        return min(120, value + int(days / DAYS_A_YEAR))
    if field == "duration_weeks":
        return round(value + days / DAYS_A_WEEK, 1)
    return value


def _put(data: dict[str, Any], field: str, value: Any) -> bool:
    """Put the value where nothing is stated; whether it was put."""
    table, _, name = field.partition(".")
    where, key = (data[table], name) if name else (data, field)
    there = where.get(key)
    stated = any(there.values()) if isinstance(there, dict) else there not in (None, (), [], "")
    if stated and there != "not asked":
        return False
    where[key] = value
    return True


def watch_list(earlier: Record, protocol: Protocol) -> Iterator[str]:
    """The items that were not normal, were measured, or could not be examined, in their order."""
    for item in protocol.items:
        findings = [finding for finding in earlier.findings if finding.item == item.id]
        if not protocol.stage_of(item).sets_up and any(
            _to_see_again(f, protocol) for f in findings
        ):
            yield item.id


def _to_see_again(finding: Finding, protocol: Protocol) -> bool:
    if finding.status != "examined" or finding.value is None:
        return finding.status == "unable"
    limits = protocol.item(finding.item).kind(finding.value.kind)
    return limits is not None and is_normal(finding, limits) is not True
