"""The queue's door: every entry is stored once, or held for a person; none is lost."""

from __future__ import annotations

import base64
import json
from typing import Any

import pytest
from django.urls import reverse

from sidewise.record.ledger import Discarded, Entry, Signed
from sidewise.web.examinations.models import HeldEntry, LedgerEntry
from sidewise.web.examinations.store import append, folded
from tests.safe.conftest import WHEN, Clinic, entry

pytestmark = pytest.mark.django_db


def send(clinic: Clinic, *entries: dict[str, Any], who: str = "owner") -> Any:
    url = reverse("queue", args=[clinic.examination.pk])
    body = json.dumps({"entries": entries})
    return clinic.client(who).post(url, body, content_type="application/json")


def sign(clinic: Clinic) -> None:
    append(clinic.examination, [Entry(id="sign", at=WHEN, by="OWNER", deed=Signed())])


def test_a_queue_is_stored_in_its_order(clinic: Clinic) -> None:
    sent = [entry(name=f"t{number}") for number in range(20)]
    answer = send(clinic, *sent)
    assert answer.json() == {"stored": [e["id"] for e in sent], "held": [], "conflicts": 0}
    kept = LedgerEntry.objects.values_list("entry_id", flat=True)
    assert list(kept)[1:] == [e["id"] for e in sent]


def test_a_queue_sent_again_counts_once(clinic: Clinic) -> None:
    sent = [entry(name=f"t{number}") for number in range(5)]
    first, second = send(clinic, *sent).json(), send(clinic, *sent).json()
    assert first["stored"] == second["stored"]
    assert LedgerEntry.objects.count() == 6


def test_two_tablets_that_disagree_leave_a_conflict_for_a_person(clinic: Clinic) -> None:
    send(clinic, entry(result="positive", name="a"), who="owner")
    answer = send(clinic, entry(result="negative", name="b"), who="colleague").json()
    assert answer["conflicts"] == 1
    (conflict,) = folded(clinic.examination).record.conflicts
    assert {f.value.result for f in conflict.findings} == {"positive", "negative"}


def test_a_late_queue_does_not_overwrite_what_it_did_not_see(clinic: Clinic) -> None:
    """The first tablet replaced `a`; the second, offline since before, replaces it too."""
    send(clinic, entry(name="a", result="positive"))
    send(clinic, entry(name="b", result="negative", replaces=["a"]))
    answer = send(clinic, entry(name="c", result="equivocal", replaces=["a"]), who="colleague")
    assert answer.json()["conflicts"] == 1


def test_entries_that_come_after_signing_are_held_not_lost(clinic: Clinic) -> None:
    sign(clinic)
    answer = send(clinic, entry(name="late")).json()
    assert answer == {"stored": [], "held": ["late"], "conflicts": 0}
    held = HeldEntry.objects.get()
    assert held.entry["deed"]["finding"]["item"] == "hawkins_kennedy"


def test_one_bad_entry_does_not_stop_the_others(clinic: Clinic) -> None:
    answer = send(clinic, entry(name="a"), entry(item="no_such_item", name="b"), entry(name="c"))
    assert answer.json()["stored"] == ["a", "c"]
    assert answer.json()["held"] == ["b"]


def test_a_held_entry_sent_again_is_held_once(clinic: Clinic) -> None:
    for _ in range(2):
        send(clinic, entry(item="no_such_item", name="b"))
    assert HeldEntry.objects.count() == 1


def test_what_is_said_of_a_held_entry_repeats_no_finding(clinic: Clinic) -> None:
    send(clinic, entry(item="zanzibarite", name="b"))
    assert "zanzibarite" not in HeldEntry.objects.get().why


def settle(clinic: Clinic, how: str, who: str = "owner") -> Any:
    url = reverse("held", args=[clinic.examination.pk])
    return clinic.client(who).post(url, {"held": str(HeldEntry.objects.get().pk), "how": how})


def test_a_held_entry_is_shown_and_added_by_a_person_after_an_amendment(clinic: Clinic) -> None:
    sign(clinic)
    send(clinic, entry(name="late"), who="colleague")
    page = clinic.client("owner").get(reverse("held", args=[clinic.examination.pk]))
    assert "hawkins_kennedy, left" in page.content.decode()
    assert settle(clinic, "add").status_code == 422
    about = {"do": "amend", "reason": "a touch came late"}
    append(clinic.examination, [Entry(id="am", at=WHEN, by="OWNER", deed=about)])
    assert settle(clinic, "add").status_code == 302
    kept = LedgerEntry.objects.get(entry_id="late.again")
    assert kept.by == "COLLEAGUE"
    assert HeldEntry.objects.get().settled_by == "owner"


def test_a_held_entry_is_dropped_by_a_person_and_stays_readable(clinic: Clinic) -> None:
    append(clinic.examination, [Entry(id="x", at=WHEN, by="OWNER", deed=Discarded(reason="twice"))])
    send(clinic, entry(name="late"))
    assert settle(clinic, "drop").status_code == 302
    held = HeldEntry.objects.get()
    assert (held.settled_how, held.entry["id"]) == ("drop", "late")


def test_a_reader_settles_nothing(clinic: Clinic) -> None:
    send(clinic, entry(item="no_such_item", name="b"))
    assert settle(clinic, "drop", who="reader").status_code == 403
    assert HeldEntry.objects.get().settled_at is None


@pytest.mark.parametrize(
    "body",
    ["[]", "{", '{"entries": 1}', '{"entries": []}', '{"entries": [1]}',
     '{"entries": [{"id": ""}]}', '{"entries": [{"id": "\\u0000"}]}', '{"entries": [{"at": 1}]}',
     "[" * 5000],
)  # fmt: skip
def test_what_is_no_queue_is_refused_with_words_and_stores_nothing(
    clinic: Clinic, body: str
) -> None:
    url = reverse("queue", args=[clinic.examination.pk])
    answer = clinic.client("owner").post(url, body, content_type="application/json")
    assert answer.status_code == 422
    assert "expected" in answer.json()["error"]
    assert not HeldEntry.objects.exists()


def test_the_browser_cannot_choose_who_found_it(clinic: Clinic) -> None:
    """ASVS 5.0.0, 8.2.3."""
    send(clinic, {**entry(name="a"), "by": "OWNER"}, who="colleague")
    kept = LedgerEntry.objects.get(entry_id="a")
    assert kept.by == "COLLEAGUE"
    assert kept.deed["finding"]["examiner"] == "COLLEAGUE"


def test_a_queue_cannot_sign(clinic: Clinic) -> None:
    send(clinic, {"id": "s", "at": WHEN.isoformat(), "deed": {"do": "sign"}})
    assert folded(clinic.examination).record.signed is None


def test_the_queue_key_is_ones_own_and_the_same_at_every_sign_in(clinic: Clinic) -> None:
    def key(who: str) -> str:
        return clinic.client(who).post(reverse("queue-key")).json()["key"]

    assert len(base64.b64decode(key("owner"))) == 32
    assert key("owner") == key("owner")
    assert key("owner") != key("colleague")


def test_the_queue_key_is_not_kept_readable(clinic: Clinic) -> None:
    from sidewise.web.accounts.models import QueueKey

    key = clinic.client("owner").post(reverse("queue-key")).json()["key"]
    assert base64.b64decode(key) not in bytes(QueueKey.objects.get().sealed)


def test_the_queue_key_is_never_cached(clinic: Clinic) -> None:
    response = clinic.client("owner").post(reverse("queue-key"))
    assert response["Cache-Control"] == "no-store"
    assert clinic.client("owner").get(reverse("queue-key")).status_code == 405


@pytest.mark.parametrize("note", ["a\x00b", "\\u0000 typed out", "\ud83d"])
def test_characters_that_one_database_cannot_keep_are_treated_alike_by_both(
    clinic: Clinic, note: str
) -> None:
    sent = entry(name="n")
    sent["deed"]["finding"]["note"] = note
    answer = send(clinic, sent)
    assert answer.status_code == 200
    where = "stored" if note.startswith("\\") else "held"
    assert answer.json()[where] == ["n"]


def test_a_null_character_in_a_form_is_refused_with_words(clinic: Clinic) -> None:
    answer = clinic.client("owner").post(reverse("patients"), {"code": "a\x00"})
    assert answer.status_code == 400
    assert "null character" in answer.content.decode()


@pytest.mark.parametrize("view", ["queue", "touch"])
def test_a_form_at_a_door_for_scripts_is_refused_with_words(clinic: Clinic, view: str) -> None:
    answer = clinic.client("owner").post(reverse(view, args=[clinic.examination.pk]), {"a": "b"})
    assert answer.status_code == 415
    assert "application/json" in answer.content.decode()
