"""A stage as rows of the mirror: each item with what stands on each side. No HTML here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sidewise.note.completeness import places
from sidewise.note.phrases import finding_phrase, place_is_normal, place_phrase
from sidewise.protocol import Item, Stage
from sidewise.record import Conflict, Finding
from sidewise.web.examinations.bars import Bar, Told, bar_of, told
from sidewise.web.examinations.entries import places_text
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.widgets import (
    Widget,
    attribute_json,
    is_measured,
    normal_value,
    quick_seconds,
    widget,
)

READ_OFF = {"angle", "level", "length", "force", "vital", "seconds", "count", "text"}
"""Kinds whose value is neither normal nor abnormal by itself."""
SIDE_WORDS = {"right": "patient's right", "left": "patient's left", "midline": "midline"}


@dataclass(frozen=True, slots=True)
class Claim:
    """One of several values that contradict each other, and the touch that keeps it."""

    phrase: str
    by: str
    findings: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One place (item, side, mode): what stands there and how to enter it."""

    item: Item
    side: str
    mode: str | None
    status: str
    phrase: str
    widgets: tuple[Widget, ...]
    holds: str
    claims: tuple[Claim, ...]
    bar: Bar | None
    reason: str
    note: str

    @property
    def key(self) -> str:
        """A name for ids in the page."""
        return "-".join(filter(None, (self.item.id, self.side, self.mode)))

    @property
    def place(self) -> str:
        """The place as a form names it."""
        return places_text([(self.item.id, self.side, self.mode)])

    @property
    def words(self) -> str:
        """Whose side and which mode, always written."""
        return f"{self.mode}, {SIDE_WORDS[self.side]}" if self.mode else SIDE_WORDS[self.side]

    @property
    def is_read(self) -> bool:
        """Whether a measurement stands here: its fields then step back behind one touch."""
        return is_measured(self.item) and self.status in ("measured", "normal")

    @property
    def is_open(self) -> bool:
        """Whether nothing at all stands here."""
        return self.status == "open"


@dataclass(frozen=True, slots=True)
class SideCells:
    """The cells of one side, one for each mode."""

    side: str
    words: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class OneTouch:
    """Normal at every place that is still open, and at none that is not."""

    label: str
    places: str
    code: str


@dataclass(frozen=True, slots=True)
class Row:
    """One item across the mirror."""

    item: Item
    sides: tuple[SideCells, ...]
    folded: bool
    both: bool
    one_touch: tuple[OneTouch, ...]
    withheld: str | None
    differences: tuple[Told, ...]
    error: str = ""

    @property
    def is_done(self) -> bool:
        """Whether every place has something: a value, or why there is none."""
        return not any(cell.is_open for side in self.sides for cell in side.cells)


@dataclass(frozen=True, slots=True)
class GroupItems:
    """A group of a stage: the items that have a row, and the optional ones not opened yet."""

    label: str
    rows: tuple[Item, ...]
    more: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class StageFoot:
    """The foot of a stage by itself, for the answer to a touch."""

    stage: Stage
    rest: int

    @property
    def slug(self) -> str:
        """The stage as it stands in an address."""
        return slug(self.stage)


def slug(stage: Stage) -> str:
    """The stage as it stands in an address."""
    return stage.value.replace(" ", "-")


def stage_of(text: str) -> Stage | None:
    """The stage an address names."""
    return next((stage for stage in Stage if slug(stage) == text), None)


def stage_groups(
    now: Current, stage: Stage, opened: frozenset[str] = frozenset()
) -> tuple[GroupItems, ...]:
    """Rows for essential, flag-screening, recorded or opened items; the other items by name."""
    groups: dict[str, tuple[list[Item], list[Item]]] = {}
    for item in now.protocol.items:
        if item.stage == stage:
            rows, more = groups.setdefault(item.group, ([], []))
            shown = item.role != "optional" or item.id in now.held_of or item.id in opened
            (rows if shown else more).append(item)
    return tuple(GroupItems(label, tuple(r), tuple(m)) for label, (r, m) in groups.items())


def row_of(now: Current, item: Item, *, opened: bool = False, error: str = "") -> Row:
    """One item across the mirror, as it stands."""
    cells = [cell_of(now, item, side, mode) for side, mode in places(item)]
    names = dict.fromkeys(cell.side for cell in cells)
    sides = tuple(
        SideCells(name, SIDE_WORDS[name], tuple(c for c in cells if c.side == name))
        for name in names
    )
    normal = all(cell.status == "normal" for cell in cells)
    alike = _alike(sides)
    return Row(
        item,
        sides,
        folded=normal and alike and not opened and not error,
        both=alike and not normal and all(cell.status == "abnormal" for cell in cells),
        one_touch=tuple(_one_touch(item, cells)),
        withheld=now.withheld.wholly(item),
        differences=told(now, item),
        error=error,
    )


def _alike(sides: tuple[SideCells, ...]) -> bool:
    return len({tuple(cell.phrase for cell in side.cells) for side in sides}) == 1


def cell_of(now: Current, item: Item, side: str, mode: str | None) -> Cell:
    """What stands at one place and how to enter it."""
    place = (item.id, side, mode)
    held = now.at_place.get(place, {})
    conflict = next((c for c in now.record.conflicts if (c.item, c.side, c.mode) == place), None)
    status = _status(now, item, side, mode, held, conflict)
    values = {f.value.kind: f.value for f in held.values() if f.value is not None}
    return Cell(
        item,
        side,
        mode,
        status,
        place_phrase(now.record, item, side, mode) if held else "",
        tuple(widget(kind, values.get(kind.kind)) for kind in item.kinds),
        attribute_json({name: f.group for name, f in held.items()}),
        tuple(_claims(held, conflict, now)),
        bar_of(now, item, side, mode, values),
        next((f.reason for f in held.values() if f.reason), ""),
        next((f.note for f in held.values() if f.note), ""),
    )


def _status(
    now: Current, item: Item, side: str, mode: str | None,
    held: dict[str, Finding], conflict: Conflict | None,
) -> str:  # fmt: skip
    if not held:
        return "open"
    if conflict is not None:
        return "conflict"
    statuses = {finding.status for finding in held.values()}
    if statuses != {"examined"}:
        return next(iter(statuses - {"examined"})).replace(" ", "-")
    if place_is_normal(now.record, item, side, mode):
        return "normal"
    kinds = {finding.value.kind for finding in held.values() if finding.value}
    return "measured" if kinds & READ_OFF else "abnormal"


def _claims(held: dict[str, Finding], conflict: Conflict | None, now: Current) -> Iterator[Claim]:
    if conflict is None:
        return
    for finding in held.values():
        kept = finding.model_dump(mode="json", by_alias=True, exclude_none=True)
        yield Claim(
            finding_phrase(finding),
            finding.examiner or now.record.context.examiner,
            attribute_json([kept]),
        )


def _one_touch(item: Item, cells: list[Cell]) -> Iterator[OneTouch]:
    value = normal_value(item)
    still = [cell for cell in cells if cell.is_open]
    if len(still) == 2 and not item.modes:
        yield from (
            _touch(f"{n} s both sides", still, seconds) for n, seconds in quick_seconds(item)
        )
    if value is None or not still or (not item.paired and not item.modes):
        return
    if not item.modes:
        yield _touch(_label(still, value), still, value)
        return
    yield _touch(_label(still, value, " and ".join(item.modes)), still, value)
    for mode in item.modes if len(item.modes) > 1 else ():
        part = [cell for cell in still if cell.mode == mode]
        if part and len(part) < len(still):
            yield _touch(_label(part, value, mode), part, value)


def _touch(label: str, cells: list[Cell], value: dict[str, Any]) -> OneTouch:
    where = places_text((cell.item.id, cell.side, cell.mode) for cell in cells)
    return OneTouch(label, where, attribute_json(value))


def _label(cells: list[Cell], value: dict[str, Any], modes: str = "") -> str:
    sides = {cell.side for cell in cells}
    where = "both sides" if len(sides) == 2 else f"on the {next(iter(sides))}"
    if "midline" in sides:
        where = ""
    said = {cell.mode for cell in cells}
    modes = modes if len(said) != 1 else next(iter(said)) or ""
    word = "full" if value["kind"] == "normal_by_eye" else "normal"
    return " ".join(filter(None, (modes, word, where)))


@dataclass(frozen=True, slots=True)
class RestPlace:
    """One place that "normal, the rest of this stage" would record."""

    item: Item
    side: str
    mode: str | None
    value: dict[str, Any]


def rest_of(now: Current, stage: Stage) -> tuple[RestPlace, ...]:
    """Essential places still open that may be recorded together as normal.

    Never an item that screens a flag, an optional one, a measurement, or one withheld.
    """
    return tuple(
        RestPlace(item, side, mode, value)
        for item in now.protocol.items
        if item.stage == stage and item.role == "essential" and not is_measured(item)
        and (value := normal_value(item)) is not None
        for side, mode in places(item)
        if not _touched(now, item, side, mode) and not now.withheld.why(item, mode)
    )  # fmt: skip


def _touched(now: Current, item: Item, side: str, mode: str | None) -> bool:
    return (item.id, side, mode) in now.at_place


@dataclass(frozen=True, slots=True)
class RestLine:
    """One item by name in the list to confirm, with the sides that are still open."""

    label: str
    where: str
    word: str


def rest_lines(rest: tuple[RestPlace, ...]) -> tuple[RestLine, ...]:
    """The places by item, in words."""
    by_item: dict[str, list[RestPlace]] = {}
    for place in rest:
        by_item.setdefault(place.item.id, []).append(place)
    return tuple(_rest_line(found) for found in by_item.values())


def _rest_line(found: list[RestPlace]) -> RestLine:
    sides = {place.side for place in found}
    where = "both sides" if len(sides) == 2 else f"{next(iter(sides))} only"
    value = found[0].value
    word = next(str(v) for key, v in value.items() if key != "kind")
    words = {"tenderness": "not tender", "mrc": "power 5"}.get(value["kind"], word.strip("[']"))
    return RestLine(found[0].item.label, "" if sides == {"midline"} else where, words)


def rest_findings(rest: tuple[RestPlace, ...]) -> str:
    """The findings to record together, as the text of a form field."""
    return attribute_json(
        [
            {
                "item": place.item.id,
                "side": place.side,
                **({"mode": place.mode} if place.mode else {}),
                "value": place.value,
                "together": True,
            }
            for place in rest
        ]
    )
