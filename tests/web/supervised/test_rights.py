"""Who sees a student's visit, view by view; that it lasts no longer; and that it is erased."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.web.audit.models import AuditLine
from sidewise.web.examinations.models import Examination
from sidewise.web.keeping import content, erasure, export
from sidewise.web.keeping.models import Erased, Hold
from sidewise.web.supervised.models import LearnerFinding, LearnerVisit

OF_THE_STUDENT = ("", "hand-in/", "told/", "erase/")
OF_THE_SUPERVISOR = ("countersign/", "end/", "withdraw/")
NOBODY = ("stranger", "other", "teacher", "administrator")
PATIENT = ("patients/{key}/", "patients/{key}/export/", "examinations/{pk}/",
           "examinations/{pk}/history/", "examinations/{pk}/note/", "examinations/{pk}/file/",
           "examinations/{pk}/meaning/", "examinations/{pk}/stage/look/",
           "learners/of/{pk}/")  # fmt: skip


def any_way(ward, who, address):
    client = ward.client(who)
    return {client.get(address).status_code, client.post(address, {}).status_code} - {405}


@pytest.mark.parametrize("who", NOBODY)
def test_to_anyone_else_no_view_of_a_visit_exists(ward, who):
    ward.begin()
    swept = 0
    for part in (*OF_THE_STUDENT, *OF_THE_SUPERVISOR):
        assert any_way(ward, who, ward.room + part) == {404}, part
        swept += 1
    assert any_way(ward, who, ward.door) == {404}
    assert swept == 7


@pytest.mark.parametrize("who", ["owner", "colleague", "reader"])
def test_no_clinician_opens_the_students_own_pages(ward, who):
    ward.begin()
    for part in OF_THE_STUDENT:
        assert any_way(ward, who, ward.room + part) == {404}, part


def test_who_may_only_read_the_patient_is_told_so(ward):
    ward.begin()
    for part in OF_THE_SUPERVISOR:
        assert any_way(ward, "reader", ward.room + part) == {403}, part
    assert any_way(ward, "reader", ward.door) == {403}


def test_a_colleague_who_may_write_may_supervise(ward):
    ward.begin()
    ward.feel(0)
    ward.hand_in()
    ward.sign()
    answer = ward.client("colleague").post(f"{ward.room}countersign/", {"remark": ""})
    assert answer.status_code == 302
    assert ward.visit.countersigned_by == "COLLEAGUE"


@pytest.mark.parametrize("part", OF_THE_SUPERVISOR)
def test_the_student_opens_none_of_the_supervisors_pages(ward, part):
    ward.begin()
    assert any_way(ward, "student", ward.room + part) == {404}


def test_the_student_sees_nothing_else_of_the_patient_while_it_lasts(ward):
    ward.begin()
    parts = {"key": ward.patient.key, "pk": ward.examination.pk}
    for address in PATIENT:
        assert any_way(ward, "student", "/" + address.format(**parts)) == {404}, address
    text = ward.client("student").get(ward.room).content.decode()
    assert "HERON-1" in text
    for hidden in ("58", "female", str(ward.examination.pk), str(ward.patient.key)):
        assert hidden not in text.replace(ward.room, ""), hidden


def over(ward, how):
    """The visit comes to its end in one of the ways there are."""
    now = timezone.now()
    if how == "handed in":
        ward.feel(0)
        ward.hand_in()
    elif how == "ended":
        ward.client("owner").post(f"{ward.room}end/")
    elif how == "withdrawn":
        ward.client("owner").post(f"{ward.room}withdraw/")
    elif how == "time":
        LearnerVisit.objects.update(until=now - timedelta(minutes=1))
    elif how == "discarded":
        Examination.objects.update(state=Examination.State.DISCARDED)


@pytest.mark.parametrize("how", ["handed in", "ended", "withdrawn", "time", "discarded"])
def test_when_it_is_over_the_student_sees_nothing_of_the_patient(ward, how):
    ward.begin()
    assert ward.client("student").get(ward.room).status_code == 200
    over(ward, how)
    for part in ("", "told/"):
        assert ward.client("student").get(ward.room + part).status_code == 404, part
    assert ward.client("student").post(ward.room, {"seen": "0"}).status_code == 404
    assert "HERON-1" not in ward.client("student").get("/learners/").content.decode()


def test_another_visit_of_the_same_patient_is_not_opened_by_the_first(ward):
    ward.begin()
    later = ward.open()
    assert any_way(ward, "student", f"/learners/of/{later.pk}/") == {404}
    assert LearnerVisit.objects.filter(examination=later).count() == 0


# ---------------------------------------------------------------- consent, export, erasure


def test_consent_is_recorded_with_how_by_whom_and_when(ward):
    ward.begin(how="written")
    visit = ward.visit
    assert (visit.consent_how, visit.supervisor) == ("written", ward.owner)
    page = ward.client("owner").get(ward.door).content.decode()
    assert "consent: signed for it, noted by OWNER" in page


@pytest.mark.parametrize("countersigned", [False, True])
def test_consent_withdrawn_erases_at_once_what_was_found_and_said(ward, countersigned):
    ward.begin()
    ward.feel(2)
    if countersigned:
        ward.hand_in()
        ward.sign()
        ward.client("owner").post(f"{ward.room}countersign/", {"remark": "Well done."})
    assert ward.client("owner").post(f"{ward.room}withdraw/").status_code == 302
    visit = ward.visit
    assert not LearnerFinding.objects.exists()
    assert (visit.feedback, visit.remark) == (None, "")
    assert visit.withdrawn_at is not None
    assert Erased.objects.get().kind == "learner-visit"
    assert ward.client("student").get(f"{ward.room}told/").status_code == 404


def test_under_a_legal_hold_nobody_sees_it_and_it_is_erased_later(ward):
    ward.begin()
    ward.feel(2)
    Hold.objects.create(patient=ward.patient, reason="court", set_by="admin")
    answer = ward.client("owner").post(f"{ward.room}withdraw/", follow=True)
    assert "a legal hold" in answer.content.decode()
    assert LearnerFinding.objects.exists()
    assert ward.client("student").get(ward.room).status_code == 404
    Hold.objects.update(lifted_at=timezone.now())
    ward.client("owner").post(f"{ward.room}withdraw/")
    assert not LearnerFinding.objects.exists()


def test_the_patients_export_holds_all_of_it_and_who_looked(ward):
    ward.to_the_end()
    ward.client("student").get(f"{ward.room}told/")
    kept = export.patient_export(ward.patient)
    (visit,) = kept["examined_by_students"]
    assert visit["student"] == "S01"
    assert visit["consent"] == "said yes, after it was explained"
    assert len(visit["found"]) == 1
    assert visit["compared"]["places"]
    assert {"learner-room", "learner-told", "learner-visit"} <= {
        line["what"].partition(":")[0] for line in kept["looked_at"]
    }


def test_the_students_export_holds_the_feedback_and_nothing_of_the_patient(ward):
    ward.to_the_end()
    text = ward.client("student").get("/account/export/").content.decode()
    (row,) = json.loads(text)["tables"]["supervised.learnervisit"]
    assert row["remark"] == "Press harder."
    assert not {"examination_id", "complaint", "consent_how"} & set(row)
    assert "HERON" not in text
    assert str(ward.examination.pk) not in json.dumps(row)


def test_the_patients_erasure_takes_it_along(ward, settings):
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    ward.to_the_end()
    erasure.erase_patient(ward.patient, "admin")
    assert not LearnerVisit.objects.exists()
    assert not LearnerFinding.objects.exists()


def test_the_students_erasure_takes_it_along_and_the_record_stays(ward, settings):
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    ward.to_the_end()
    erasure.erase_student(ward.student, "admin")
    assert not LearnerVisit.objects.exists()
    assert len(ward.record.findings) == 1


def test_a_student_erases_what_they_keep_of_it(ward):
    ward.to_the_end()
    assert ward.client("student").post(f"{ward.room}erase/").status_code == 302
    assert not LearnerFinding.objects.exists()
    assert ward.visit.feedback is None
    assert ward.visit.withdrawn_at is None


def test_a_restored_backup_brings_nothing_back_that_was_withdrawn(ward):
    ward.begin()
    ward.feel(2)
    kept = ward.visit
    with transaction.atomic():
        erasure._note_outside("learner-visit", str(kept.key))
    assert erasure.erase_again() == 1
    assert not LearnerFinding.objects.exists()
    assert erasure.erase_again() == 0


def test_every_table_is_bound_by_the_audit_and_findings_are_append_only(ward):
    ward.to_the_end()
    assert {LearnerVisit, LearnerFinding} <= set(content.bound_models(content.apps))
    for sql in ("UPDATE supervised_learnerfinding SET number = 9",
                "DELETE FROM supervised_learnerfinding"):  # fmt: skip
        refused = pytest.raises(DatabaseError, match="append-only")
        with refused, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)


def test_every_look_and_every_step_leaves_a_line_that_names_numbers_only(ward):
    ward.to_the_end()
    lines = AuditLine.objects.filter(what__contains=str(ward.visit.key))
    assert {"read", "write"} <= {line.act for line in lines}
    assert any(line.who == "s01" for line in lines)
    assert "HERON" not in " ".join(line.what for line in lines)


def test_a_shot_in_the_dark_is_refused_and_noted(ward):
    ward.begin()
    ward.client("other").get(ward.room)
    assert AuditLine.objects.filter(act="refused", who="s02").exists()


def test_what_was_erased_before_is_no_reason_to_stop(ward):
    ward.begin()
    ward.feel(1)
    erasure.erase_learner_visit(ward.visit, "owner")
    assert reverse("learner-visits") == "/learners/"
    with pytest.raises(UserError):
        erasure.erase_patient(ward.patient, "admin")
