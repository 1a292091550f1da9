"""One examination: who, when, what was found on which side, and which revision this is."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Literal

from pydantic import AwareDatetime, Field, field_validator, model_validator

from sidewise.ground.frozen import Frozen
from sidewise.ground.settings import Setting
from sidewise.kinds import AnyValue, kind_of
from sidewise.protocol.criteria import Mode
from sidewise.record.care import CareEntry
from sidewise.record.essentials import Essentials

FORMAT = "sidewise-examination/1"
Side = Literal["left", "right", "midline"]
LateralSide = Literal["left", "right"]
Answer = Literal["yes", "no", "unsure", "not asked"]
Status = Literal["examined", "not examined", "unable", "withheld"]
OTHER: dict[str, LateralSide] = {"left": "right", "right": "left"}


class Finding(Frozen):
    """One thing found, or the reason why it was not examined."""

    item: str
    side: Side = "midline"
    mode: Mode | None = None
    status: Status = "examined"
    value: AnyValue | None = None
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

        Degrees, a range judged by eye and a level reached all answer "how far does it go".
        """
        return "status" if self.value is None else kind_of(self.value).group_name

    def takes_the_place_of(self, held: Finding) -> bool:
        """Whether a person who enters this at the same place means it instead of `held`.

        The one rule for every way of entering: the same item, side, mode and reading number, and
        the same group; a value takes the place of a status, and a status of whatever is there.
        Marks on the figure add up. A reading meant to stand beside another has its own number.
        """
        if (self.place, self.repeat) != (held.place, held.repeat):
            return False
        if self.group == held.group:
            return self.value is None or not kind_of(self.value).adds_up
        return "status" in (self.group, held.group)

    @property
    def slot(self) -> tuple[str, ...]:
        """Findings with one slot and different values contradict each other.

        Marks on the figure add up and never do. A range read by eye and one read with a
        goniometer are two readings; so are a power grade and a force.
        """
        how = kind_of(self.value).slot_of(self.value) if self.value else ""
        return (self.item, self.side, self.mode or "", how, str(self.repeat))


class Known(Frozen):
    """What was known of one side before the examination.

    The last two came later: None where they are not said, so that what was signed before them
    reads as it was signed.
    """

    tear: bool = False
    surgery: bool = False
    replacement: bool = False
    arthritis: bool | None = None
    dislocation: bool | None = None

    @field_validator("arthritis", "dislocation")
    @classmethod
    def _said_or_not(cls, value: bool | None) -> bool | None:
        return value or None

    @property
    def anything(self) -> bool:
        """Whether this side is unsuitable as the healthy comparison."""
        return any((self.tear, self.surgery, self.replacement, self.arthritis, self.dislocation))


class KnownSides(Frozen):
    """Known tear, surgery, replacement, arthritis or old dislocation, by side."""

    left: Known = Known()
    right: Known = Known()


class Follows(Frozen):
    """The earlier visit that this one follows, and what was carried from it.

    record, at, by: which visit, when, and who examined. watch: items that were not normal then.
    carried: fields of the context whose value was taken from there and has not been stated since;
    questions as "history.diabetes".
    """

    record: str = Field(min_length=1, max_length=80)
    at: AwareDatetime
    by: str = Field(min_length=1, max_length=80)
    watch: tuple[str, ...] = ()
    carried: tuple[str, ...] = ()

    @property
    def on(self) -> str:
        """The day of the earlier visit, in words."""
        return self.at.strftime("%d %b %Y").lstrip("0")


class Context(Frozen):
    """Who was examined, where, by whom and why; the history and the vital signs.

    visit: the kind of visit, None for a full examination. follows: of a follow-up.
    """

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
    disputed: dict[str, tuple[int | float | str, ...]] = Field(
        default={},
        description="Fields stated twice and differently, not settled yet, with every value: "
        '"age", "vitals.temperature", "history.fever" ... The field itself then holds what is '
        "safest to go by, or nothing.",
    )
    visit: str | None = Field(default=None, pattern=r"^[a-z][a-z_]*$", max_length=40)
    follows: Follows | None = None

    @field_validator("complaint")
    @classmethod
    def _each_side_once(cls, value: tuple[LateralSide, ...]) -> tuple[LateralSide, ...]:
        if len(set(value)) != len(value):
            raise ValueError("each side once")
        return tuple(sorted(value))

    def answer(self, question: str) -> Answer:
        """The answer to a history question; a missing one was not asked."""
        return self.history.get(question, "not asked")


class FlagFollowUp(Frozen):
    """Who follows a raised red flag up, by when, and who was told; or why it is not arranged."""

    flag: str = Field(min_length=1, max_length=80)
    who: str = Field(default="", max_length=120)
    by_when: str = Field(default="", max_length=120)
    told: str = Field(default="", max_length=120)
    not_arranged: str = Field(default="", max_length=500)

    @model_validator(mode="after")
    def _arranged_or_why_not(self) -> FlagFollowUp:
        arranged = [bool(text.strip()) for text in (self.who, self.by_when, self.told)]
        why_not = bool(self.not_arranged.strip())
        if why_not == any(arranged) or (any(arranged) and not all(arranged)):
            raise ValueError("who, by_when and told, or not_arranged with the reason alone")
        return self


class Signature(Frozen):
    """Who signed which revision, when; and who follows each flag up that was raised then.

    follow_up: None where nobody was asked (signatures of earlier versions). said: what was computed
    then, in short; None where nothing was, or by an earlier version.
    """

    by: str = Field(min_length=1, max_length=80)
    at: AwareDatetime
    follow_up: tuple[FlagFollowUp, ...] | None = None
    said: Essentials | None = None


class Conclusion(Frozen):
    """The clinician's own words, kept apart from anything computed."""

    impression: str = Field(default="", max_length=4000)
    plan: tuple[str, ...] = ()


class Repair(Frozen):
    """What was put right of a whole visit, by whom, when and why.

    was: the code of the patient under which it stood before; None where the sides were exchanged.
    """

    what: Literal["moved", "mirrored"]
    by: str = Field(min_length=1, max_length=80)
    at: AwareDatetime
    reason: str = Field(min_length=3, max_length=500)
    was: str | None = Field(default=None, max_length=60)

    @property
    def sentence(self) -> str:
        """The same for a note."""
        done = (
            f"moved here from {self.was}" if self.what == "moved"
            else "right and left exchanged in the whole visit"
        )  # fmt: skip
        when = self.at.strftime("%d %b %Y %H:%M").lstrip("0")
        return f"{done} by {self.by}, {when}: {self.reason}"


class Revision(Frozen):
    """An earlier signed state, kept readable, with who changed it and why."""

    number: int = Field(ge=1)
    context: Context
    findings: tuple[Finding, ...]
    conclusion: Conclusion = Conclusion()
    care: tuple[CareEntry, ...] = ()
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


class Record(Frozen):
    """One examination of one person."""

    format: Literal["sidewise-examination/1"] = "sidewise-examination/1"
    id: str = Field(min_length=1, max_length=80)
    region: str
    context: Context
    findings: tuple[Finding, ...] = ()
    conclusion: Conclusion = Conclusion()
    care: tuple[CareEntry, ...] = ()
    revision: int = Field(default=1, ge=1)
    signed: Signature | None = None
    earlier: tuple[Revision, ...] = ()
    repairs: tuple[Repair, ...] = ()

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """Every place where two findings contradict each other."""
        return tuple(_conflicts(self.findings))

    @cached_property
    def settled(self) -> dict[tuple[str, str, str | None], tuple[Finding, ...]]:
        """Findings by item, side and mode, without those in conflict."""
        disputed = self.disputed_places
        return {place: there for place, there in self.by_place.items() if place not in disputed}

    @cached_property
    def by_place(self) -> dict[tuple[str, str, str | None], tuple[Finding, ...]]:
        """Every finding by item, side and mode, those in conflict among them."""
        found: dict[tuple[str, str, str | None], tuple[Finding, ...]] = {}
        for finding in self.findings:
            found[finding.place] = (*found.get(finding.place, ()), finding)
        return found

    def at(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """What was recorded for one item, side and mode, unless it is in conflict."""
        return self.settled.get((item, side, mode), ())

    def examined(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """As `at`, but only what was examined."""
        return tuple(f for f in self.at(item, side, mode) if f.status == "examined")

    def tried(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """As `at`, but only what could not, or must not, be done, each with its reason."""
        return tuple(f for f in self.at(item, side, mode) if f.status in ("unable", "withheld"))

    @cached_property
    def disputed_places(self) -> dict[tuple[str, str, str | None], Conflict]:
        """The conflicts by item, side and mode."""
        return {(c.item, c.side, c.mode): c for c in self.conflicts}

    def disputed_at(self, item: str, side: str, mode: str | None = None) -> Conflict | None:
        """The conflict at this place, if there is one."""
        return self.disputed_places.get((item, side, mode))

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
        if finding.value is not None and not kind_of(finding.value).adds_up:
            by_slot.setdefault(finding.slot, set()).add(finding.value.model_dump_json())
    return any(len(values) > 1 for values in by_slot.values())
