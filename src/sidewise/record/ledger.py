"""A record as a fold of append-only entries: nothing is overwritten, everything can be undone.

An entry names the live entries it replaces. A finding that arrives for an occupied slot without
naming them (a second tablet, a queue sent late) stands beside the other as a conflict until a
person settles it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from datetime import UTC
from typing import Annotated, Any, Generic, Literal, TypeVar

from pydantic import AwareDatetime, Field, model_validator

from sidewise.errors import UserError
from sidewise.ground.frozen import Frozen
from sidewise.record.care import CareEntry
from sidewise.record.essentials import Essentials
from sidewise.record.model import (
    Conclusion,
    Context,
    Finding,
    FlagFollowUp,
    Record,
    Repair,
    Revision,
    Signature,
)
from sidewise.record.repair import (
    mirror_care,
    mirror_context,
    mirror_finding,
    mirror_stated,
    without_carried,
)
from sidewise.record.statement import Dispute, checked_value, disputes, with_statements

Held = TypeVar("Held")


class Opened(Frozen):
    """The examination was started."""

    do: Literal["open"] = "open"
    region: str
    context: Context


class ContextSet(Frozen):
    """Fields of the context were filled in or changed."""

    do: Literal["context"] = "context"
    changes: dict[str, Any]


class Stated(Frozen):
    """One field of the context was filled in, or one question answered.

    `field` is a field of the context, "known.left", "history.<question>" or "vitals.<sign>";
    `replaces` names the entries it takes the place of.
    """

    do: Literal["state"] = "state"
    field: str = Field(min_length=1, max_length=120)
    value: Any = None
    replaces: tuple[str, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _value_as_kept(cls, data: Any) -> Any:
        if isinstance(data, dict) and isinstance(data.get("field"), str):
            return {**data, "value": checked_value(data["field"], data.get("value"))}
        return data


class Found(Frozen):
    """A finding was recorded; `replaces` names the entries it takes the place of."""

    do: Literal["found"] = "found"
    finding: Finding
    replaces: tuple[str, ...] = ()


class Cared(Frozen):
    """Something was done or planned, a test's result or a total came in; it may replace entries."""

    do: Literal["care"] = "care"
    entry: CareEntry
    replaces: tuple[str, ...] = ()


class Undone(Frozen):
    """Entries were undone; they stay in the ledger."""

    do: Literal["undo"] = "undo"
    entries: tuple[str, ...]


class Concluded(Frozen):
    """The clinician's own impression and plan."""

    do: Literal["conclude"] = "conclude"
    conclusion: Conclusion


class Signed(Frozen):
    """The revision was signed and is frozen.

    `ledger` is the digest of every entry before the signature (`ledger_digest`), so that it covers
    what was signed and nothing else; `account` is the number of the account that signed, and
    `flags` names the raised red flags that the signer acknowledged. `follow_up` says of each who
    follows it up. `said` is what was computed then, in short. Signatures of version 0.1.0 say none
    of the five.
    """

    do: Literal["sign"] = "sign"
    ledger: str | None = Field(default=None, pattern=r"^[0-9a-f]{64}$")
    account: int | None = None
    flags: tuple[str, ...] | None = None
    follow_up: tuple[FlagFollowUp, ...] | None = None
    said: Essentials | None = None


class Amended(Frozen):
    """A signed revision was reopened, for a stated reason."""

    do: Literal["amend"] = "amend"
    reason: str = Field(min_length=3, max_length=500)


class Discarded(Frozen):
    """The draft was discarded, for a stated reason; it stays in the ledger."""

    do: Literal["discard"] = "discard"
    reason: str = Field(min_length=3, max_length=500)


class Mirrored(Frozen):
    """Right and left were exchanged in the whole visit, for a stated reason."""

    do: Literal["mirror"] = "mirror"
    reason: str = Field(min_length=3, max_length=500)


class Moved(Frozen):
    """The visit is another patient's: the code it stood under and the one it stands under now."""

    do: Literal["move"] = "move"
    was: str = Field(min_length=1, max_length=60)
    patient: str = Field(min_length=1, max_length=60)
    reason: str = Field(min_length=3, max_length=500)


Deed = Annotated[
    Opened
    | ContextSet
    | Stated
    | Found
    | Cared
    | Undone
    | Concluded
    | Signed
    | Amended
    | Discarded
    | Mirrored
    | Moved,
    Field(discriminator="do"),
]


class Entry(Frozen):
    """One line of the ledger: when, by whom, what. `id` is made where the touch happened."""

    id: str = Field(min_length=1, max_length=80)
    at: AwareDatetime
    by: str = Field(min_length=1, max_length=80)
    deed: Deed


def ledger_digest(entries: Iterable[Entry]) -> str:
    """SHA-256 over the entries in their order, 64 hexadecimal digits.

    Times in UTC, and without what is None: a field that a later version adds must be None where it
    is not said, or the signatures given before would no longer fit.
    """
    whole = hashlib.sha256()
    for entry in entries:
        same = entry.model_copy(update={"at": entry.at.astimezone(UTC)})
        whole.update(same.model_dump_json(by_alias=True, exclude_none=True).encode() + b"\n")
    return whole.hexdigest()


def signatures_that_do_not_fit(entries: Iterable[Entry]) -> list[str]:
    """The ids of signatures given over other entries than those that stand before them."""
    before: list[Entry] = []
    unfit: list[str] = []
    for entry in entries:
        signed = entry.deed.ledger if isinstance(entry.deed, Signed) else None
        if signed is not None and signed != ledger_digest(before):
            unfit.append(entry.id)
        before.append(entry)
    return unfit


class Folded(Frozen):
    """The result of the entries: the record, which entry holds which finding, and its state."""

    record: Record
    holders: dict[str, Finding]
    discarded: str | None = None
    statements: dict[str, Stated] = {}
    disputes: tuple[Dispute, ...] = ()
    care: dict[str, CareEntry] = {}

    def holding(self, finding: Finding) -> tuple[str, ...]:
        """The live entries that `finding` takes the place of: what entering it must name."""
        return tuple(
            name for name, held in self.holders.items() if finding.takes_the_place_of(held)
        )

    def stating(self, field: str) -> tuple[str, ...]:
        """The live entries that state this field: what stating it anew must name."""
        return tuple(name for name, held in self.statements.items() if held.field == field)


class _Live(Generic[Held]):
    """What stands: it was never taken back, and nothing that stands covers it.

    An entry covers those that it replaces and those that they cover, so that taking back one in the
    middle of a chain brings nothing older up beside the newest. What was taken back stays so,
    whatever else is taken back later.
    """

    def __init__(self) -> None:
        self.ever: dict[str, Held] = {}
        self.coverers: dict[str, set[str]] = {}
        self.covered: dict[str, set[str]] = {}
        self.back: set[str] = set()

    def hold(self, name: str, thing: Held, replaces: Iterable[str]) -> None:
        # Only what came before can be replaced: no two entries replace each other.
        named = [old for old in replaces if old in self.ever]
        self.ever[name] = thing
        self.coverers[name] = set()
        self.covered[name] = set(named).union(*(self.covered[old] for old in named))
        for old in self.covered[name]:
            self.coverers[old].add(name)

    def take_back(self, names: Iterable[str]) -> None:
        self.back.update(names)

    def change(self, turn: Callable[[Held], Held]) -> None:
        """Change everything that ever stood: what is taken back later brings up the changed."""
        self.ever = {name: turn(thing) for name, thing in self.ever.items()}

    @property
    def holders(self) -> dict[str, Held]:
        return {
            name: thing
            for name, thing in self.ever.items()
            if name not in self.back and self.coverers[name] <= self.back
        }


class _State:
    """The fold in progress."""

    def __init__(self, record_id: str, opened: Opened) -> None:
        self.id = record_id
        self.region = opened.region
        self.set_context = opened.context
        self.found: _Live[Finding] = _Live()
        self.stated: _Live[Stated] = _Live()
        self.care: _Live[CareEntry] = _Live()
        self.conclusion = Conclusion()
        self.signed: Signature | None = None
        self.earlier: tuple[Revision, ...] = ()
        self.discarded: str | None = None
        self.repairs: tuple[Repair, ...] = ()

    @property
    def context(self) -> Context:
        held = self.stated.holders.values()
        return with_statements(self.set_context, ((one.field, one.value) for one in held))

    @property
    def disputes(self) -> tuple[Dispute, ...]:
        held = self.stated.holders.items()
        return disputes({name: (one.field, one.value) for name, one in held})

    def record(self) -> Record:
        return Record(
            id=self.id,
            region=self.region,
            context=self.context,
            findings=tuple(self.found.holders.values()),
            conclusion=self.conclusion,
            care=tuple(self.care.holders.values()),
            revision=len(self.earlier) + 1,
            signed=self.signed,
            earlier=self.earlier,
            repairs=self.repairs,
        )


def fold_entries(record_id: str, entries: Iterable[Entry]) -> Folded:
    """The record that results from the entries, in the order given.

    An entry seen twice counts once, so a queue may be sent again. Raises UserError for an entry
    that cannot follow (writing to a signed or discarded record, signing with an open conflict).
    """
    state: _State | None = None
    seen: set[str] = set()
    for entry in entries:
        if entry.id in seen:
            continue
        seen.add(entry.id)
        if state is None:
            if not isinstance(entry.deed, Opened):
                raise UserError("entries[0]", entry.deed.do, "the entry that opens the record")
            state = _State(record_id, entry.deed)
        else:
            _apply(state, entry)
    if state is None:
        raise UserError("entries", None, "at least the entry that opens the record")
    return Folded(
        record=state.record(),
        holders=state.found.holders,
        discarded=state.discarded,
        statements=state.stated.holders,
        disputes=state.disputes,
        care=state.care.holders,
    )


def _apply(state: _State, entry: Entry) -> None:
    deed = entry.deed
    _refuse_if_closed(state, deed)
    match deed:
        case Opened():
            raise UserError("entries", "open", "a record is opened once")
        case ContextSet():
            _set(state, deed)
        case Stated():
            state.stated.hold(entry.id, deed, deed.replaces)
        case Found():
            state.found.hold(entry.id, deed.finding, deed.replaces)
        case Cared():
            state.care.hold(entry.id, deed.entry, deed.replaces)
        case Undone():
            state.found.take_back(deed.entries)
            state.stated.take_back(deed.entries)
            state.care.take_back(deed.entries)
        case Concluded():
            state.conclusion = deed.conclusion
        case Signed():
            _sign(state, entry, deed)
        case Amended():
            _amend(state, entry, deed)
        case Discarded():
            state.discarded = deed.reason
        case Mirrored():
            _mirror(state, entry, deed)
        case Moved():
            _move(state, entry, deed)


def _set(state: _State, deed: ContextSet) -> None:
    merged = {**state.set_context.model_dump(), **deed.changes}
    state.set_context = Context.model_validate(merged)
    # What was stated of these fields before is superseded by this.
    ever = state.stated.ever.items()
    state.stated.take_back(n for n, one in ever if one.field.partition(".")[0] in deed.changes)


def _mirror(state: _State, entry: Entry, deed: Mirrored) -> None:
    state.set_context = mirror_context(state.set_context)
    state.found.change(mirror_finding)
    state.stated.change(_mirrored_statement)
    state.care.change(mirror_care)
    repair = Repair(what="mirrored", by=entry.by, at=entry.at, reason=deed.reason)
    state.repairs = (*state.repairs, repair)


def _mirrored_statement(stated: Stated) -> Stated:
    field, value = mirror_stated(stated.field, stated.value)
    return stated.model_copy(update={"field": field, "value": value})


def _move(state: _State, entry: Entry, deed: Moved) -> None:
    if deed.was != state.set_context.patient:
        here = state.set_context.patient
        raise UserError("move", deed.was, f"the patient it stands under, {here}",
                        "Look at the record again, then move it.")  # fmt: skip
    # What was carried is another person's: it is unstated until it is asked.
    context = without_carried(state.set_context, state.context.follows)
    state.set_context = context.model_copy(update={"patient": deed.patient})
    followed = [name for name, one in state.stated.ever.items() if one.field == "follows"]
    state.stated.take_back(followed)
    repair = Repair(what="moved", by=entry.by, at=entry.at, reason=deed.reason, was=deed.was)
    state.repairs = (*state.repairs, repair)


def _refuse_if_closed(state: _State, deed: Deed) -> None:
    if state.discarded is not None:
        raise UserError("record", "an entry after it was discarded", "no more entries")
    if state.signed is not None and not isinstance(deed, Amended):
        raise UserError(
            "record", f"{deed.do!r} on a signed revision", "an amendment with a reason first"
        )


def _sign(state: _State, entry: Entry, deed: Signed) -> None:
    if conflicts := state.record().conflicts:
        first = conflicts[0]
        raise UserError(
            "sign",
            f"{len(conflicts)} open conflict(s), first {first.item} {first.side}",
            "a record without contradictions",
            "Keep one of the values, then sign.",
        )
    if state.disputes:
        first_field = state.disputes[0].field
        raise UserError(
            "sign",
            f"{len(state.disputes)} field(s) with different answers, first {first_field}",
            "one answer for each",
            "Keep one of the answers, then sign.",
        )
    state.signed = Signature(by=entry.by, at=entry.at, follow_up=deed.follow_up, said=deed.said)


def _amend(state: _State, entry: Entry, deed: Amended) -> None:
    if state.signed is None:
        raise UserError("amend", "a draft", "a signed revision", "A draft can simply be changed.")
    state.earlier = (
        *state.earlier,
        Revision(
            number=len(state.earlier) + 1,
            context=state.context,
            findings=tuple(state.found.holders.values()),
            conclusion=state.conclusion,
            care=tuple(state.care.holders.values()),
            signed=state.signed,
            amended_by=entry.by,
            amended_at=entry.at,
            reason=deed.reason,
        ),
    )
    state.signed = None
