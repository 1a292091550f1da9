"""Takes in what a browser queued while the network was gone: every entry ends up somewhere.

An entry that can follow is stored; one that was stored before counts once; one that can no longer
follow (the record was signed meanwhile, the entry is not understood) is held for a person. The
browser forgets an entry only when it reads its id in the answer. A line typed without network is
held too: nobody has yet seen what is read in it. A form of done and planned is checked on arrival.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from sidewise.errors import UserError
from sidewise.record.ledger import Entry
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.care_sent import entry_of_form, form_in
from sidewise.web.examinations.entries import MOST, entries_from_json
from sidewise.web.examinations.models import Examination, HeldEntry, LedgerEntry
from sidewise.web.examinations.state import add, current, examiner_of

MEANWHILE = (
    "Made before the visit was put right (moved, or right and left exchanged): look whether it "
    "still says what was meant."
)
TYPED = "Typed offline: nobody has checked yet how it was read."


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What became of each entry, by id."""

    stored: tuple[str, ...]
    held: tuple[str, ...]
    conflicts: int

    def as_json(self) -> dict[str, Any]:
        """For the browser."""
        return {"stored": self.stored, "held": self.held, "conflicts": self.conflicts}


def take_in(examination: Examination, user: Any, body: bytes) -> TakenIn:
    """Store or hold every entry; UserError only where the sending itself cannot be read."""
    stored: list[str] = []
    held: list[str] = []
    examiner = examiner_of(examination)
    for data in _sent(body):
        why = _try(examination, data, user.signs_as, examiner)
        (held if why else stored).append(data["id"])
        if why:
            _hold(examination, user, data, why)
    now = current(examination).folded
    return TakenIn(tuple(stored), tuple(held), len(now.record.conflicts) + len(now.disputes))


def _sent(body: bytes) -> list[dict[str, Any]]:
    try:
        sent = json.loads(body)["entries"]
    except (ValueError, KeyError, TypeError, RecursionError):
        raise UserError("the queue", "something else", "a list of entries") from None
    if not isinstance(sent, list) or not 0 < len(sent) <= MOST:
        raise UserError("the queue", "another number of entries", f"1 to {MOST} entries")
    for data in sent:
        name = data.get("id") if isinstance(data, dict) else None
        if not isinstance(name, str) or not 0 < len(name) <= 80 or not name.isprintable():
            raise UserError("the queue", "an entry without its id", "an id of 1 to 80 characters")
    return sent


def _try(examination: Examination, data: dict[str, Any], by: str, examiner: str) -> str:
    if line_in(data) is not None:
        return "" if _recorded(examination, data["id"]) else TYPED
    # A form that arrived before, without its answer, might be refused if it were checked again.
    if form_in(data) is not None and _stored(examination, data["id"]):
        return ""
    try:
        entries = _entries(examination, data, by, examiner)
        if _made_before_repair(examination, entries[0]):
            return MEANWHILE
        add(examination, entries)
    except UserError as error:
        # What was got may be a finding; it stands in the held entry and nowhere else.
        return f"{error.where}: expected {error.expected}"[:300]
    return ""


def _entries(examination: Examination, data: dict[str, Any], by: str, examiner: str) -> list[Entry]:
    if (sent := form_in(data)) is None:
        return entries_from_json(json.dumps({"entries": [data]}).encode(), by, examiner)
    return [entry_of_form(sent, current(examination), data["id"], data.get("at"), by)]


def _made_before_repair(examination: Examination, entry: Entry) -> bool:
    """Whether it was made while the visit stood elsewhere, or with the sides exchanged."""
    repairs = current(examination).record.repairs
    return bool(repairs) and entry.at < repairs[-1].at and not _stored(examination, entry.id)


def _stored(examination: Examination, name: str) -> bool:
    return LedgerEntry.objects.filter(examination=examination, entry_id=name).exists()


def line_in(data: Any) -> str | None:
    """The typed line that an entry carries; None if it is another kind of entry."""
    deed = data.get("deed") if isinstance(data, dict) else None
    if not isinstance(deed, dict) or deed.get("do") != "line":
        return None
    return deed["text"] if isinstance(deed.get("text"), str) else None


def _recorded(examination: Examination, touch: str) -> bool:
    # The confirmation arrived, only its answer did not.
    rows = LedgerEntry.objects.filter(examination=examination)
    return rows.filter(entry_id__startswith=f"{touch}.").exists()


def _hold(examination: Examination, user: Any, data: dict[str, Any], why: str) -> None:
    HeldEntry.objects.get_or_create(
        examination=examination, entry_id=data["id"],
        defaults={"by": user, "entry": _storable(data), "why": why},
    )  # fmt: skip


def _storable(value: Any) -> Any:
    """The same with every character that PostgreSQL cannot keep (null, half a pair) replaced."""
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode().replace("\x00", "\ufffd")
    if isinstance(value, list):
        return [_storable(part) for part in value]
    if isinstance(value, dict):
        return {_storable(name): _storable(part) for name, part in value.items()}
    return value


def open_held(examination: Examination) -> list[HeldEntry]:
    """What still waits for a person."""
    return list(examination.held.filter(settled_at=None).select_related("by"))


def held_of(number: str, examination: Examination) -> HeldEntry | None:
    """The held entry that a page names, if it is of this examination and still waits."""
    if not re.fullmatch(r"[0-9]{1,18}", number):
        return None
    return examination.held.filter(pk=int(number), settled_at=None).first()


def held_in(user: Any) -> list[str]:
    """The examinations in which something of this person's waits for them."""
    waits = HeldEntry.objects.filter(by=user, settled_at=None)
    return [str(pk) for pk in waits.values_list("examination", flat=True).distinct()]


def settle(held: HeldEntry, by: str, how: str) -> None:
    """Write down who decided what about it."""
    held.settled_by, held.settled_at, held.settled_how = by, timezone.now(), how
    with gathered():
        held.save(update_fields=["settled_by", "settled_at", "settled_how"])
        write(Act.WRITE, f"held:{held.pk}")


def add_held(held: HeldEntry, examiner: str) -> Entry:
    """Add it after all, under a new id and in the name of whoever made it."""
    data = {**held.entry, "id": f"{held.entry_id[:70]}.again"}
    body = json.dumps({"entries": [data]}).encode()
    (entry,) = entries_from_json(body, held.by.signs_as, examiner)
    add(held.examination, [entry])
    return entry
