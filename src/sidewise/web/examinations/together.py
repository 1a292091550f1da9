"""Looks that one touch may record together: each named with what is written. No HTML here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.text import slugify

from sidewise.ground.language import mark_text, say_text, term
from sidewise.protocol import Item, Stage
from sidewise.reason.judging.called_for import is_needed_mode, places
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.widgets import attribute_json, is_alone, normal_value, normal_word


@dataclass(frozen=True, slots=True)
class OpenPlace:
    """One place that is still open and may be recorded with others."""

    item: Item
    side: str
    mode: str | None
    value: dict[str, Any]


@dataclass(frozen=True, slots=True)
class NamedLook:
    """One look by name, with what is written of it and the sides that are still open."""

    label: str
    where: str
    word: str
    is_one_side: bool = False
    """Whether it is one side of two that is open."""


@dataclass(frozen=True, slots=True)
class SharedTouch:
    """Looks that one touch records: by name for the eye, as findings for the record.

    name, key: of the stage or the group, for the eye and for ids in the page. done: how a look of
    this stage is said to have been taken ("seen", "felt").
    """

    name: str
    key: str
    done: str
    looks: tuple[NamedLook, ...]
    findings: str

    @property
    def alike(self) -> str:
        """What is said of the sides; nothing where there are none to compare."""
        compared = any(look.where == say_text("both sides") for look in self.looks)
        return say_text(", the same on both sides") if compared else ""


def open_places(now: Current, stage: Stage, group: str = "") -> tuple[OpenPlace, ...]:
    """Essential places of a stage, or of one group of it, that may be recorded together.

    Never an item that screens a flag or is called for, an optional one, a movement of the joint, a
    measurement, a place that has something, one withheld, or what only the patient can answer.
    """
    return tuple(
        OpenPlace(item, side, mode, value)
        for item in now.protocol.items_of(stage)
        if (not group or item.group == group) and _may_be_together(now, item)
        and (value := normal_value(item)) is not None
        for side, mode in places(item)
        if is_needed_mode(item, mode)
        and (item.id, side, mode) not in now.at_place and not now.withheld.why(item, mode)
    )  # fmt: skip


def _may_be_together(now: Current, item: Item) -> bool:
    kind = now.completeness.kind
    return (
        item.role == "essential"
        and kind.has(item)
        and item.id not in now.completeness.called
        and not is_alone(item)
    )


def of_stage(now: Current, stage: Stage) -> SharedTouch:
    """What is still open in a stage and may be recorded together."""
    return _together(str(stage), stage.slug, stage, open_places(now, stage))


def of_group(now: Current, stage: Stage, group: str) -> SharedTouch:
    """The same of one group, where it holds at least two looks: one has its own touch."""
    found = open_places(now, stage, group)
    several = len({place.item.id for place in found}) > 1
    return _together(group, group_key(stage, group), stage, found if several else ())


def group_key(stage: Stage, group: str) -> str:
    """A group of a stage as it stands in ids of the page."""
    return slugify(f"{stage.slug} {group}")


def of_groups(now: Current, stage: Stage) -> tuple[SharedTouch, ...]:
    """Each group of a stage, in the protocol's order."""
    labels = dict.fromkeys(item.group for item in now.protocol.items_of(stage))
    return tuple(of_group(now, stage, label) for label in labels)


def _together(name: str, key: str, stage: Stage, found: tuple[OpenPlace, ...]) -> SharedTouch:
    return SharedTouch(name, key, stage.done, named_looks(found), _findings(found))


def named_looks(found: tuple[OpenPlace, ...]) -> tuple[NamedLook, ...]:
    """The places by item, in words."""
    by_item: dict[str, list[OpenPlace]] = {}
    for place in found:
        by_item.setdefault(place.item.id, []).append(place)
    return tuple(_named(places) for places in by_item.values())


ONE_ONLY = {"right": mark_text("right only"), "left": mark_text("left only")}


def _named(found: list[OpenPlace]) -> NamedLook:
    item, sides = found[0].item, {place.side for place in found}
    one = next(iter(sides))
    where = say_text("both sides") if len(sides) == 2 else term(ONE_ONLY.get(one, one))
    alone = len(sides) == 1 and sides != {"midline"}
    return NamedLook(item.label, "" if sides == {"midline"} else where, normal_word(item), alone)


def _findings(found: tuple[OpenPlace, ...]) -> str:
    return attribute_json(
        [
            {
                "item": place.item.id,
                "side": place.side,
                **({"mode": place.mode} if place.mode else {}),
                "value": place.value,
                "together": True,
            }
            for place in found
        ]
    )
