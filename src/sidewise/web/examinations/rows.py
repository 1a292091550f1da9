"""A stage as rows of the mirror: each item with what stands on each side. No HTML here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sidewise.ground.language import mark_text, say_text, term
from sidewise.kinds import KINDS, kind_of
from sidewise.note.phrases import finding_phrase, place_is_normal, place_phrase
from sidewise.protocol import Item, Stage
from sidewise.reason.judging.called_for import is_needed_mode, places
from sidewise.record import Conflict, Finding
from sidewise.web.examinations.bars import Bar, DifferenceWords, bar_of, difference_words
from sidewise.web.examinations.entries import places_text
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.widgets import (
    Widget,
    attribute_json,
    is_alone,
    is_measured,
    normal_value,
    normal_word,
    shared_values,
    widget,
)

NUMBERS_OF_MOVEMENT = ("angle", "level", "length")
SIDE_WORDS = {
    "right": mark_text("patient's right"),
    "left": mark_text("patient's left"),
    "midline": mark_text("midline"),
}
ON_SIDE = {"right": mark_text("on the right"), "left": mark_text("on the left")}


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
    last: str = ""
    """What was found here at the visit that this one follows, with its day."""
    passive_waits: bool = False
    """Whether it is a passive movement that nothing calls for a number of yet."""

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
        side = term(SIDE_WORDS[self.side])
        return f"{term(self.mode)}, {side}" if self.mode else side

    @property
    def mode_words(self) -> str:
        """How it was moved, in words; nothing where an item has no modes."""
        return term(self.mode or "")

    @property
    def is_read(self) -> bool:
        """Whether a measurement stands here: its fields then step back behind one touch."""
        return is_measured(self.item) and self.status in ("measured", "normal")

    @property
    def is_open(self) -> bool:
        """Whether nothing at all stands here."""
        return self.status == "open"

    @property
    def is_abnormal(self) -> bool:
        """Whether what stands here is known not to be normal: its word and shape say so."""
        return self.status == "abnormal"

    @property
    def near(self) -> tuple[Widget, ...]:
        """The ways of entering that stand on the row."""
        return tuple(w for w in self.widgets if not self._steps_back(w))

    @property
    def far(self) -> tuple[Widget, ...]:
        """The ways one touch further: a force where a grade will do, a passive number not asked."""
        return tuple(w for w in self.widgets if self._steps_back(w))

    def _steps_back(self, one: Widget) -> bool:
        if one.value is not None or len(self.widgets) == 1:
            return False
        return one.kind == "force" or (self.passive_waits and one.kind in NUMBERS_OF_MOVEMENT)


@dataclass(frozen=True, slots=True)
class SideCells:
    """The cells of one side, one for each mode."""

    side: str
    words: str
    cells: tuple[Cell, ...]

    @property
    def is_blank(self) -> bool:
        """Whether nothing at all stands on this side."""
        return all(cell.is_open for cell in self.cells)


@dataclass(frozen=True, slots=True)
class OneTouch:
    """Normal at every place that is still open, and at none that is not."""

    label: str
    places: str
    code: str
    short: str
    """What it writes, and the side where it is one side only."""
    is_both: bool
    """Whether it writes on both sides."""


@dataclass(frozen=True, slots=True)
class Row:
    """One item across the mirror."""

    item: Item
    sides: tuple[SideCells, ...]
    folded: bool
    both: bool
    one_touch: tuple[OneTouch, ...]
    withheld: str | None
    differences: tuple[DifferenceWords, ...]
    error: str = ""
    because: str = ""
    """Why it is called for; empty where nothing calls for it."""
    again: str = ""
    """Findings of the visit before at the places still open, for one touch after examining."""

    @property
    def closes(self) -> bool:
        """Whether it can stand closed: not where something must be settled or was refused."""
        disputed = any(c.status == "conflict" for side in self.sides for c in side.cells)
        return not (self.withheld or self.error or disputed)

    @property
    def singly(self) -> bool:
        """Whether it is never recorded with others by one touch."""
        return self.item.role == "flag" or bool(self.because) or is_alone(self.item)

    @property
    def first(self) -> SideCells:
        """The patient's right, or the midline."""
        return self.sides[0]

    @property
    def last(self) -> SideCells:
        """The patient's left, or the midline."""
        return self.sides[-1]

    @property
    def is_blank(self) -> bool:
        """Whether nothing at all stands on it, of today or of the visit before."""
        return all(c.is_open and not c.last for side in self.sides for c in side.cells)

    @property
    def is_done(self) -> bool:
        """Whether every place that is asked for has something: a value, or why there is none."""
        cells = (cell for side in self.sides for cell in side.cells)
        return not any(cell.is_open and is_needed_mode(self.item, cell.mode) for cell in cells)


@dataclass(frozen=True, slots=True)
class GroupItems:
    """A group of a stage: the items that have a row, and the optional ones not opened yet."""

    label: str
    rows: tuple[Item, ...]
    more: tuple[Item, ...]


def slug(now: Current, item: Item) -> str:
    """The stage of an item as it stands in an address."""
    return now.protocol.stage_of(item).slug


def stage_of(now: Current, text: str) -> Stage | None:
    """The stage an address names."""
    return next((stage for stage in now.protocol.stages if stage.slug == text), None)


def stage_groups(
    now: Current, stage: Stage, opened: frozenset[str] = frozenset()
) -> tuple[GroupItems, ...]:
    """Rows for what belongs here, is called for, recorded or opened; the other items by name."""
    always = now.completeness.called.keys() | now.held_of.keys() | opened
    groups: dict[str, tuple[list[Item], list[Item]]] = {}
    for item in now.protocol.items_of(stage):
        rows, more = groups.setdefault(item.group, ([], []))
        shown = now.completeness.kind.tallies(item) or item.id in always
        (rows if shown else more).append(item)
    return tuple(GroupItems(label, tuple(r), tuple(m)) for label, (r, m) in groups.items())


def row_of(now: Current, item: Item, *, opened: bool = False, error: str = "") -> Row:
    """One item across the mirror, as it stands."""
    cells = [cell_of(now, item, side, mode) for side, mode in places(item)]
    names = dict.fromkeys(cell.side for cell in cells)
    sides = tuple(
        SideCells(name, term(SIDE_WORDS[name]), tuple(c for c in cells if c.side == name))
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
        differences=difference_words(now, item),
        error=error,
        because=term(now.completeness.called.get(item.id, "")),
        again=_again(now, cells),
    )


def _again(now: Current, cells: list[Cell]) -> str:
    """What was found last time at each open place, if all of it may be found the same again."""
    if now.record.context.follows is None:
        return ""
    open_ones = [cell for cell in cells if cell.is_open]
    then = [now.last_time.get((cell.item.id, cell.side, cell.mode)) for cell in open_ones]
    if not open_ones or any(one is None or one.value is None for one in then):
        return ""
    return attribute_json(
        [
            {"item": cell.item.id, "side": cell.side, "value": one.value}
            | ({"mode": cell.mode} if cell.mode else {})
            for cell, one in zip(open_ones, then, strict=True)
            if one is not None
        ]
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
        tuple(widget(kind, values.get(kind.kind), side) for kind in item.offered),
        attribute_json({name: f.group for name, f in held.items()}),
        tuple(_claims(held, conflict, now)),
        bar_of(now, item, side, mode, values),
        next((f.reason for f in held.values() if f.reason), ""),
        next((f.note for f in held.values() if f.note), ""),
        last_words(now, place),
        mode == "passive" and _passive_waits(now, item, side),
    )


def _passive_waits(now: Current, item: Item, side: str) -> bool:
    """Whether the active movement gave no reason to measure the passive one."""
    active = (item.id, side, "active")
    if item.id in now.completeness.called:
        return False
    found = now.record.at(*active)
    return not found or place_is_normal(now.record, item, *active[1:])


def last_words(now: Current, place: tuple[str, str, str | None]) -> str:
    """What was found at a place at the visit that this one follows, with its day; else nothing."""
    follows = now.record.context.follows
    found = now.last_time.get(place) if follows else None
    return f"{follows.on}: {found.words}" if follows and found else ""


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
    kinds = (kind_of(finding.value) for finding in held.values() if finding.value)
    return "measured" if any(kind.bedside.read_off for kind in kinds) else "abnormal"


def _claims(held: dict[str, Finding], conflict: Conflict | None, now: Current) -> Iterator[Claim]:
    if conflict is None:
        return
    for finding in held.values():
        kept = finding.model_dump(mode="json", by_alias=True, exclude_none=True)
        yield Claim(
            finding_phrase(finding, now.protocol.item(finding.item)),
            finding.examiner or now.record.context.examiner,
            attribute_json([kept]),
        )


def _one_touch(item: Item, cells: list[Cell]) -> Iterator[OneTouch]:
    value = normal_value(item)
    still = [cell for cell in cells if cell.is_open]
    if len(still) == 2 and not item.modes:
        yield from (
            _touch(said_on_both(label), still, shared) for label, shared in shared_values(item)
        )
    if value is None or not still:
        return
    # Never a mode that nobody asked for: a passive movement is not full because the active one is.
    needed = [cell for cell in still if is_needed_mode(item, cell.mode)]
    if needed:
        yield _touch(_label(needed, value), needed, value)
    for mode in item.modes if len(item.modes) > 1 else ():
        part = [cell for cell in still if cell.mode == mode]
        if part and part != needed:
            yield _touch(_label(part, value), part, value)


def said_on_both(label: str) -> str:
    """A finding that stands on both sides."""
    return say_text("{label} both sides", label=label)


def _touch(label: str, cells: list[Cell], value: dict[str, Any]) -> OneTouch:
    item, sides = cells[0].item, {cell.side for cell in cells}
    where = places_text((cell.item.id, cell.side, cell.mode) for cell in cells)
    both_tail = said_on_both("")
    word = normal_word(item) if value == normal_value(item) else label.removesuffix(both_tail)
    alone = f", {term(next(iter(sides)))}" if len(sides) == 1 and item.paired else ""
    return OneTouch(label, where, attribute_json(value), word + alone, len(sides) == 2)


def _label(cells: list[Cell], value: dict[str, Any]) -> str:
    sides = {cell.side for cell in cells}
    where = say_text("both sides") if len(sides) == 2 else term(ON_SIDE.get(next(iter(sides)), ""))
    if "midline" in sides:
        where = ""
    modes = say_text(" and ").join(dict.fromkeys(term(cell.mode) for cell in cells if cell.mode))
    word = term(KINDS[value["kind"]].bedside.word)
    return " ".join(filter(None, (modes, word, where)))
