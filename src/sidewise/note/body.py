"""The body of the note: the stages in the trade's order, both sides compared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sidewise.note.completeness import places
from sidewise.note.phrases import place_is_normal, place_phrase
from sidewise.protocol import Item, Protocol
from sidewise.protocol.model import Stage
from sidewise.reason.result import Difference, Interpretation, VariantFound
from sidewise.record import Record


@dataclass(frozen=True, slots=True)
class Line:
    """One finding compared between the sides, with a remark where there is something to say."""

    label: str
    right: str | None
    left: str | None
    both: str | None
    remark: str = ""


@dataclass(frozen=True, slots=True)
class StageText:
    """One stage: what is normal on both sides in a list, then what is not, line by line."""

    stage: Stage
    normal: tuple[str, ...]
    lines: tuple[Line, ...]
    open: tuple[str, ...]


def stage_texts(
    record: Record, protocol: Protocol, result: Interpretation
) -> tuple[StageText, ...]:
    """Every stage in which anything was recorded, or something essential was left open."""
    remarks = _remarks(result)
    texts = [_stage(stage, record, protocol, remarks) for stage in Stage]
    return tuple(text for text in texts if text.normal or text.lines or text.open)


def _remarks(result: Interpretation) -> dict[tuple[str, str | None], str]:
    found: dict[tuple[str, str | None], str] = {}
    for difference in result.differences:
        found[(difference.item, difference.mode)] = _difference_remark(difference)
    for variant in result.variants:
        found[(variant.item, None)] = _variant_remark(variant)
    return found


def _difference_remark(difference: Difference) -> str:
    if difference.real is None:
        return ""
    size = f"{abs(difference.difference):g}{'°' if difference.unit == 'degrees' else ''}"
    limit = f" (error here {difference.threshold:.0f})" if difference.threshold else ""
    kind = "real difference" if difference.real else "difference within error:"
    return f"{kind} {size}{limit}"


def _variant_remark(variant: VariantFound) -> str:
    return f"normal variant: {variant.label}" if variant.applied else ""


def _stage(
    stage: Stage,
    record: Record,
    protocol: Protocol,
    remarks: dict[tuple[str, str | None], str],
) -> StageText:
    normal: list[str] = []
    lines: list[Line] = []
    open_items: list[str] = []
    for item in protocol.items:
        if item.stage is not stage:
            continue
        for mode in item.modes or (None,):
            _sort(item, mode, record, remarks, normal, lines, open_items)
    return StageText(stage, tuple(normal), tuple(lines), tuple(open_items))


def _sort(
    item: Item,
    mode: str | None,
    record: Record,
    remarks: dict[tuple[str, str | None], str],
    normal: list[str],
    lines: list[Line],
    open_items: list[str],
) -> None:
    sides = ("right", "left") if item.paired else ("midline",)
    label = f"{item.label}, {mode}" if mode else item.label
    recorded = [side for side in sides if _touched(record, item, side, mode)]
    if not recorded:
        if item.role == "essential":
            open_items.append(label)
    elif all(place_is_normal(record, item, side, mode) for side in sides):
        normal.append(label)
    else:
        lines.append(_line(item, mode, label, record, remarks))


def _touched(record: Record, item: Item, side: str, mode: str | None) -> bool:
    return any(finding.place == (item.id, side, mode) for finding in record.findings)


def _line(
    item: Item,
    mode: str | None,
    label: str,
    record: Record,
    remarks: dict[tuple[str, str | None], str],
) -> Line:
    remark = remarks.get((item.id, mode), "") or (remarks.get((item.id, None), "") if mode else "")
    if not item.paired:
        return Line(label, None, None, place_phrase(record, item, "midline", mode), remark)
    right, left = (place_phrase(record, item, side, mode) for side in ("right", "left"))
    if right == left:
        return Line(label, None, None, right, remark)
    return Line(label, right, left, None, remark)


def unable_lines(record: Record, protocol: Protocol) -> Iterator[str]:
    """What could not be examined or was withheld, with the reason given."""
    for item in protocol.items:
        for side, mode in places(item):
            for finding in record.at(item.id, side, mode):
                if finding.status in ("unable", "withheld"):
                    where = f"{side} " if item.paired else ""
                    yield f"{where}{item.label}: {finding.reason}"
