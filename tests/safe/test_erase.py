"""Export, holds, retention, erasure: of a patient and of a student."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.web.accounts.models import User
from sidewise.web.audit.chain import verify
from sidewise.web.audit.models import AuditLine
from sidewise.web.examinations.models import Examination, LedgerEntry
from sidewise.web.keeping import erasure
from sidewise.web.keeping.export import patient_export, student_export
from sidewise.web.keeping.models import Erased, Hold
from sidewise.web.patients.models import Patient
from tests.safe.conftest import WHEN, Clinic, entry, make_examination

pytestmark = pytest.mark.django_db


@pytest.fixture
def ten_years(settings: Any) -> None:
    settings.KEEP_YEARS = {"patient": "10", "student": "2"}


def touch(clinic: Clinic, **more: Any) -> None:
    url = reverse("queue", args=[clinic.examination.pk])
    body = json.dumps({"entries": [entry(**more)]})
    answer = clinic.client("owner").post(url, body, content_type="application/json")
    assert answer.status_code == 200


def test_an_exported_patient_holds_record_ledger_shares_and_who_looked(clinic: Clinic) -> None:
    touch(clinic, name="t1")
    clinic.client("reader").get(reverse("patient", args=[clinic.patient.key]))
    response = clinic.client("owner").get(reverse("patient-export", args=[clinic.patient.key]))
    data = json.loads(response.content)
    (examination,) = data["examinations"]
    assert data["format"] == "sidewise-patient-export/1"
    assert [e["id"] for e in examination["entries"]][1:] == ["t1"]
    assert examination["record"]["findings"][0]["item"] == "hawkins_kennedy"
    assert {s["who"] for s in data["shared_with"]} == {"COLLEAGUE", "READER"}
    assert "reader" in {line["who"] for line in data["looked_at"]}


def test_the_exported_record_reads_as_an_examination_file(clinic: Clinic) -> None:
    from sidewise.record import Record

    touch(clinic)
    record = patient_export(clinic.patient)["examinations"][0]["record"]
    assert Record.model_validate(record).id == str(clinic.examination.pk)


def test_the_file_name_tells_no_code(clinic: Clinic) -> None:
    """ASVS 5.0.0, 5.4.1."""
    response = clinic.client("owner").get(reverse("patient-export", args=[clinic.patient.key]))
    assert "PLOVER" not in response["Content-Disposition"]
    assert response["Content-Disposition"].startswith("attachment; filename=")


def test_an_export_holds_one_patient_only(clinic: Clinic) -> None:
    other = Patient.objects.create(code="AVOCET-9", owner=clinic.owner)
    make_examination(other, clinic.owner)
    text = json.dumps(patient_export(clinic.patient))
    assert "AVOCET-9" not in text
    assert "PLOVER-2" in text


def test_a_student_takes_out_their_own_account_without_secrets(clinic: Clinic) -> None:
    data = json.loads(clinic.client("student").get(reverse("own-export")).content)
    assert data["account"]["username"] == "student"
    assert "password" not in json.dumps(data)
    assert {line["who"] for line in data["did"]} == {"student"}


def test_nothing_is_erased_while_no_retention_time_is_set(clinic: Clinic) -> None:
    with pytest.raises(UserError, match="no retention time set"):
        erasure.erase_patient(clinic.patient, "administrator")


@pytest.mark.parametrize(("days", "erased"), [(-1, False), (1, True)])
def test_a_patient_is_erased_only_after_the_retention_time(
    clinic: Clinic, ten_years: None, days: int, erased: bool
) -> None:
    now = WHEN + 10 * erasure.YEAR + timedelta(days=days)
    if not erased:
        with pytest.raises(UserError, match="a record to be kept until 2036-03-0"):
            erasure.erase_patient(clinic.patient, "administrator", now)
    else:
        erasure.erase_patient(clinic.patient, "administrator", now)
    assert Patient.objects.exists() is not erased


def test_the_last_examination_counts(clinic: Clinic, ten_years: None) -> None:
    Examination.objects.update(examined_at=timezone.now() - timedelta(days=1))
    with pytest.raises(UserError, match="a record to be kept until"):
        erasure.erase_patient(clinic.patient, "administrator", WHEN + 10 * erasure.YEAR)


def test_a_hold_stops_erasing_until_it_is_lifted(clinic: Clinic, settings: Any) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    hold = Hold.objects.create(patient=clinic.patient, reason="court 12", set_by="administrator")
    with pytest.raises(UserError, match="a legal hold"):
        erasure.erase_patient(clinic.patient, "administrator")
    hold.lifted_at = timezone.now()
    hold.save()
    erasure.erase_patient(clinic.patient, "administrator")
    assert not Patient.objects.exists()


def test_erasing_leaves_nothing_but_numbers(clinic: Clinic, settings: Any) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    touch(clinic)
    key = str(clinic.patient.key)
    erasure.erase_patient(clinic.patient, "administrator")
    assert not LedgerEntry.objects.exists()
    assert not Examination.objects.exists()
    kept = Erased.objects.get()
    assert (kept.kind, kept.number, len(kept.digest)) == ("patient", key, 64)
    assert verify({}).whole
    assert AuditLine.objects.filter(act="erased", what=f"patient:{key}").exists()
    assert "PLOVER-2" not in str(list(AuditLine.objects.values()))


def test_erasing_one_patient_leaves_the_others(clinic: Clinic, settings: Any) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    other = Patient.objects.create(code="AVOCET-9", owner=clinic.owner)
    make_examination(other, clinic.owner)
    erasure.erase_patient(clinic.patient, "administrator")
    assert Patient.objects.get().code == "AVOCET-9"
    assert LedgerEntry.objects.count() == 1


def test_a_student_is_erased_with_account_and_sessions(clinic: Clinic, settings: Any) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    client = clinic.client("student")
    erasure.erase_student(clinic.student, "administrator")
    assert not User.objects.filter(username="student").exists()
    assert client.get(reverse("today")).status_code == 302


@pytest.mark.parametrize("who", ["owner", "teacher", "administrator"])
def test_whoever_stands_in_records_is_never_erased(clinic: Clinic, settings: Any, who: str) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    with pytest.raises(UserError, match="its name stands in records"):
        erasure.erase_student(clinic.person(who), "administrator")


def test_every_table_that_names_a_person_is_known_to_export_or_to_be_no_student_data() -> None:
    """A new table of practice or marks cannot be forgotten: it says whose it is, or fails here."""
    from django.apps import apps

    not_student_data = {
        "accounts.signedin", "accounts.knowndevice", "accounts.factor", "accounts.recoverycode",
        "accounts.onetimelink", "accounts.queuekey", "accounts.identity", "patients.patient",
        "patients.share", "examinations.examination", "keeping.hold", "examinations.heldentry",
        "marks.keptsitting", "marks.sittingshare",
        # The teacher's: a class, who may see it, what is set in it, and cases written for it.
        "classes.studyclass", "classes.classshare", "classes.assignment", "practice.simulatedcase",
    }  # fmt: skip
    swept = 0
    for model in apps.get_models():
        if any(f.related_model is User for f in model._meta.concrete_fields):
            known = hasattr(model, "student_field") or model._meta.label_lower in not_student_data
            assert known, f"{model._meta.label}: say `student_field = ...` or list it here"
            swept += 1
    assert swept >= 12


def ask(clinic: Clinic, **data: str) -> Any:
    return clinic.client("administrator").post(reverse("keeping"), data)


def test_the_administrator_sets_and_lifts_a_hold_on_the_page(clinic: Clinic) -> None:
    ask(clinic, deed="hold", kind="patient", name="PLOVER-2", reason="court 12")
    hold = Hold.objects.get()
    assert (hold.patient, hold.set_by) == (clinic.patient, "administrator")
    page = clinic.client("administrator").get(reverse("keeping")).content.decode()
    assert "court 12" in page
    ask(clinic, deed="lift", hold=str(hold.pk))
    assert not Hold.objects.filter(lifted_at=None).exists()


def test_erasing_on_the_page_asks_for_the_name_twice(clinic: Clinic, settings: Any) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    about = {"deed": "erase", "kind": "patient", "name": "PLOVER-2"}
    assert ask(clinic, **about, again="PLOVER-3").status_code == 422
    assert Patient.objects.exists()
    assert ask(clinic, **about, again="PLOVER-2").status_code == 200
    assert not Patient.objects.exists()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"deed": "hold", "kind": "patient", "name": "NOBODY"}, "the code of a patient"),
        ({"deed": "hold", "kind": "patient", "name": "PLOVER-2"}, "a reason"),
        ({"deed": "burn", "kind": "patient", "name": "PLOVER-2"}, "hold, lift or erase"),
        ({"deed": "erase", "kind": "student", "name": "owner", "again": "owner"}, "a student"),
    ],
)
def test_a_wrong_request_is_told_what_was_expected(
    clinic: Clinic, data: dict[str, str], words: str
) -> None:
    response = ask(clinic, **data)
    assert response.status_code == 422
    assert words in response.content.decode()


def test_the_digest_is_of_what_was_exported(clinic: Clinic, settings: Any) -> None:
    import hashlib

    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    text = json.dumps(student_export(clinic.student), sort_keys=True, default=str)
    done = erasure.erase_student(clinic.student, "administrator")
    assert done.digest == hashlib.sha256(text.encode()).hexdigest()
