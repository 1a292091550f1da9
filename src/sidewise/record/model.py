"""One examination: who, when, what was found on which side, and which revision this is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import cached_property
from itertools import combinations, product
from math import prod
from typing import Literal

from pydantic import AwareDatetime, Field, field_validator, model_validator

from sidewise.protocol.criteria import Mode
from sidewise.protocol.kinds import Frozen
from sidewise.record.values import Value

FORMAT = "sidewise-examination/1"
Side = Literal["left", "right", "midline"]
LateralSide = Literal["left", "right"]
Answer = Literal["yes", "no", "unsure", "not asked"]
Status = Literal["examined", "not examined", "unable", "withheld"]
Setting = Literal["primary", "msk_clinic", "orthopaedic", "emergency"]
RANGE_KINDS = frozenset(("angle", "normal_by_eye", "level"))
OTHER: dict[str, LateralSide] = {"left": "right", "right": "left"}


class Finding(Frozen):
    """One thing found, or the reason why it was not examined."""

    item: str
    side: Side = "midline"
    mode: Mode | None = None
    status: Status = "examined"
    value: Value | None = None
    reason: str | None = Field(default=None, max_length=500)
    repeat: int = Field(default=1, ge=1, le=99)
    examiner: str | None = Field(default=None, max_length=80)
    note: str | None = Field(default=None, max_length=2000)
    together: bool = False

    @model_validator(mode="after")
    def _status_and_value_agree(self) -> Finding:
        if self.status == "examined" and self.value is None:
            raise ValueError("an examined item needs a value")
        if self.status != "examined" and self.value is not None:
            raise ValueError(f"{self.status}: no value can be given")
        if self.status in ("unable", "withheld") and not (self.reason or "").strip():
            raise ValueError(f"{self.status}: a reason is needed")
        return self

    @property
    def instrument(self) -> str | None:
        """The instrument the value was read with, where it carries one."""
        return getattr(self.value, "instrument", None)

    @property
    def place(self) -> tuple[str, str, str | None]:
        """Item, side and mode: what was examined, whatever was found."""
        return (self.item, self.side, self.mode)

    @property
    def group(self) -> str:
        """What this stands in for at its place: its kind of value, or that there is none.

        A number of degrees, "normal by eye" and a level reached all answer "how far does it go".
        """
        if self.value is None:
            return "status"
        return "range" if self.value.kind in RANGE_KINDS else self.value.kind

    def takes_the_place_of(self, held: Finding) -> bool:
        """Whether a person who enters this at the same place means it instead of `held`.

        The one rule for every way of entering: the same item, side, mode and reading number, and
        the same group; a value takes the place of a status, and a status of whatever is there.
        Marks on the figure add up. A reading meant to stand beside another has its own number.
        """
        if (self.place, self.repeat) != (held.place, held.repeat):
            return False
        if self.group == held.group:
            return self.group != "place"
        return "status" in (self.group, held.group)

    @property
    def slot(self) -> tuple[str, ...]:
        """Findings with one slot and different values contradict each other.

        Marks on the figure add up and never do. A range read by eye and one read with a
        goniometer are two readings; so are a power grade and a force.
        """
        kind = self.value.kind if self.value else ""
        how: str = kind
        if kind in ("angle", "normal_by_eye"):
            how = f"range {self.instrument or ('eye' if kind == 'normal_by_eye' else 'unstated')}"
        return (self.item, self.side, self.mode or "", how, str(self.repeat))


class Known(Frozen):
    """What was known of one side before the examination."""

    tear: bool = False
    surgery: bool = False
    replacement: bool = False

    @property
    def anything(self) -> bool:
        """Whether this side cannot serve as the healthy yardstick."""
        return self.tear or self.surgery or self.replacement


class KnownSides(Frozen):
    """Known tear, surgery or replacement, by side."""

    left: Known = Known()
    right: Known = Known()


class Context(Frozen):
    """Who was examined, where, by whom and why; the history and the vital signs."""

    patient: str = Field(min_length=1, max_length=60)
    examined_at: AwareDatetime
    examiner: str = Field(min_length=1, max_length=80)
    setting: Setting | None = None
    age: int | None = Field(default=None, ge=0, le=120)
    sex: Literal["female", "male"] | None = None
    dominant: Literal["left", "right", "both"] | None = None
    complaint: tuple[LateralSide, ...] = ()
    known: KnownSides = KnownSides()
    onset: Literal["sudden", "gradual"] | None = None
    mechanism: str | None = Field(default=None, max_length=500)
    duration_weeks: float | None = Field(default=None, ge=0, le=5200)
    pain_0_10: float | None = Field(default=None, ge=0, le=10)
    history: dict[str, Answer] = {}
    vitals: dict[str, float] = {}
    scales: dict[str, float] = {}

    @field_validator("complaint")
    @classmethod
    def _each_side_once(cls, value: tuple[LateralSide, ...]) -> tuple[LateralSide, ...]:
        if len(set(value)) != len(value):
            raise ValueError("each side once")
        return tuple(sorted(value))

    def answer(self, question: str) -> Answer:
        """The answer to a history question; a missing one was not asked."""
        return self.history.get(question, "not asked")


class Signature(Frozen):
    """Who signed which revision, when."""

    by: str = Field(min_length=1, max_length=80)
    at: AwareDatetime


class Conclusion(Frozen):
    """The clinician's own words, kept apart from anything computed."""

    impression: str = Field(default="", max_length=4000)
    plan: tuple[str, ...] = ()


class Revision(Frozen):
    """An earlier signed state, kept readable, with who changed it and why."""

    number: int = Field(ge=1)
    context: Context
    findings: tuple[Finding, ...]
    conclusion: Conclusion = Conclusion()
    signed: Signature
    amended_by: str
    amended_at: AwareDatetime
    reason: str = Field(min_length=3, max_length=500)


class Conflict(Frozen):
    """Values that contradict each other: shown, and the item counts as not examined."""

    item: str
    side: Side
    mode: Mode | None
    findings: tuple[Finding, ...]


MOST_SETTLINGS = 64


class Record(Frozen):
    """One examination of one person."""

    format: Literal["sidewise-examination/1"] = "sidewise-examination/1"
    id: str = Field(min_length=1, max_length=80)
    region: str
    context: Context
    findings: tuple[Finding, ...] = ()
    conclusion: Conclusion = Conclusion()
    revision: int = Field(default=1, ge=1)
    signed: Signature | None = None
    earlier: tuple[Revision, ...] = ()

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """Every place where two findings contradict each other."""
        return tuple(_conflicts(self.findings))

    def settlings(self) -> Iterator[Record]:
        """The record with its conflicts settled in each of the ways they could be.

        All conflicts at once; where there are so many that this would take long, every two.
        """
        whole = {name: getattr(self, name) for name in type(self).model_fields}
        choices = [conflict.findings for conflict in self.conflicts]
        together = len(choices) if prod(map(len, choices)) <= MOST_SETTLINGS else 2
        for some in combinations(choices, together):
            disputed = [finding for findings in some for finding in findings]
            others = tuple(f for f in self.findings if f not in disputed)
            for kept in product(*some):
                # Not `model_copy`: it would take over what was worked out of these findings.
                yield Record.model_construct(**{**whole, "findings": (*others, *kept)})

    @cached_property
    def settled(self) -> dict[tuple[str, str, str | None], tuple[Finding, ...]]:
        """Findings by item, side and mode, without those in conflict."""
        disputed = {(c.item, c.side, c.mode) for c in self.conflicts}
        found: dict[tuple[str, str, str | None], tuple[Finding, ...]] = {}
        for finding in self.findings:
            if finding.place not in disputed:
                found[finding.place] = (*found.get(finding.place, ()), finding)
        return found

    def at(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """What was recorded for one item, side and mode, unless it is in conflict."""
        return self.settled.get((item, side, mode), ())

    def examined(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """As `at`, but only what was examined."""
        return tuple(f for f in self.at(item, side, mode) if f.status == "examined")

    def is_yardstick(self, side: str) -> bool:
        """Whether this side may stand for the person's normal: no complaint, nothing known."""
        known: Known = getattr(self.context.known, side)
        return side not in self.context.complaint and not known.anything


def _conflicts(findings: tuple[Finding, ...]) -> Iterator[Conflict]:
    by_place: dict[tuple[str, str, str | None], list[Finding]] = {}
    for finding in findings:
        by_place.setdefault(finding.place, []).append(finding)
    for (item, side, mode), there in by_place.items():
        if len(there) > 1 and _contradict(there):
            yield Conflict(item=item, side=side, mode=mode, findings=tuple(there))


def _contradict(findings: list[Finding]) -> bool:
    statuses = {finding.status for finding in findings}
    if len(statuses) > 1:
        # A value and "not examined" cannot both be true of the same reading.
        numbers = [finding.repeat for finding in findings]
        return len(set(numbers)) < len(numbers)
    by_slot: dict[tuple[str, ...], set[str]] = {}
    for finding in findings:
        if finding.value is not None and finding.value.kind != "place":
            by_slot.setdefault(finding.slot, set()).add(finding.value.model_dump_json())
    return any(len(values) > 1 for values in by_slot.values())


def now_zoned() -> datetime:
    """The time now with its zone, to the second."""
    return datetime.now().astimezone().replace(microsecond=0)
