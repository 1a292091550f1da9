"""A form or a queued touch as ledger entries: the same shape whether a script sent it or not.

A form names `places` ("item side mode; item side mode"), then either a button's JSON value, or
fields of one kind ("angle.degrees"), or a status with a reason; or it lists whole findings.
`static/sidewise/touch.js` builds the same entries on the device.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any
from uuid import uuid4

from django.utils import timezone
from pydantic import ValidationError

from sidewise.errors import UserError
from sidewise.kinds import KINDS
from sidewise.record.ledger import Entry, Folded, Found, Undone
from sidewise.record.model import Finding

EARLIEST, LATEST = 1970, 2200
"""Years that a device's clock can say; a time at the edge of the calendar has no UTC."""
MOST = 400
"""Entries in one sending: a whole examination recorded without network."""


def entries_from_json(body: bytes, by: str, examiner: str) -> list[Entry]:
    """The entries that a script sent: {"entries": [{id, at, deed}]}; UserError if not so."""
    try:
        sent = json.loads(body)["entries"]
        assert isinstance(sent, list)
    except (ValueError, KeyError, TypeError, AssertionError, RecursionError):
        raise UserError("the touch", "something else", "a list of entries") from None
    if not 0 < len(sent) <= MOST:
        raise UserError("the touch", f"{len(sent)} entries", f"1 to {MOST} entries")
    return [_entry(data, by, examiner) for data in sent]


def _entry(data: Any, by: str, examiner: str) -> Entry:
    if not isinstance(data, dict):
        raise UserError("the touch", data, "an entry with id, at and deed")
    deed = data.get("deed")
    if not isinstance(deed, dict) or deed.get("do") not in ("found", "state", "undo"):
        raise UserError("the touch", "another deed", "found, state or undo")
    try:
        entry = Entry.model_validate({**data, "by": by})
    except ValidationError as error:
        raise form_error(error) from None
    except RecursionError:
        raise UserError("the touch", "values too deep to read", "an entry") from None
    if not EARLIEST <= entry.at.year <= LATEST:
        raise UserError("the time", entry.at.year, f"a year from {EARLIEST} to {LATEST}",
                        "Set the clock of this device.")  # fmt: skip
    return _signed_by(entry, by, examiner)


def _signed_by(entry: Entry, by: str, examiner: str) -> Entry:
    # A colleague's finding carries the colleague's name: error of measurement depends on it.
    deed = entry.deed
    if not isinstance(deed, Found) or by == examiner:
        return entry
    finding = deed.finding.model_copy(update={"examiner": by})
    return entry.model_copy(update={"deed": deed.model_copy(update={"finding": finding})})


def entries_from_form(
    form: Mapping[str, str], folded: Folded, by: str, examiner: str
) -> list[Entry]:
    """The entries that a plain form stands for."""
    if undone := form.get("undo"):
        deed = Undone(entries=tuple(undone.split()))
        return [Entry(id=uuid4().hex, at=timezone.now(), by=by, deed=deed)]
    found = list(_findings(form))
    if not found:
        raise UserError("the form", None, "a place and what was found there")
    return entries_of_findings(found, folded, by, examiner)


def entries_of_findings(
    found: Iterable[Finding], folded: Folded, by: str, examiner: str, touch: str = ""
) -> list[Entry]:
    """Findings of one touch or one typed line: entries that one undo takes back together."""
    at, touch = timezone.now(), touch or uuid4().hex
    deeds = [Found(finding=finding, replaces=folded.holding(finding)) for finding in found]
    return [
        _signed_by(Entry(id=f"{touch}.{number}", at=at, by=by, deed=deed), by, examiner)
        for number, deed in enumerate(deeds)
    ]


def _findings(form: Mapping[str, str]) -> Iterator[Finding]:
    if listed := form.get("findings"):
        yield from (_checked(data) for data in _json(listed, list))
        return
    shared = _shared(form)
    for place in filter(None, form.get("places", "").split(";")):
        parts = place.split()
        if len(parts) not in (2, 3):
            raise UserError("the form", place, "a place: item, side, and mode where it has one")
        yield _checked(dict(zip(("item", "side", "mode"), parts, strict=False)) | shared)


def _shared(form: Mapping[str, str]) -> dict[str, Any]:
    note = {"note": form["note"]} if form.get("note", "").strip() else {}
    if form.get("value"):
        return {"value": _without_none(_json(form["value"], dict)), **note}
    if kind := form.get("kind"):
        return {"value": {"kind": kind, **_fields(form, kind)}, **note}
    if status := form.get("status"):
        return {"status": status, "reason": form.get("reason", "").strip() or None, **note}
    raise UserError("the form", None, "what was found")


def _fields(form: Mapping[str, str], kind: str) -> dict[str, str]:
    start = f"{kind}."
    return {
        name.removeprefix(start): text.strip()
        for name, text in form.items()
        if name.startswith(start) and text.strip()
    }


def _json(text: str, shape: type) -> Any:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, shape):
        raise UserError("the form", text, "a value of the protocol")
    return found


def _without_none(value: dict[str, Any]) -> dict[str, Any]:
    return {key: part for key, part in value.items() if part is not None}


def _checked(data: Any) -> Finding:
    try:
        return Finding.model_validate(data)
    except ValidationError as error:
        raise form_error(error) from None


FIELD_WORDS = {"reason": "the reason"} | {
    field: word for kind in KINDS.values() for field, word in kind.field_words.items()
}


def form_error(error: ValidationError) -> UserError:
    """The first thing wrong, in the words of the form."""
    first = error.errors()[0]
    name = str(first["loc"][-1]) if first["loc"] else ""
    field = FIELD_WORDS.get(name, "the entry")
    given = first.get("input")
    missing = first["type"] == "missing" or given in (None, "")
    match first["type"]:
        case "value_error":
            return UserError(field, _brief(given), str(first["ctx"]["error"]))
        case "missing":
            return UserError(field, None, "a number" if field != "the words" else "some words",
                             "Type it, then record.")  # fmt: skip
        case "float_parsing" | "int_parsing" | "float_type" | "finite_number":
            return UserError(field, given, "a number", "Digits and one decimal point.")
        case _:
            message = str(first["msg"])
            return UserError(
                field, None if missing else _brief(given), message[0].lower() + message[1:]
            )


def in_form_words(error: UserError) -> UserError:
    """The same error without the record's own name of a field: a person sees a form."""
    word = FIELD_WORDS.get(error.where.rpartition(".")[2])
    if word is None:
        return error
    got = error.got
    if isinstance(got, float) and got.is_integer():
        got = int(got)
    return UserError(word, got, error.expected, error.do)


def _brief(given: Any) -> Any:
    return ", ".join(str(value) for value in given.values()) if isinstance(given, dict) else given


def places_text(places: Iterable[tuple[str, str, str | None]]) -> str:
    """Places as the text of a form field."""
    return ";".join(" ".join(filter(None, place)) for place in places)
