"""A form of done and planned that was filled in without network: its fields, checked on arrival.

A device keeps the fields as they were typed, {"do": "form", "kind", "fields": [[name, text]]}. Only
the server can say whether they make an entry: a flag raised meanwhile may stand against it. What
makes none is held with its fields, for whoever filled it in to look at again.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.http import QueryDict
from django.utils import timezone
from pydantic import TypeAdapter, ValidationError

from sidewise.errors import UserError
from sidewise.record.ledger import Cared, Entry
from sidewise.web.examinations.care_forms import FORMS
from sidewise.web.examinations.entries import EARLIEST, LATEST
from sidewise.web.examinations.state import Current

MOST_FIELDS = 80
MOMENT: TypeAdapter[datetime] = TypeAdapter(datetime)


@dataclass(frozen=True, slots=True)
class SentForm:
    """Which form, and what stood in it; the side of an injection is in it twice."""

    kind: str
    fields: tuple[tuple[str, str], ...]

    @property
    def words(self) -> str:
        """What was typed, for whoever typed it."""
        said = [text for _, text in self.fields if text.strip()]
        return f"{self.kind}: {', '.join(said)}"[:300]

    @property
    def data(self) -> QueryDict:
        """The fields as a form reads them."""
        data = QueryDict(mutable=True)
        for name, text in self.fields:
            data.appendlist(name, text)
        return data


def form_in(data: Any) -> SentForm | None:
    """The form that an entry carries; None if it is another kind of entry."""
    deed = data.get("deed") if isinstance(data, dict) else None
    if not isinstance(deed, dict) or deed.get("do") != "form" or deed.get("kind") not in FORMS:
        return None
    fields = deed.get("fields")
    if not isinstance(fields, list) or len(fields) > MOST_FIELDS or not all(map(_is_field, fields)):
        return None
    return SentForm(deed["kind"], tuple((name, text) for name, text in fields))


def _is_field(field: Any) -> bool:
    return isinstance(field, list) and len(field) == 2 and all(isinstance(t, str) for t in field)


def entry_of_form(sent: SentForm, now: Current, name: str, at: Any, by: str) -> Entry:
    """The entry under the id and time of the device; UserError where the form makes none.

    The message names fields and repeats nothing of what stands in them.
    """
    form = FORMS[sent.kind](now, sent.data)
    made = form.entry() if form.is_valid() else None
    if made is None:
        labels = [str(form.fields[field].label) for field in form.errors if field in form.fields]
        raise UserError("; ".join(labels) or form.title, None, "what the form asks for",
                        "Look at it again.")  # fmt: skip
    return Entry(id=name, at=_moment(at), by=by, deed=Cared(entry=made))


def _moment(text: Any) -> datetime:
    """When it was filled in; now, where the device's clock cannot be meant."""
    try:
        at = MOMENT.validate_python(text)
    except ValidationError:
        return timezone.now()
    is_meant = at.tzinfo is not None and EARLIEST <= at.year <= LATEST
    return at if is_meant else timezone.now()
