"""A line typed without network: it waits at the server for a person, and counts once."""

from __future__ import annotations

import html
import re
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse

from sidewise.web.examinations.models import HeldEntry, LedgerEntry
from tests.safe.conftest import WHEN, Clinic, entry
from tests.safe.test_queue import send, sign

pytestmark = pytest.mark.django_db
TEXT = "Neer L pos; ER passive R 15"


def typed(text: Any = TEXT, name: str | None = None) -> dict[str, Any]:
    """A line as the tablet sends it later."""
    deed = {"do": "line", "text": text}
    return {"id": name or uuid4().hex, "at": WHEN.isoformat(), "deed": deed}


def post(clinic: Clinic, who: str = "owner", script: bool = False, **fields: str) -> Any:
    headers = {"HX-Request": "true"} if script else {}
    return clinic.client(who).post(
        reverse("line", args=[clinic.examination.pk]), fields, headers=headers
    )


def hidden(page: str) -> dict[str, str]:
    """The fields of the form that confirms."""
    form = page[page.index('<form class="rest"') :]
    found = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form[: form.index("</form>")])
    return {n: html.unescape(v) for n, v in found if n != "csrfmiddlewaretoken"}


def rows(clinic: Clinic) -> int:
    return LedgerEntry.objects.filter(examination=clinic.examination).count()


def held_page(clinic: Clinic, who: str = "owner") -> str:
    url = reverse("held", args=[clinic.examination.pk])
    return clinic.client(who).get(url).content.decode()


def test_a_typed_line_is_held_and_nothing_of_it_recorded(clinic: Clinic) -> None:
    line = typed()
    assert send(clinic, line).json()["held"] == [line["id"]]
    assert rows(clinic) == 1
    page = held_page(clinic)
    assert f"Typed: {TEXT}" in page
    assert "nobody has checked yet how it was read" in page
    assert "Add it" not in page


def test_a_line_sent_twice_is_held_once(clinic: Clinic) -> None:
    line = typed()
    send(clinic, line)
    assert send(clinic, line).json()["held"] == [line["id"]]
    assert HeldEntry.objects.count() == 1


def test_a_held_line_is_read_confirmed_and_waits_no_longer(clinic: Clinic) -> None:
    send(clinic, typed())
    held = HeldEntry.objects.get()
    page = post(clinic, held=str(held.pk), text=TEXT).content.decode()
    assert rows(clinic) == 1
    assert post(clinic, record="1", **hidden(page)).status_code == 302
    assert rows(clinic) == 3
    held.refresh_from_db()
    assert (held.settled_by, held.settled_how) == ("owner", "typed")
    assert "No entries are waiting" in held_page(clinic)


def test_a_held_line_that_was_not_confirmed_still_waits(clinic: Clinic) -> None:
    send(clinic, typed())
    held = HeldEntry.objects.get()
    assert post(clinic, held=str(held.pk), text=TEXT, record="1", seen="99").status_code == 422
    held.refresh_from_db()
    assert held.settled_at is None


def test_a_held_line_cannot_be_added_unread(clinic: Clinic) -> None:
    send(clinic, typed())
    url, number = reverse("held", args=[clinic.examination.pk]), HeldEntry.objects.get().pk
    answer = clinic.client("owner").post(url, {"held": number, "how": "add"})
    assert answer.status_code == 422
    assert rows(clinic) == 1
    assert HeldEntry.objects.get().settled_at is None


def test_a_held_line_can_be_dropped(clinic: Clinic) -> None:
    send(clinic, typed())
    url, number = reverse("held", args=[clinic.examination.pk]), HeldEntry.objects.get().pk
    clinic.client("owner").post(url, {"held": number, "how": "drop"})
    assert HeldEntry.objects.get().settled_how == "drop"


def test_a_line_whose_confirmation_arrived_without_its_answer_counts_once(clinic: Clinic) -> None:
    """The tablet heard nothing and kept the line; the findings are there already."""
    fields = hidden(post(clinic, text=TEXT).content.decode())
    post(clinic, record="1", **fields)
    late = typed(name=fields["touch"])
    assert send(clinic, late).json() == {"stored": [late["id"]], "held": [], "conflicts": 0}
    assert not HeldEntry.objects.exists()


@pytest.mark.parametrize("touch", ["", "x", "a" * 31, "A" * 32, "٣" * 32, "a" * 32 + "\n"])
def test_a_forged_mark_of_the_line_is_not_taken_over(clinic: Clinic, touch: str) -> None:
    fields = hidden(post(clinic, text=TEXT).content.decode()) | {"touch": touch}
    assert post(clinic, record="1", **fields).status_code == 302
    names = LedgerEntry.objects.order_by("-pk").values_list("entry_id", flat=True)[:2]
    assert all(re.fullmatch(r"[0-9a-f]{32}\.[01]", name) for name in names)


def test_the_held_line_of_another_examination_is_not_settled(clinic: Clinic) -> None:
    from tests.safe.conftest import make_examination

    other = make_examination(clinic.patient, clinic.owner)
    elsewhere = HeldEntry.objects.create(
        examination=other, entry_id="x", by=clinic.owner, entry=typed(), why="x"
    )
    page = post(clinic, held=str(elsewhere.pk), text=TEXT).content.decode()
    assert "held" not in hidden(page)
    post(clinic, record="1", **hidden(page), held=str(elsewhere.pk))
    elsewhere.refresh_from_db()
    assert elsewhere.settled_at is None


def test_after_signing_the_line_still_waits_and_says_why(clinic: Clinic) -> None:
    sign(clinic)
    send(clinic, typed())
    held = HeldEntry.objects.get()
    answer = post(clinic, held=str(held.pk), text=TEXT)
    assert answer.status_code == 422
    assert "amend a signed record first" in answer.content.decode()


@pytest.mark.parametrize("text", [None, 5, [], {"a": 1}])
def test_a_line_that_is_no_text_is_held_like_anything_unread(clinic: Clinic, text: Any) -> None:
    line = typed(text)
    assert send(clinic, line).json()["held"] == [line["id"]]
    assert "an entry that could not be read" in held_page(clinic)


def test_lines_and_touches_of_one_queue_go_their_own_ways(clinic: Clinic) -> None:
    touch, line = entry(), typed()
    said = send(clinic, touch, line).json()
    assert (said["stored"], said["held"]) == ([touch["id"]], [line["id"]])


def test_every_page_of_whoever_typed_it_is_told_that_it_waits(clinic: Clinic) -> None:
    send(clinic, typed())
    told = {
        who: clinic.client(who).post(reverse("queue-key")).json()["held"]
        for who in ("owner", "colleague")
    }
    assert told == {"owner": [str(clinic.examination.pk)], "colleague": []}


def test_a_script_is_told_where_the_recorded_row_is(clinic: Clinic) -> None:
    fields = hidden(post(clinic, text="Neer R neg", script=True).content.decode())
    answer = post(clinic, record="1", script=True, **fields)
    assert answer.status_code == 200
    assert answer["HX-Redirect"].endswith("/stage/special-tests/#row-neer")


def test_a_reader_may_send_no_line(clinic: Clinic) -> None:
    assert send(clinic, typed(), who="reader").status_code == 403
