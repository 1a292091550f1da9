"""The audit: every read and write leaves a line, none can be changed, nothing found is in it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sidewise.web.audit import anchors
from sidewise.web.audit.chain import verify
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.models import AuditLine
from sidewise.web.examinations.models import LedgerEntry
from sidewise.web.keeping import guard
from sidewise.web.keeping.guard import erasing
from tests.safe.conftest import Clinic, entry
from tests.safe.test_access import arguments, views

pytestmark = pytest.mark.django_db


def lines(number: int = 6) -> None:
    for step in range(number):
        write(Act.READ, f"examination:{step}", who="dunlin", role="clinician")


def tamper(sql: str, *values: Any) -> None:
    """Change the chain behind the program's back: the guards are taken away first."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("ALTER TABLE audit_auditline DISABLE TRIGGER USER")
        else:
            cursor.execute("DROP TRIGGER keep_audit_auditline_update")
            cursor.execute("DROP TRIGGER keep_audit_auditline_delete")
        cursor.execute(sql, values)


def test_an_untouched_chain_is_whole() -> None:
    lines()
    verdict = verify({})
    assert verdict.whole
    assert verdict.lines == 6


@pytest.mark.parametrize("column", ["who", "role", "act", "what", "origin", "seal"])
def test_a_changed_field_breaks_the_chain_at_its_line(column: str) -> None:
    lines()
    tamper(f"UPDATE audit_auditline SET {column} = 'x' WHERE number = 3")
    assert verify({}).broken == "line 3 was changed"


def test_a_changed_time_breaks_the_chain() -> None:
    lines()
    tamper("UPDATE audit_auditline SET at = '2026-03-02 09:40:00+00:00' WHERE number = 2")
    assert verify({}).broken == "line 2 was changed"


def test_a_line_taken_out_is_missed() -> None:
    lines()
    tamper("DELETE FROM audit_auditline WHERE number = 4")
    assert verify({}).broken == "line 4 is missing"


def test_a_line_taken_out_and_the_rest_renumbered_is_missed() -> None:
    lines()
    tamper("DELETE FROM audit_auditline WHERE number = 4")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE audit_auditline SET number = number - 1 WHERE number > 4")
    assert verify({}).broken == "line 4 was changed"


def test_two_lines_changed_about_are_missed() -> None:
    lines()
    tamper("UPDATE audit_auditline SET number = number + 100 WHERE number IN (2, 3)")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE audit_auditline SET number = 2 WHERE number = 103")
        cursor.execute("UPDATE audit_auditline SET number = 3 WHERE number = 102")
    assert verify({}).broken == "line 2 was changed"


def test_a_cut_off_end_is_missed_by_the_seals_noted_outside() -> None:
    lines()
    noted = {6: AuditLine.objects.get(number=6).seal}
    tamper("DELETE FROM audit_auditline WHERE number > 4")
    assert verify({}).whole
    assert verify(noted).broken == "lines after 4 are missing"


def test_a_rewritten_chain_is_missed_by_the_seals_noted_outside() -> None:
    lines()
    noted = {3: AuditLine.objects.get(number=3).seal}
    tamper("DELETE FROM audit_auditline")
    lines()
    assert verify({}).whole
    assert verify(noted).broken == "line 3 is not the one noted outside"


def test_every_hundredth_seal_is_noted_outside(django_capture_on_commit_callbacks: Any) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        lines(anchors.EVERY)
    last = AuditLine.objects.get(number=anchors.EVERY)
    assert anchors.noted()[anchors.EVERY] == last.seal
    anchors.path().unlink()


@pytest.mark.parametrize("model", [AuditLine, LedgerEntry])
@pytest.mark.parametrize("deed", ["update", "delete"])
def test_the_database_refuses_to_change_what_is_append_only(
    clinic: Clinic, model: Any, deed: str
) -> None:
    lines(1)
    rows = model.objects.all()
    act: Callable[[], Any] = rows.delete if deed == "delete" else lambda: rows.update(id=1000)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        act()


@pytest.mark.parametrize("model", [AuditLine, LedgerEntry])
def test_even_while_erasing_a_line_is_never_changed(clinic: Clinic, model: Any) -> None:
    lines(1)
    with pytest.raises(DatabaseError, match="append-only"), erasing("everything"):
        model.objects.update(id=1000)


def test_erasing_a_record_does_not_open_the_audit(clinic: Clinic) -> None:
    with pytest.raises(DatabaseError, match="append-only"), erasing("ledger"):
        AuditLine.objects.all().delete()


def test_after_erasing_the_guard_stands_again(clinic: Clinic) -> None:
    with erasing("ledger"):
        pass
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        LedgerEntry.objects.all().delete()


def test_a_missing_guard_is_found() -> None:
    assert guard.missing() == []
    tamper("SELECT 1")
    if connection.vendor == "sqlite":
        assert guard.missing() == ["audit_auditline"]
    guard.put_in_place()
    assert guard.missing() == []


def test_a_shell_on_the_file_is_refused_too(tmp_path: Path) -> None:
    """A connection that is not ours lacks the function that the guard asks."""
    shell = sqlite3.connect(tmp_path / "copy.sqlite3")
    shell.execute("CREATE TABLE audit_auditline (number)")
    shell.execute("INSERT INTO audit_auditline VALUES (1)")
    shell.executescript(guard.SQLITE.format(table="audit_auditline", name="audit"))
    with pytest.raises(sqlite3.Error, match="sidewise_erasing"):
        shell.execute("DELETE FROM audit_auditline")
    with pytest.raises(sqlite3.Error, match="append-only"):
        shell.execute("UPDATE audit_auditline SET number = 2")
    shell.close()


def test_every_view_of_a_record_leaves_a_line(clinic: Clinic) -> None:
    """Swept from the addresses, so that a new view cannot be forgotten."""
    client, swept = clinic.client("owner"), 0
    for name, names in sorted({(n, tuple(a)) for n, a in views()}):
        # Every open page asks "since" every few seconds; it tells only how many entries there are.
        if not {"pk", "key"} & set(names) or name == "since":
            continue
        url = reverse(name, kwargs=arguments(list(names), clinic))
        for method in (client.get, client.post):
            with transaction.atomic():
                before = AuditLine.objects.count()
                if method(url).status_code != 405:
                    written = AuditLine.objects.order_by("-number")[: 1 + (before == 0)]
                    assert AuditLine.objects.count() > before, (name, method)
                    assert all(line.who == "owner" for line in written)
                    swept += 1
                transaction.set_rollback(True)
    assert swept >= 30


def test_a_refused_look_leaves_a_line(clinic: Clinic) -> None:
    """ASVS 5.0.0, 16.3.2."""
    clinic.client("stranger").get(reverse("examination", args=[clinic.examination.pk]))
    line = AuditLine.objects.last()
    assert (line.who, line.act, line.what) == (
        "stranger", "refused", f"examination:{clinic.examination.pk}",
    )  # fmt: skip


def test_a_write_and_its_line_are_kept_together_or_not_at_all(
    clinic: Clinic, monkeypatch: Any
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise DatabaseError("no audit")

    monkeypatch.setattr("sidewise.web.examinations.store.write", broken)
    before = LedgerEntry.objects.count()
    url = reverse("queue", args=[clinic.examination.pk])
    body = json.dumps({"entries": [entry()]})
    answer = clinic.client("owner").post(url, body, content_type="application/json")
    assert answer.status_code == 500
    assert LedgerEntry.objects.count() == before


def test_an_answer_that_cannot_be_noted_is_not_given(clinic: Clinic, monkeypatch: Any) -> None:
    """ASVS 5.0.0, 16.5.3: fail closed."""

    def broken(*_: object, **__: object) -> None:
        raise DatabaseError("no audit")

    client = clinic.client("owner")
    monkeypatch.setattr("sidewise.web.audit.watch.write", broken)
    answer = client.get(reverse("patient", args=[clinic.patient.key]))
    assert answer.status_code == 500
    assert b"PLOVER-2" not in answer.content


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(what=st.text(min_size=1, max_size=200))
def test_a_line_names_a_thing_by_its_number_only(what: str) -> None:
    import re

    if re.fullmatch(r"[a-z-]{1,40}(:[A-Za-z0-9-]{1,40}(/[A-Za-z0-9-]{1,40})?)?", what):
        return
    with pytest.raises(ValueError, match="by its number only"):
        write(Act.READ, what)


def test_neither_code_nor_finding_nor_word_stands_in_audit_or_log(
    clinic: Clinic, caplog: Any
) -> None:
    """A value nobody would guess goes through every door and turns up in the ledger alone."""
    client, pk = clinic.client("owner"), clinic.examination.pk
    touch = entry(result="positive")
    touch["deed"]["finding"]["note"] = "zanzibarite"
    body = json.dumps({"entries": [touch]})
    with caplog.at_level("DEBUG"):
        client.post(reverse("queue", args=[pk]), body, content_type="application/json")
        client.post(reverse("touch", args=[pk]), body, content_type="application/json")
        client.post(reverse("patients"), {"code": "zanzibarite"})
        client.get(reverse("patient", args=[clinic.patient.key]))
        client.get(reverse("patient-export", args=[clinic.patient.key]))
    assert "zanzibarite" in str(LedgerEntry.objects.values_list("deed"))
    audit = str(list(AuditLine.objects.values()))
    for word in ("zanzibarite", "PLOVER", "positive", "hawkins"):
        assert word not in audit
    assert "zanzibarite" not in caplog.text
    assert "PLOVER" not in caplog.text


def test_no_address_takes_a_code_or_a_finding() -> None:
    """Addresses hold random keys, numbers, and names of items and stages; nothing else.

    Those of the anatomy hold names of the shipped atlas: a region, a file's digest and a sheet;
    those of marks hold the random key of a sitting, and the name of a kind of file; those of
    classes and practice the random key of a class, of a case, of what is set and of an attempt;
    those of papers the name of a kind of paper; those of students at patients the random key of a
    visit.
    """
    allowed = {"pk", "key", "other", "user_id", "session_id", "stage", "item", "token", "number"}
    allowed |= {"sitting", "study_class", "assignment", "attempt", "visit", "case"}
    named = {
        "anatomy-of": {"region_id"},
        "sheet": {"region_id", "digest", "name"},
        "marks-template": {"kind"},
        "marks-file": {"sitting", "number", "what"},
        "print-paper": {"pk", "paper"},
    }
    swept = 0
    for name, names in views():
        assert set(names) <= named.get(name, allowed), name
        swept += 1
    assert swept >= 40


def test_the_administrators_page_looks_by_name_and_verifies(clinic: Clinic) -> None:
    lines()
    client = clinic.client("administrator")
    page = client.post(reverse("audit"), {"who": "dunlin", "verify": "1"}).content.decode()
    assert page.count("<td>dunlin</td>") == 6
    assert "The chain is whole" in page


def test_reading_the_audit_leaves_a_line_too(clinic: Clinic) -> None:
    clinic.client("administrator").get(reverse("audit"))
    line = AuditLine.objects.last()
    assert (line.who, line.act, line.what) == ("administrator", "read", "audit")
