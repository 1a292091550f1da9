"""What a list says of a patient: who, what hurts and where, the flag that matters most."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sidewise.ground.language import say_text, term
from sidewise.note.header import duration_words, person_words, sides_words
from sidewise.protocol import Protocol
from sidewise.reason.result import RedFlag
from sidewise.record import Record


@dataclass(frozen=True, slots=True)
class EarlierFlag:
    """A flag that was raised when a visit was examined, and that no later visit has excluded."""

    label: str
    urgency: str
    raised_at: datetime


@dataclass(frozen=True, slots=True)
class ListLine:
    """One line of a list.

    flag: the raised flag that is most urgent, with its urgency, and how many more are raised; ""
    where none is. open_flags: how many are called for and not excluded: none raised is not "safe".
    earlier: flags raised at an earlier visit and not excluded since.
    """

    person: str
    complaint: str
    flag: str
    open_flags: int
    earlier: tuple[EarlierFlag, ...] = ()


def list_line(
    record: Record,
    protocol: Protocol,
    flags: Iterable[RedFlag],
    earlier: tuple[EarlierFlag, ...] = (),
) -> ListLine:
    """The line of one record; the flags come the most urgent first, as everywhere."""
    told = tuple(flags)
    raised = [flag for flag in told if flag.status == "raised"]
    waiting = [flag for flag in told if flag.status == "not excluded" and flag.called_for]
    return ListLine(person_words(record), short_complaint(record, protocol), _flag(raised),
                    len(waiting), earlier)  # fmt: skip


def unresolved_flags(
    visits: Sequence[tuple[datetime, Iterable[RedFlag]]],
) -> tuple[EarlierFlag, ...]:
    """Flags raised before the last of the visits, and not excluded nor raised again at it.

    visits: when each was examined and its flags, in the order of time. A visit that did not look
    settles nothing: only one at which the flag is neither raised nor open has excluded it.
    """
    standing: dict[str, EarlierFlag] = {}
    raised: set[str] = set()
    for when, flags in visits:
        told = {flag.flag: flag for flag in flags}
        raised = {name for name, flag in told.items() if flag.status == "raised"}
        standing = {name: one for name, one in standing.items() if name in told}
        standing |= {
            name: EarlierFlag(told[name].label, told[name].urgency, when) for name in raised
        }
    return tuple(one for name, one in standing.items() if name not in raised)


def short_complaint(record: Record, protocol: Protocol) -> str:
    """The side and how long; "no side stated" where none is."""
    c = record.context
    label = term(protocol.label)
    said = sides_words(c.complaint, label) if c.complaint else say_text("no side stated")
    return said if c.duration_weeks is None else f"{said}, {duration_words(c.duration_weeks)}"


def _flag(raised: list[RedFlag]) -> str:
    if not raised:
        return ""
    more = f", and {len(raised) - 1} more" if len(raised) > 1 else ""
    return f"{raised[0].label} ({raised[0].urgency}){more}"
