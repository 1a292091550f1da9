"""A record as a fold of append-only entries: nothing is overwritten, everything can be undone.

An entry names the live entries it replaces. A finding that arrives for an occupied slot without
naming them (a second tablet, a queue sent late) stands beside the other as a conflict until a
person settles it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Generic, Literal, TypeVar

from pydantic import AwareDatetime, Field, model_validator

from sidewise.errors import UserError
from sidewise.protocol.kinds import Frozen
from sidewise.record.model import Conclusion, Context, Finding, Record, Revision, Signature
from sidewise.record.statement import Dispute, checked_value, disputes, with_statements

Held = TypeVar("Held")


class Opened(Frozen):
    """The examination was begun."""

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


class Undone(Frozen):
    """Entries were taken back; they stay in the ledger."""

    do: Literal["undo"] = "undo"
    entries: tuple[str, ...]


class Concluded(Frozen):
    """The clinician's own impression and plan."""

    do: Literal["conclude"] = "conclude"
    conclusion: Conclusion


class Signed(Frozen):
    """The revision was signed and is frozen."""

    do: Literal["sign"] = "sign"


class Amended(Frozen):
    """A signed revision was opened again, for a reason."""

    do: Literal["amend"] = "amend"
    reason: str = Field(min_length=3, max_length=500)


class Discarded(Frozen):
    """The draft was given up, for a reason; it stays in the ledger."""

    do: Literal["discard"] = "discard"
    reason: str = Field(min_length=3, max_length=500)


Deed = Annotated[
    Opened | ContextSet | Stated | Found | Undone | Concluded | Signed | Amended | Discarded,
    Field(discriminator="do"),
]


class Entry(Frozen):
    """One line of the ledger: when, by whom, what. `id` is made where the touch happened."""

    id: str = Field(min_length=1, max_length=80)
    at: AwareDatetime
    by: str = Field(min_length=1, max_length=80)
    deed: Deed


class Folded(Frozen):
    """What the entries amount to: the record, which entry holds which finding, and its state."""

    record: Record
    holders: dict[str, Finding]
    discarded: str | None = None
    statements: dict[str, Stated] = {}
    disputes: tuple[Dispute, ...] = ()

    def holding(self, finding: Finding) -> tuple[str, ...]:
        """The live entries that `finding` takes the place of: what entering it must name."""
        return tuple(
            name for name, held in self.holders.items() if finding.takes_the_place_of(held)
        )

    def stating(self, field: str) -> tuple[str, ...]:
        """The live entries that state this field: what stating it anew must name."""
        return tuple(name for name, held in self.statements.items() if held.field == field)


class _Live(Generic[Held]):
    """What stands, by entry: each may take the place of others, and give it back."""

    def __init__(self) -> None:
        self.holders: dict[str, Held] = {}
        self.ever: dict[str, Held] = {}
        self.replaces: dict[str, tuple[str, ...]] = {}

    def hold(self, name: str, thing: Held, replaces: Iterable[str]) -> None:
        # Only what was live is replaced, so that undoing puts back exactly that.
        live = tuple(old for old in replaces if old in self.holders)
        for old in live:
            del self.holders[old]
        self.ever[name] = self.holders[name] = thing
        self.replaces[name] = live

    def undo(self, name: str) -> None:
        if self.holders.pop(name, None) is None:
            return
        for old in self.replaces[name]:
            self.holders[old] = self.ever[old]


class _State:
    """The fold in progress."""

    def __init__(self, record_id: str, opened: Opened) -> None:
        self.id = record_id
        self.region = opened.region
        self.set_context = opened.context
        self.found: _Live[Finding] = _Live()
        self.stated: _Live[Stated] = _Live()
        self.conclusion = Conclusion()
        self.signed: Signature | None = None
        self.earlier: tuple[Revision, ...] = ()
        self.discarded: str | None = None

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
            revision=len(self.earlier) + 1,
            signed=self.signed,
            earlier=self.earlier,
        )


def fold(record_id: str, entries: Iterable[Entry]) -> Folded:
    """The record that the entries amount to, in the order given.

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
        case Undone():
            for name in deed.entries:
                state.found.undo(name)
                state.stated.undo(name)
        case Concluded():
            state.conclusion = deed.conclusion
        case Signed():
            _sign(state, entry)
        case Amended():
            _amend(state, entry, deed)
        case Discarded():
            state.discarded = deed.reason


def _set(state: _State, deed: ContextSet) -> None:
    merged = {**state.set_context.model_dump(), **deed.changes}
    state.set_context = Context.model_validate(merged)
    # What was stated of these fields before is superseded by this.
    for name, one in list(state.stated.holders.items()):
        if one.field.partition(".")[0] in deed.changes:
            del state.stated.holders[name]


def _refuse_if_closed(state: _State, deed: Deed) -> None:
    if state.discarded is not None:
        raise UserError("record", "an entry after it was discarded", "no more entries")
    if state.signed is not None and not isinstance(deed, Amended):
        raise UserError(
            "record", f"{deed.do!r} on a signed revision", "an amendment with a reason first"
        )


def _sign(state: _State, entry: Entry) -> None:
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
    state.signed = Signature(by=entry.by, at=entry.at)


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
            signed=state.signed,
            amended_by=entry.by,
            amended_at=entry.at,
            reason=deed.reason,
        ),
    )
    state.signed = None
