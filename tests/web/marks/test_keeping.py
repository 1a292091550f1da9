"""Marks are held, exported, erased, backed up and bound into the audit as records are."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.web.audit.chain import verify
from sidewise.web.keeping import content, erasure
from sidewise.web.keeping.export import student_export
from sidewise.web.keeping.models import Erased, Hold
from sidewise.web.marks import store
from sidewise.web.marks.models import (
    KeptSitting,
    MarksSheet,
    Settlement,
    SheetRows,
    SittingShare,
    SittingStudent,
)
from tests.web.marks.room import long_sheet, shown

LATER = timezone.now() + timedelta(days=4 * 366)
TABLES = (KeptSitting, SittingShare, SittingStudent, MarksSheet, SheetRows, Settlement)


@pytest.fixture
def three_years(settings):
    settings.KEEP_YEARS = {"patient": "", "student": "3"}


@pytest.fixture
def tied(room):
    """The account of S01 was said to be that student's."""
    assert store.tie_accounts(room.sitting) == 1
    return room


def _differences():
    verdict = verify()
    assert verdict.whole
    return [(d.kind, d.what) for d in content.differences(verdict, "default")
            if d.kind.startswith("marks.")]  # fmt: skip


def test_every_table_of_marks_is_bound_by_the_audit(room):
    bound = {model._meta.label_lower for model in content.bound_models(content.apps)}
    assert {model._meta.label_lower for model in TABLES} <= bound
    assert _differences() == []


@pytest.mark.parametrize(
    ("table", "change", "what"),
    [
        ("marks_sheetrows", "UPDATE {} SET rows = '[]' WHERE id = {}", "a changed content"),
        ("marks_keptsitting", "UPDATE {} SET title = 'other' WHERE id = {}", "a changed content"),
        ("marks_sittingshare", "DELETE FROM {} WHERE id = {}", "nothing: it was taken out"),
        ("marks_sittingstudent", "UPDATE {} SET code = 'S99' WHERE id = {}", "a changed content"),
        ("marks_markssheet", "UPDATE {} SET frame = '[]' WHERE id = {}", "a changed content"),
    ],
)
def test_what_is_changed_past_the_program_is_named(room, table, change, what):
    (model,) = (m for m in TABLES if m._meta.db_table == table)
    with connection.cursor() as cursor:
        cursor.execute(change.format(table, model.objects.first().pk))
    assert (model._meta.label_lower, what) in _differences()


def test_a_code_is_an_account_only_when_a_teacher_says_so(room):
    assert room.sitting.students.exclude(account=None).count() == 0
    assert room.student.signs_as == "S01"
    client = room.client("owner")
    assert "S01" in client.get(f"{room.address}accounts/").content.decode()
    client.post(f"{room.address}accounts/", {"tie": "1"})
    assert room.sitting.students.get(account=room.student).code == "S01"
    client.post(f"{room.address}accounts/", {"untie": "1"})
    assert room.sitting.students.exclude(account=None).count() == 0


def test_the_whole_export_of_a_student_holds_their_rows_and_nobody_elses(tied):
    found = student_export(tied.student)["tables"]
    (rows,) = found["marks.sheetrows"]
    assert [cells[0] for _, cells in rows["rows"]] == ["S01"] * 4
    assert [s["code"] for s in found["marks.sittingstudent"]] == ["S01"]


def test_a_students_erasure_takes_their_rows_of_every_table_and_leaves_the_others(
    tied, three_years
):
    tied.client("owner").get("/marks/")
    before = store.grid_of(store.latest_sheet(tied.sitting)).rows
    erasure.erase_student(tied.student, "admin", LATER)
    sheet = store.latest_sheet(tied.sitting)
    now = store.grid_of(sheet).rows
    assert store.erased_rows(sheet) == 4
    assert [row[0] for row in now[1:5]] == [""] * 4
    assert now[5:] == before[5:]
    assert not tied.sitting.students.filter(code="S01").exists()
    assert _differences() == []


def test_the_results_after_an_erasure_are_those_of_what_is_left_and_say_so(tied, three_years):
    client = tied.client("owner")
    before = shown(client, tied.address).context["printed"]
    erasure.erase_student(tied.student, "admin", LATER)
    page = shown(client, tied.address)
    assert "4 rows of this table were erased" in page.content.decode()
    assert len(page.context["printed"].decisions) == len(before.decisions) - 1
    assert "S01" not in page.content.decode()


def test_a_students_marks_are_kept_for_the_time_counted_from_the_last_table(tied, settings):
    settings.KEEP_YEARS = {"patient": "", "student": "3"}
    tied.student.last_login = timezone.now() - timedelta(days=4000)
    tied.student.save()
    with pytest.raises(UserError, match="to be kept until"):
        erasure.erase_student(tied.student, "admin")
    assert tied.sitting.students.filter(code="S01").exists()


def test_a_hold_on_a_sitting_holds_each_of_its_students_and_the_other_way(tied, three_years):
    hold = Hold.objects.create(sitting=tied.sitting, reason="appeal 4", set_by="admin")
    for erase in (
        lambda: erasure.erase_student(tied.student, "admin", LATER),
        lambda: erasure.erase_sitting(tied.sitting, "admin", LATER),
        lambda: erasure.erase_sitting_student(tied.sitting.students.first(), "admin", LATER),
    ):
        with pytest.raises(UserError, match="hold"):
            erase()
    hold.delete()
    Hold.objects.create(person=tied.student, reason="appeal 5", set_by="admin")
    with pytest.raises(UserError, match="hold"):
        erasure.erase_sitting(tied.sitting, "admin", LATER)
    row = tied.sitting.students.get(code="S01")
    with pytest.raises(UserError, match="hold"):
        erasure.erase_sitting_student(row, "admin", LATER)
    assert KeptSitting.objects.count() == 1


def test_a_sitting_is_erased_whole_after_its_time_and_noted_by_its_key(room, three_years):
    other = room.bring(long_sheet(), "another")
    with pytest.raises(UserError, match="to be kept until"):
        erasure.erase_sitting(room.sitting, "admin")
    key = room.sitting.key
    erasure.erase_sitting(room.sitting, "admin", LATER)
    assert list(KeptSitting.objects.all()) == [other]
    assert not Settlement.objects.exclude(sitting=other).exists()
    assert SheetRows.objects.exclude(sheet__sitting=other).count() == 0
    assert Erased.objects.get().number == str(key)
    assert _differences() == []


def test_one_student_without_an_account_is_erased_from_a_sitting(room, three_years):
    row = room.sitting.students.get(code="S05")
    erasure.erase_sitting_student(row, "admin", LATER)
    assert store.erased_rows(store.latest_sheet(room.sitting)) == 4
    assert room.sitting.students.count() == 11
    assert Erased.objects.get().kind == "sitting-student"


def test_what_was_erased_is_erased_again_after_a_restore(room, three_years, settings):
    from sidewise.web.home import home

    row = room.sitting.students.get(code="S05")
    path = home() / "erased"
    before = path.read_text() if path.exists() else None
    try:
        path.write_text(f"sitting-student {row.pk}\nsitting {room.sitting.key}\n")
        assert erasure.erase_again() == 2
    finally:
        path.unlink()
        if before is not None:
            path.write_text(before)
    assert KeptSitting.objects.count() == 0
    assert _differences() == []


def test_the_administrator_names_a_sitting_by_owner_and_title_and_sees_no_mark(room, settings):
    settings.KEEP_YEARS = {"patient": "", "student": "0"}
    client = room.client("administrator")
    session = client.session
    session["confirmed"] = timezone.now().timestamp()
    session.save()
    name = "teacher: teaching week"
    held = client.post("/keeping/", {"deed": "hold", "kind": "sitting", "name": name,
                                     "reason": "appeal 4"})  # fmt: skip
    assert "The hold is in force." in held.content.decode()
    assert f"sitting {name}" in held.content.decode()
    erase = {"deed": "erase", "kind": "sitting", "name": name, "again": name}
    assert client.post("/keeping/", erase).status_code == 422
    client.post("/keeping/", {"deed": "lift", "hold": Hold.objects.get().pk})
    one = {**erase, "kind": "sitting-student", "name": f"{name}: S05", "again": f"{name}: S05"}
    assert "Erased." in client.post("/keeping/", one).content.decode()
    assert room.sitting.students.count() == 11
    assert "Erased." in client.post("/keeping/", erase).content.decode()
    assert KeptSitting.objects.count() == 0


def test_a_title_that_was_given_twice_is_not_guessed(room, settings):
    room.bring(long_sheet(), "teaching week")
    client = room.client("administrator")
    session = client.session
    session["confirmed"] = timezone.now().timestamp()
    session.save()
    answer = client.post("/keeping/", {"deed": "hold", "kind": "sitting", "reason": "appeal",
                                       "name": "teacher: teaching week"})  # fmt: skip
    assert answer.status_code == 422
    assert "a title given twice" in answer.content.decode()
