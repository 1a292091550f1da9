"""Kinds of visit: which items each always has, what it is for, and what a follow-up carries.

The full examination is one of them. A short or focused one has its own list; what the record calls
for is wanted in every kind (`sidewise.reason.judging.visit_calls`).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from pydantic import Field

from sidewise.errors import UserError, UserErrors
from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Mark, Provenance
from sidewise.ground.validation import validate_model

if TYPE_CHECKING:
    from sidewise.protocol.model import Item, Protocol

FULL = "full"
"""The kind that a record is of where it names none."""
FILE = "visits.yaml"
MINUTES_FULL, MINUTES_FOCUSED = 12, 4
CARRIED = (
    "age", "sex", "dominant", "complaint", "onset", "mechanism", "duration_weeks", "known.left",
    "known.right",
)  # fmt: skip
"""Fields of the context that can be carried from one visit to the next."""


class VisitCall(Frozen):
    """Items that this kind of visit calls for beside what every kind does, when, and why.

    `rule` has the plain form of a rule, judged a layer above (`sidewise.reason.judging.rules`).
    """

    items: tuple[str, ...] = Field(min_length=1)
    rule: dict[str, Any] = Field(min_length=1)
    because: str = Field(min_length=10)

    def __hash__(self) -> int:
        return hash((self.items, self.because))


class VisitKind(Frozen):
    """One kind of visit.

    items: what it always has; None: everything that is essential, which is the full one. minutes:
    the most that the seconds of `items` add up to. name: as it is said within a sentence ("short
    examination"). heading: how its note begins; empty for the full one alone. before: what must
    be thought of first. follows: it needs an earlier visit, and what was abnormal then is wanted
    again.
    """

    id: str = Field(pattern=r"^[a-z][a-z_]*$")
    name: str = Field(min_length=4)
    about: str = Field(min_length=10)
    minutes: int = Field(default=MINUTES_FOCUSED, ge=1, le=MINUTES_FULL)
    heading: str = ""
    before: str = ""
    items: tuple[str, ...] | None = None
    calls: tuple[VisitCall, ...] = ()
    follows: bool = False
    basis: tuple[Provenance, ...] = Field(min_length=1)

    @property
    def is_full(self) -> bool:
        """Whether it is the full examination."""
        return self.items is None

    def has(self, item: Item) -> bool:
        """Whether the item belongs to every visit of this kind."""
        return item.role == "essential" if self.items is None else item.id in self.items

    def tallies(self, item: Item) -> bool:
        """Whether the item counts in the tally of its stage: of a full one a screening look too."""
        return self.has(item) or (self.is_full and item.role == "flag")


PLAIN_FULL = VisitKind(
    id=FULL,
    name="full examination",
    about="Everything that is essential.",
    minutes=MINUTES_FULL,
    basis=(Provenance(Mark.OUR_JUDGEMENT, "the items that are essential"),),
)


class VisitBook(Frozen):
    """The kinds of visit of a region, the full one first, and what a follow-up carries forward.

    carries: fields of the context ("sex", "known.left"), and questions ("history.diabetes") of
    which a yes lasts; a no is asked again.
    """

    kinds: tuple[VisitKind, ...] = (PLAIN_FULL,)
    carries: tuple[str, ...] = ()

    def kind(self, name: str | None) -> VisitKind:
        """The kind called so; the full one where none is named."""
        found = next((kind for kind in self.kinds if kind.id == (name or FULL)), None)
        if found is None:
            raise UserError("context.visit", name, f"one of {', '.join(self.names)}")
        return found

    @property
    def names(self) -> tuple[str, ...]:
        """The ids of the kinds."""
        return tuple(kind.id for kind in self.kinds)


def visit_book(data: Any) -> VisitBook:
    """The kinds of visit that the data describe; UserErrors where they are none."""
    return validate_model(VisitBook, data, FILE)


def check_visit_kinds(protocol: Protocol) -> None:
    """UserErrors where a kind of visit names what the protocol does not have, or takes too long."""
    if faults := [*_faults(protocol.visits, protocol), *_carry_faults(protocol)]:
        raise UserErrors(faults)


def _faults(book: VisitBook, protocol: Protocol) -> Iterator[UserError]:
    names = book.names
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield UserError(f"{FILE}: kinds", name, "each kind once", "Give one another name.")
    whole = [kind.id for kind in book.kinds if kind.is_full]
    if whole != [FULL] or names[0] != FULL:
        yield UserError(f"{FILE}: kinds", ", ".join(whole) or None,
                        f'one kind without `items`, called "{FULL}", as the first',
                        "Every other kind lists its items.")  # fmt: skip
    for kind in book.kinds:
        yield from _kind_faults(kind, protocol)


def _kind_faults(kind: VisitKind, protocol: Protocol) -> Iterator[UserError]:
    from sidewise.protocol.model import nearest_names

    where = f"{FILE}: {kind.id}"
    called = [name for call in kind.calls for name in call.items]
    for name in (*(kind.items or ()), *called):
        if name not in protocol.by_id:
            yield UserError(f"{where}: items", name, "an item of the protocol",
                            nearest_names(name, protocol.by_id))  # fmt: skip
    if not kind.is_full and not kind.heading:
        yield UserError(f"{where}: heading", None, "how its note begins",
                        "A note that names no kind reads as a full one.")  # fmt: skip
    seconds = seconds_of(kind, protocol)
    if seconds > kind.minutes * 60:
        yield UserError(f"{where}: items", f"{seconds} seconds", f"at most {kind.minutes * 60}",
                        "Take an item out, or say more `minutes`.")  # fmt: skip


def seconds_of(kind: VisitKind, protocol: Protocol) -> int:
    """The patient's time for what every visit of this kind has, both sides, in seconds."""
    return sum(item.seconds for item in protocol.items if kind.tallies(item))


def _carry_faults(protocol: Protocol) -> Iterator[UserError]:
    for field in protocol.visits.carries:
        table, _, name = field.partition(".")
        if field in CARRIED or (table == "history" and name in protocol.history_by_id):
            continue
        yield UserError(f"{FILE}: carries", field,
                        f"one of {', '.join(CARRIED)}, or history.QUESTION",
                        "Only what lasts is carried; the rest is asked again.")  # fmt: skip
