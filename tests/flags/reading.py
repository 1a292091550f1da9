"""Reads the expectations for the red flags into typed entries, and each into a record.

The words of an entry are explained in README.md beside this file. Nothing here judges a record.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field

from sidewise.protocol import Protocol
from sidewise.record import Record
from tests.shoulder import PROTOCOL

HERE = Path(__file__).parent
FREE_DEGREES = {
    ("flexion", "active"): 160,
    ("flexion", "passive"): 165,
    ("abduction", "active"): 155,
    ("abduction", "passive"): 160,
    ("external_rotation_at_side", "active"): 60,
    ("external_rotation_at_side", "passive"): 65,
}
"""Degrees of a range called free in the entries: ordinary at any adult age, no source."""


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Source(_Strict):
    """Where an expectation is from and how the source was had."""

    mark: Literal["read", "memory", "common practice"]
    cite: str = Field(min_length=10)
    third_hand: bool = False


class Raised(_Strict):
    """A flag that must be raised, and how fast if that is part of the expectation."""

    flag: str
    urgency: Literal["immediate", "emergency", "urgent", "soon"] | None = None


class Expected(_Strict):
    """What the flags of one presentation must and must not be."""

    raised: tuple[Raised | str, ...]
    not_excluded: tuple[str, ...] = ()
    never_silent: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    nothing_else: bool = False

    @property
    def must_raise(self) -> tuple[str, ...]:
        """The flags that must be raised, by id."""
        return tuple(one if isinstance(one, str) else one.flag for one in self.raised)

    @property
    def flags(self) -> tuple[str, ...]:
        """Every flag it speaks of."""
        return (*self.must_raise, *self.not_excluded, *self.never_silent, *self.silent)


class Presentation(_Strict):
    """One presentation, as data, with what should happen."""

    id: str
    title: str = Field(min_length=15)
    source: Source
    needs: tuple[str, ...] = ()
    basis_of: tuple[str, ...] = ()
    asked: Literal["core", "all", "none"]
    free: tuple[Literal["left", "right"], ...] = ()
    context: dict[str, Any]
    history: dict[str, Literal["yes", "no", "unsure"]] = {}
    vitals: dict[str, float] = {}
    disputed: dict[str, tuple[Any, Any]] = {}
    findings: tuple[dict[str, Any], ...] = ()
    expect: Expected
    withheld: tuple[str, ...] = ()
    because: str = Field(min_length=10)

    @property
    def words(self) -> set[str]:
        """Every question, vital sign and item it uses."""
        return {*self.history, *self.vitals, *(found["item"] for found in self.findings)}


def read(name: str) -> Any:
    """One of the YAML files beside this module."""
    return yaml.safe_load((HERE / name).read_text(encoding="utf-8"))


def presentations(group: str | None = None) -> tuple[Presentation, ...]:
    """The entries of one file of `presentations`, or of all in order of file name."""
    paths = sorted((HERE / "presentations").glob(f"{group or '*'}.yaml"))
    return tuple(
        Presentation.model_validate(entry)
        for path in paths
        for entry in read(f"presentations/{path.name}")
    )


def record_of(one: Presentation, protocol: Protocol | None = None) -> Record:
    """The presentation as a record; what is disputed stands in it with each of its values."""
    known = protocol or PROTOCOL
    asked = {
        question.id: "no"
        for question in known.history
        if one.asked == "all" or (one.asked == "core" and question.core)
    }
    context = {
        "patient": "KNOT-1",
        "examined_at": "2026-03-02T09:40:00+00:00",
        "examiner": "E1",
        "dominant": "right",
        **one.context,
        "history": {**asked, **one.history},
        "vitals": one.vitals,
        "disputed": one.disputed,
    }
    data = {
        "id": one.id,
        "region": "shoulder",
        "context": context,
        "findings": [*one.findings, *_free_ranges(one)],
    }
    return Record.model_validate(data)


def _free_ranges(one: Presentation) -> list[dict[str, Any]]:
    told = {(found["item"], found.get("side"), found.get("mode")) for found in one.findings}
    return [
        {
            "item": item,
            "side": side,
            "mode": mode,
            "value": {
                "kind": "angle",
                "degrees": degrees,
                "pain": False,
                "instrument": "goniometer",
            },
        }
        for side in one.free
        for (item, mode), degrees in FREE_DEGREES.items()
        if (item, side, mode) not in told
    ]
