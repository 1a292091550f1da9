"""The wrong patient, the wrong side, through the pages: rights, trace, audit, erasure."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from sidewise.record.ledger import (
    Entry,
    Found,
    Signed,
    ledger_digest,
    signatures_that_do_not_fit,
)
from sidewise.web.audit.chain import verify
from sidewise.web.audit.models import AuditLine
from sidewise.web.examinations.models import Examination, HeldEntry, MovedVisit
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import append, entries_of
from sidewise.web.keeping import content
from sidewise.web.keeping.erasure import erase_patient
from sidewise.web.keeping.export import patient_export
from sidewise.web.patients.models import Patient, Share
from tests.builders import positive
from tests.safe.conftest import WHEN, Clinic, entry, make_examination
from tests.safe.test_queue import send

pytestmark = pytest.mark.django_db
WHY = "the wrong chart was open"


def off() -> list[content.Difference]:
    """What is not as the audit bound it, over a chain that is whole, and signatures that fit."""
    verdict = verify({})
    assert verdict.whole, verdict.broken
    for visit in Examination.objects.all():
        assert signatures_that_do_not_fit(entries_of(visit)) == []
    return list(content.differences(verdict, "default"))


@pytest.fixture
def other(clinic: Clinic) -> Patient:
    """The patient whose visit it is; of the same owner."""
    append(clinic.examination, [said("f", Found(finding=positive("neer", "left")))])
    return Patient.objects.create(code="DUNLIN-4", owner=clinic.owner)


def said(name: str, deed: Any) -> Entry:
    return Entry(id=name, at=WHEN, by="OWNER", deed=deed)


def signed(clinic: Clinic) -> None:
    digest = ledger_digest(entries_of(clinic.examination))
    append(clinic.examination, [said("s", Signed(ledger=digest))])


def put_right(clinic: Clinic, what: str, who: str = "owner", **form: str) -> Any:
    """The page is opened and its form sent."""
    client = clinic.client(who)
    address = reverse(what, args=[clinic.examination.pk])
    page = client.get(address).content.decode()
    seen = re.search(r'name="seen" value="([^"]*)"', page)
    return client.post(address, {"seen": seen[1] if seen else "", "reason": WHY, **form})


def fresh(clinic: Clinic) -> Examination:
    return Examination.objects.get(pk=clinic.examination.pk)


def record(clinic: Clinic) -> Any:
    return current(fresh(clinic)).record


@pytest.mark.parametrize("before_signing", [True, False])
def test_the_sides_are_exchanged_before_and_after_signing(
    clinic: Clinic, other: Patient, before_signing: bool
) -> None:
    if not before_signing:
        signed(clinic)
    assert put_right(clinic, "mirror").status_code == 302
    one = record(clinic)
    assert [f.side for f in one.findings] == ["right"]
    assert one.signed is None
    assert len(one.earlier) == (0 if before_signing else 1)
    page = clinic.client("owner").get(reverse("note", args=[clinic.examination.pk]))
    assert "PUT RIGHT: right and left exchanged in the whole visit by OWNER" in (
        page.content.decode()
    )
    assert off() == []


def test_the_page_shows_the_exchanged_side_at_once(clinic: Clinic, other: Patient) -> None:
    """Rows are kept as rendered; an exchange must not show the row of before."""
    address = reverse("stage", args=[clinic.examination.pk, "special-tests"])
    client = clinic.client("owner")
    before = client.get(address).content.decode()
    put_right(clinic, "mirror")
    after = client.get(address).content.decode()
    assert row(before) != row(after)
    assert "positive" in row(after).split('class="side left"')[0]
    assert "positive" in row(before).split('class="side left"')[1].split("<form")[0]


def row(page: str) -> str:
    return page.split('id="row-neer"')[1].split("</article>")[0]


@pytest.mark.parametrize("before_signing", [True, False])
def test_a_visit_is_moved_and_both_patients_show_it(
    clinic: Clinic, other: Patient, before_signing: bool
) -> None:
    if not before_signing:
        signed(clinic)
    assert put_right(clinic, "move", code="DUNLIN-4").status_code == 302
    assert fresh(clinic).patient == other
    assert record(clinic).context.patient == "DUNLIN-4"
    owner = clinic.client("owner")
    left = owner.get(reverse("patient", args=[clinic.patient.key])).content.decode()
    assert WHY in left
    assert "DUNLIN-4" in left
    assert ("which had been signed" in left) is not before_signing
    assert "No examination yet" in left
    there = owner.get(reverse("patient", args=[other.key])).content.decode()
    assert str(clinic.examination.pk) in there
    note = owner.get(reverse("note", args=[clinic.examination.pk])).content.decode()
    assert "moved here from PLOVER-2 by OWNER" in note
    assert off() == []


def test_the_revision_signed_under_the_wrong_patient_stays_readable(
    clinic: Clinic, other: Patient
) -> None:
    signed(clinic)
    put_right(clinic, "move", code="DUNLIN-4")
    address = reverse("revision", args=[clinic.examination.pk, 1])
    page = clinic.client("owner").get(address).content.decode()
    assert "PLOVER-2" in page
    assert WHY in page


@pytest.mark.parametrize("code", ["PLOVER-2", "KNOT-6", "STINT-9", ""])
def test_a_visit_goes_only_to_another_patient_whom_one_may_write_to(
    clinic: Clinic, other: Patient, code: str
) -> None:
    """Its own patient, one that is not there, and a stranger's: of the last two nothing is told."""
    Patient.objects.create(code="STINT-9", owner=clinic.stranger)
    answer = put_right(clinic, "move", code=code)
    assert answer.status_code == 422
    assert fresh(clinic).patient == clinic.patient
    assert MovedVisit.objects.count() == 0
    if code in ("KNOT-6", "STINT-9"):
        assert "no patient of that code" in answer.content.decode()


def test_one_who_may_only_read_the_other_patient_cannot_move_a_visit_there(
    clinic: Clinic, other: Patient
) -> None:
    share = Share.objects.create(patient=other, user=clinic.colleague)
    assert put_right(clinic, "move", who="colleague", code="DUNLIN-4").status_code == 422
    share.may_write = True
    share.save()
    assert put_right(clinic, "move", who="colleague", code="DUNLIN-4").status_code == 302


def test_who_may_not_see_the_other_patient_does_not_learn_the_code(
    clinic: Clinic, other: Patient
) -> None:
    put_right(clinic, "move", code="DUNLIN-4")
    page = clinic.client("reader").get(reverse("patient", args=[clinic.patient.key]))
    text = page.content.decode()
    assert "moved to another patient by OWNER" in text
    assert "DUNLIN-4" not in text
    gone = clinic.client("reader").get(reverse("note", args=[clinic.examination.pk]))
    assert gone.status_code == 404


@pytest.mark.parametrize("what", ["mirror", "move"])
def test_nothing_is_put_right_without_a_reason_or_over_what_was_not_seen(
    clinic: Clinic, other: Patient, what: str
) -> None:
    assert put_right(clinic, what, code="DUNLIN-4", reason="").status_code == 422
    send(clinic, entry(name="late"), who="colleague")
    for seen in ("", "1." + "0" * 64):
        assert put_right(clinic, what, code="DUNLIN-4", seen=seen).status_code == 422
    assert record(clinic).repairs == ()
    assert fresh(clinic).patient == clinic.patient


def test_each_repair_leaves_its_lines_in_the_audit(clinic: Clinic, other: Patient) -> None:
    put_right(clinic, "mirror")
    put_right(clinic, "move", code="DUNLIN-4")
    lines = AuditLine.objects.filter(act="put right").values_list("what", flat=True)
    assert sorted(lines) == sorted(
        [f"examination:{clinic.examination.pk}", f"patient:{clinic.patient.key}",
         f"patient:{other.key}"]
    )  # fmt: skip


def test_a_trace_that_is_changed_past_the_program_is_found(clinic: Clinic, other: Patient) -> None:
    put_right(clinic, "move", code="DUNLIN-4")
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("UPDATE examinations_movedvisit SET reason = 'nothing'")
    assert [one.kind for one in off()] == ["examinations.movedvisit"]


def test_a_touch_made_before_the_repair_waits_for_a_person(clinic: Clinic, other: Patient) -> None:
    put_right(clinic, "mirror")
    # Queued without network, before the sides were exchanged.
    assert send(clinic, entry(name="old")).json()["held"] == ["old"]
    assert "put right" in HeldEntry.objects.get(entry_id="old").why


def test_later_visits_that_carried_from_it_are_named(clinic: Clinic, other: Patient) -> None:
    follows = {"record": str(clinic.examination.pk), "at": WHEN.isoformat(), "by": "OWNER",
               "carried": ["sex"]}  # fmt: skip
    later = make_examination(clinic.patient, clinic.owner, follows=follows,
                             examined_at=(WHEN + timedelta(days=42)).isoformat())  # fmt: skip
    page = clinic.client("owner").get(reverse("move", args=[clinic.examination.pk]))
    assert reverse("about", args=[later.pk]) in page.content.decode()


def test_the_trace_is_exported_and_goes_with_its_patient(
    clinic: Clinic, other: Patient, settings: Any
) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    put_right(clinic, "move", code="DUNLIN-4")
    assert patient_export(clinic.patient)["moved_away"][0]["reason"] == WHY
    erase_patient(clinic.patient, "admin")
    assert MovedVisit.objects.count() == 0
    assert fresh(clinic).patient == other
    assert off() == []


def test_the_trace_outlives_the_patient_to_whom_the_visit_went_and_names_nobody(
    clinic: Clinic, other: Patient, settings: Any
) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    put_right(clinic, "move", code="DUNLIN-4")
    erase_patient(other, "admin")
    (trace,) = MovedVisit.objects.all()
    assert (trace.visit, trace.moved_to) == (None, None)
    page = clinic.client("owner").get(reverse("patient", args=[clinic.patient.key]))
    assert "moved to another patient" in page.content.decode()
    assert off() == []


@pytest.mark.parametrize("what", ["mirror", "move"])
def test_a_whole_visit_is_put_right_only_by_who_confirmed_lately(
    clinic: Clinic, other: Patient, what: str
) -> None:
    signed(clinic)
    client = clinic.client("owner")
    session = client.session
    session["confirmed"] = 0
    session.save()
    address = reverse(what, args=[clinic.examination.pk])
    for answer in (client.get(address), client.post(address, {"reason": WHY, "code": "DUNLIN-4"})):
        assert answer["Location"].startswith(reverse("confirm"))
    assert record(clinic).signed is not None
    assert fresh(clinic).patient == clinic.patient
