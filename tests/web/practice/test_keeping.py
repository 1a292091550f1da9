"""Classes and practice are bound, backed up, exported, held and erased as records are."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.web.audit.chain import verify
from sidewise.web.classes import store as classes
from sidewise.web.classes.models import (
    Assignment,
    ClassMember,
    ClassShare,
    JoinCode,
    StudyClass,
    Work,
)
from sidewise.web.keeping import content, erasure
from sidewise.web.keeping.models import Erased, Hold
from sidewise.web.keeping.tables import kept_models, row_of, rows
from sidewise.web.practice.models import PracticeAttempt, PracticeStep, SimulatedCase

LATER = timezone.now() + timedelta(days=4 * 366)
TABLES = (StudyClass, ClassShare, ClassMember, JoinCode, Assignment, Work, SimulatedCase,
          PracticeAttempt, PracticeStep)  # fmt: skip


@pytest.fixture
def practised(school):
    """A row in every table: a case that was set is begun, with a step; a code was made."""
    one = school.set_case()
    classes.make_codes(school.study_class, 1, "")
    client = school.client("student")
    from tests.web.practice.school import Room

    school.room = Room(client, client.post(f"/practice/set/{one.key}/")["Location"])
    school.room.step("ask onset")
    return school


def differences():
    verdict = verify()
    assert verdict.whole
    return [(d.kind, d.what) for d in content.differences(verdict, "default")
            if d.kind.split(".")[0] in ("classes", "practice")]  # fmt: skip


def test_every_table_is_bound_by_the_audit_and_has_a_row_here(practised):
    bound = set(content.bound_models(content.apps))
    assert set(TABLES) <= bound
    assert all(model.objects.exists() for model in TABLES)
    assert differences() == []


@pytest.mark.parametrize(
    ("model", "change"),
    [(PracticeAttempt, "outcome = '{\"steps\": 9}'"), (SimulatedCase, "title = 'x'"),
     (ClassMember, "\"group\" = 'x'"), (Work, "done_at = begun_at"), (Assignment, "title = 'x'"),
     (JoinCode, "\"group\" = 'x'"), (StudyClass, "title = 'x'"),
     (ClassShare, "may_write = (1 = 1)")],
)  # fmt: skip
def test_what_is_changed_past_the_program_is_named(practised, model, change):
    key = model.objects.order_by("-pk").first().pk
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE {model._meta.db_table} SET {change} WHERE id = {key}")
    assert (model._meta.label_lower, "a changed content") in differences()


@pytest.mark.parametrize("sql", ["UPDATE {} SET number = 9", "DELETE FROM {}"])
def test_the_database_itself_keeps_a_step_as_it_was_taken(practised, sql):
    refused = pytest.raises(DatabaseError, match="append-only")
    with refused, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql.format(PracticeStep._meta.db_table))


def test_every_row_goes_into_a_backup_and_comes_back_the_same(practised):
    from django.apps import apps

    kept = kept_models(apps)
    for model in TABLES:
        assert model in kept
        lines = list(rows(model, "default"))
        assert lines
        assert [rows_again(model, line) for line in lines] == lines


def rows_again(model, line):
    from sidewise.web.audit.rows import row_line

    return row_line(row_of(model, line))


def test_a_students_own_export_holds_their_practice_and_nobody_elses(practised):
    practised.begin("other")
    mine = practised.client("student").get(reverse("own-export")).json()["tables"]
    assert len(mine["practice.practiceattempt"]) == 1
    assert [step["number"] for step in mine["practice.practicestep"]] == [1]
    assert len(mine["classes.classmember"]) == len(mine["classes.work"]) == 1
    assert "truth" not in json.dumps(mine)


def test_a_student_erases_a_case_of_their_own_and_the_note_of_work_stays(practised):
    room = practised.room
    key = room.row.key
    address = f"/account/practice/{key}/erase/"
    assert room.client.get(address).status_code == 200
    assert PracticeAttempt.objects.count() == 1
    assert room.client.post(address)["Location"] == "/practice/"
    assert PracticeAttempt.objects.count() == PracticeStep.objects.count() == 0
    assert Work.objects.count() == 1
    assert (Erased.objects.get().kind, Erased.objects.get().number) == ("attempt", str(key))
    assert differences() == []


@pytest.mark.parametrize("who", ["other", "owner", "administrator", "clinician"])
def test_nobody_else_erases_it(practised, who):
    address = f"/account/practice/{practised.room.row.key}/erase/"
    assert practised.client(who).post(address).status_code == 404
    assert PracticeAttempt.objects.count() == 1


def test_a_hold_keeps_a_students_practice(practised):
    Hold.objects.create(person=practised.student, reason="appeal 4", set_by="admin")
    answer = practised.room.client.post(f"/account/practice/{practised.room.row.key}/erase/")
    assert answer.status_code == 422
    assert "a legal hold" in answer.content.decode()
    assert PracticeAttempt.objects.count() == 1


def test_an_erased_student_takes_their_practice_along(practised, settings):
    settings.KEEP_YEARS = {"patient": "", "student": "3"}
    with pytest.raises(UserError, match="to be kept until"):
        erasure.erase_student(practised.student, "admin")
    erasure.erase_student(practised.student, "admin", LATER)
    for model in (PracticeAttempt, PracticeStep, Work):
        assert model.objects.count() == 0
    assert practised.study_class.members.count() == 0
    assert differences() == []


def test_what_a_student_erased_is_erased_again_after_a_restore(practised):
    from sidewise.web.home import home

    path = home() / "erased"
    before = path.read_text() if path.exists() else None
    try:
        path.write_text(f"attempt {practised.room.row.key}\n")
        assert erasure.erase_again() == 1
        assert erasure.erase_again() == 0
    finally:
        path.unlink()
        if before is not None:
            path.write_text(before)
    assert PracticeAttempt.objects.count() == 0
    assert differences() == []
