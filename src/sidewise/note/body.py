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
class QuietRange:
    """A measured movement with nothing to say but its numbers: active and passive, each side."""

    label: str
    right: str
    left: str


@dataclass(frozen=True, slots=True)
class StageText:
    """One stage: what is normal on both sides in a list, then what is not, line by line."""

    stage: Stage
    normal: tuple[str, ...]
    lines: tuple[Line, ...]
    ranges: tuple[QuietRange, ...]
    open: tuple[str, ...]


def stage_texts(
    record: Record, protocol: Protocol, result: Interpretation
) -> tuple[StageText, ...]:
    """Every stage in which anything was recorded, or something essential was left open."""
    remarks = _remarks(result)
    texts = [_stage(stage, record, protocol, remarks) for stage in Stage]
    return tuple(t for t in texts if t.normal or t.lines or t.ranges or t.open)


Remarks = dict[tuple[str, str | None], str]


def _remarks(result: Interpretation) -> Remarks:
    found: Remarks = {}
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


class _Sorted:
    """One stage being sorted into what is normal, what is not, quiet ranges and what is open."""

    def __init__(self, record: Record, remarks: Remarks) -> None:
        self.record, self.remarks = record, remarks
        self.normal: list[str] = []
        self.lines: list[Line] = []
        self.ranges: list[QuietRange] = []
        self.open: list[str] = []

    def add(self, item: Item) -> None:
        quiet = _quiet_range(self.record, item, self.remarks)
        if quiet:
            self.ranges.append(quiet)
            return
        for mode in item.modes or (None,):
            self._add(item, mode)

    def _add(self, item: Item, mode: str | None) -> None:
        sides = ("right", "left") if item.paired else ("midline",)
        label = f"{item.label}, {mode}" if mode else item.label
        if not any(_touched(self.record, item, side, mode) for side in sides):
            if item.role == "essential":
                self.open.append(label)
        elif all(place_is_normal(self.record, item, side, mode) for side in sides):
            self.normal.append(label)
        else:
            self.lines.append(_line(item, mode, label, self.record, self.remarks))


def _stage(stage: Stage, record: Record, protocol: Protocol, remarks: Remarks) -> StageText:
    found = _Sorted(record, remarks)
    for item in protocol.items:
        if item.stage is stage:
            found.add(item)
    parts = (found.normal, found.lines, found.ranges, found.open)
    normal, lines, ranges, left_open = (tuple(part) for part in parts)
    return StageText(stage, normal, lines, ranges, left_open)  # type: ignore[arg-type]


def _quiet_range(record: Record, item: Item, remarks: Remarks) -> QuietRange | None:
    """The numbers of a movement, if every reading is a painless one and no difference is real."""
    if not item.paired or (item.kind("angle") is None and item.kind("level") is None):
        return None
    sides = []
    for side in ("right", "left"):
        words = [_quiet_number(record, item, side, mode) for mode in item.modes or (None,)]
        if not all(words):
            return None
        sides.append("/".join(word for word in words if word))
    remarked = any(remarks.get((item.id, mode), "").startswith("real") for mode in item.modes)
    return None if remarked else QuietRange(item.label, *sides)


def _quiet_number(record: Record, item: Item, side: str, mode: str | None) -> str | None:
    found = record.at(item.id, side, mode)
    if len(found) != 1 or found[0].status != "examined" or found[0].note:
        return None
    value = found[0].value
    if value is None or value.kind not in ("angle", "level", "normal_by_eye"):
        return None
    if getattr(value, "pain", None):
        return None
    if value.kind == "angle":
        return f"{value.degrees:g}°"
    return str(value.level) if value.kind == "level" else "full by eye"


def _touched(record: Record, item: Item, side: str, mode: str | None) -> bool:
    return any(finding.place == (item.id, side, mode) for finding in record.findings)


def _line(
    item: Item,
    mode: str | None,
    label: str,
    record: Record,
    remarks: Remarks,
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
