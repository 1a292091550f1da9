"""Settling, moderating and replacing make versions; what held before stays readable."""

from __future__ import annotations

import json
import zipfile
from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, transaction

from sidewise.web.marks import analysis, store
from sidewise.web.marks.models import Settlement
from tests.web.marks.room import filled, finish, long_sheet, shown, told, wide_sheet


def _rule(room, who="owner", **changes):
    client = room.client(who)
    address = f"{room.address}rules/"
    return client.post(address, filled(client.get(address), **changes))


def test_a_moderation_needs_a_reason(room):
    answer = _rule(room, without=["power"])
    assert answer.status_code == 422
    assert "reason" in answer.context["form"].errors
    assert room.sitting.settlements.count() == 1


def test_a_station_left_out_is_a_version_that_says_who_why_and_what_changed(room):
    assert _rule(room, "colleague", without=["power"], reason="model broke").status_code == 302
    assert (room.latest.number, room.latest.by) == (2, "COLLEAGUE")
    assert room.latest.answers["without"] == ["power"]
    page = shown(room.client("reader"), room.address)
    text = page.content.decode()
    assert "Version 2, settled" in text
    assert "by COLLEAGUE: model broke." in text
    assert "What this version changed" in text
    assert "Pass mark" in page.context["printed"].changes[0]
    report = shown(room.client("reader"), f"{room.address}versions/2/report/").content.decode()
    assert "Changed before the decisions by COLLEAGUE: station power left out." in report
    assert "as settled in version 2" in report


def test_every_decision_that_changed_is_named(room):
    _rule(room, pass_mark="60", method="carried forward", reason="agreed by the board")
    printed = shown(room.client("owner"), room.address).context["printed"]
    before = shown(room.client("owner"), f"{room.address}versions/1/").context["printed"]
    then = {row[0]: row[4] for row in before.decisions}
    now = {row[0]: row[4] for row in printed.decisions}
    moved = {(c.student, c.before, c.after) for c in printed.changed}
    assert moved == {(s, then[s], now[s]) for s in then if then[s] != now[s]}
    assert len(moved) >= 2


def test_the_version_before_stays_readable_and_says_the_same(room):
    client = room.client("owner")
    before = shown(client, f"{room.address}versions/1/report/").context["markup"]
    _rule(room, critical="fail", reason="local rule")
    assert shown(client, f"{room.address}versions/1/report/").context["markup"] == before
    text = shown(client, f"{room.address}versions/1/").content.decode()
    assert "This is an earlier version." in text


def test_a_rule_that_cannot_hold_is_told_in_parts_and_changes_nothing(room):
    for changes in ({"pass_mark": "140"}, {"add_sem": "many"}, {"method": "hofstee"},
                    {"look_again": "0.9"}, {"leave_out": "900"},
                    {"stations_to_pass": "-2"}, {"recall": "-1"}, {"recall": "some"}):  # fmt: skip
        answer = _rule(room, **changes, reason="a try")
        assert answer.status_code == 422, changes
        assert told(answer), changes
    assert room.sitting.settlements.count() == 1


def test_more_stations_for_those_near_the_mark_are_forecast_and_decide_nothing(room):
    client = room.client("owner")
    before = shown(client, f"{room.address}versions/1/").context["printed"]
    assert "more stations;" not in " ".join(before.paragraphs)
    assert _rule(room, recall="4", reason="the board wants to know").status_code == 302
    page = shown(client, f"{room.address}versions/2/decisions/")
    assert "for 4 more stations; about" in page.content.decode()
    assert page.context["printed"].decisions == before.decisions


def test_answers_of_somebody_who_has_not_seen_the_newest_version_are_refused(room):
    client = room.client("owner")
    address = f"{room.address}rules/"
    old = filled(client.get(address), critical="fail", reason="first")
    _rule(room, "colleague", critical="fail", reason="colleague was quicker")
    answer = client.post(address, {**old, "reason": "late"})
    assert answer.status_code == 422
    assert "somebody else settled" in told(answer)[0]["got"]
    assert [s.reason for s in room.sitting.settlements.all()] == [
        "nothing was asked", "colleague was quicker"
    ]  # fmt: skip


def test_another_table_keeps_the_old_one_readable_and_the_rules_in_force(room):
    _rule(room, critical="fail", without=["power"], reason="local rule")
    client = room.client("owner")
    sent = {"sheet": SimpleUploadedFile("second.csv", long_sheet(14)), "reason": "two more came"}
    assert client.post(f"{room.address}replace/", sent).status_code == 302
    assert [s.number for s in room.sitting.sheets.all()] == [1, 2]
    # Rules go on; what was moderated in the other table is decided anew.
    assert room.latest.answers == {"critical": "fail", "method": "borderline regression"}
    assert room.latest.reason == "two more came"
    first = client.get(f"{room.address}tables/1/file/").content.decode()
    assert first == long_sheet().decode()
    page = shown(client, room.address)
    assert page.context["version"].sheet.number == 2
    assert {c.student for c in page.context["printed"].changed} >= {"S13", "S14"}


def test_a_table_in_another_layout_waits_to_be_settled_and_the_old_version_is_still_there(room):
    client = room.client("owner")
    sent = {"sheet": SimpleUploadedFile("messy.csv", wide_sheet()), "reason": "as kept"}
    assert client.post(f"{room.address}replace/", sent).status_code == 302
    page = client.get(room.address, follow=True)
    assert page.redirect_chain[-1][0].endswith("/settle/")
    assert shown(client, f"{room.address}versions/1/").status_code == 200
    # Rules of a table that is not settled cannot be changed.
    assert client.get(f"{room.address}rules/").status_code == 302
    data = filled(client.get(f"{room.address}settle/"))
    assert client.post(f"{room.address}settle/", data).status_code == 422
    assert client.post(f"{room.address}settle/", {**data, "reason": "right"}).status_code == 302
    assert room.latest.number == 2


def test_a_bad_table_does_not_take_the_place_of_the_one_in_force(room):
    client = room.client("owner")
    bad = long_sheet(cells={(1, "look"): "25"})
    sent = {"sheet": SimpleUploadedFile("bad.csv", bad), "reason": "corrected"}
    answer = client.post(f"{room.address}replace/", sent)
    assert answer.status_code == 422
    assert told(answer)[0]["where"] == "bad.csv: row 2, mark"
    assert room.sitting.sheets.count() == 1


def test_where_another_column_names_the_students_rows_go_to_whom_it_names(room):
    lines = wide_sheet().decode().splitlines()
    two = [f"{line},{'Number' if n == 2 else f'N{n}' if 4 <= n <= 15 else ''}"
           for n, line in enumerate(lines)]  # fmt: skip
    sitting, client = room.bring("\n".join(two).encode(), "two codes"), room.client("owner")
    address = f"/marks/{sitting.key}/settle/"
    data = filled(client.get(address))
    assert client.post(address, data).status_code == 302
    sheet = store.latest_sheet(sitting)
    before = store.grid_of(sheet)
    assert sitting.students.filter(code="S01").exists()
    again = filled(client.get(address), **{"role-student": "Number", "reason": "other codes"})
    assert client.post(address, again).status_code == 302
    assert set(sitting.students.values_list("code", flat=True)) == {f"N{n}" for n in range(4, 16)}
    assert store.grid_of(store.latest_sheet(sitting)) == before


def test_the_database_refuses_to_change_or_delete_a_version(room):
    rows = Settlement.objects.filter(pk=room.latest.pk)
    for act in (lambda: rows.update(reason="other"), rows.delete):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            act()
    assert room.latest.reason == "nothing was asked"


def test_the_log_names_every_version_and_every_table(room):
    _rule(room, critical="fail", reason="local rule")
    text = room.client("reader").get(f"{room.address}log/").content.decode()
    assert text.index("Version 2") < text.index("Version 1")
    assert "<code>--critical</code></dt><dd>fail</dd>" in text
    assert "Table 1: week.csv" in text


def test_the_files_say_what_the_pages_say(room):
    client = room.client("owner")
    printed = shown(client, room.address).context["printed"]
    base = f"{room.address}versions/1/file/"
    lines = client.get(f"{base}decisions/").content.decode().splitlines()
    assert len(lines) == 13
    assert lines[1].startswith("S01,")
    data = json.loads(client.get(f"{base}data/").content)
    assert data["students"] == len(data["results"]) == 12
    with zipfile.ZipFile(BytesIO(client.get(f"{base}letters/").content)) as archive:
        names = archive.namelist()
        assert len(names) == len(printed.letters) == 19
        assert archive.read("students/S01.txt").decode().startswith("To student S01")
    page = client.get(f"{base}report/").content.decode()
    assert page.startswith("<!doctype html>")
    assert "Rests on table 1 (week.csv" in page
    assert client.get(f"{base}other/").status_code == 404


def test_a_cell_that_a_spreadsheet_would_run_is_set_off(room):
    data = long_sheet().decode().replace("S03", "=1+1").encode()
    sitting, client = room.bring(data, "formula"), room.client("owner")
    address = f"/marks/{sitting.key}/"
    kept = client.get(f"{address}tables/1/file/").content.decode()
    shown(client, address)
    told_ = client.get(f"{address}versions/1/file/decisions/").content.decode()
    for text in (kept, told_):
        assert "\n'=1+1," in text
        assert "\n=1+1" not in text


def test_a_template_is_there_as_text_and_as_workbook(room):
    client = room.client("owner")
    text = client.get("/marks/template/csv/").content.decode()
    assert text.startswith("student,station,examiner,mark,maximum")
    assert client.get("/marks/template/xlsx/").content.startswith(b"PK")
    assert client.get("/marks/template/pdf/").status_code == 404


def test_an_analysis_that_cannot_be_done_says_why_and_keeps_the_table(room):
    _rule(room, without=["look", "feel", "move", "power"], reason="all of them")
    answer = shown(room.client("owner"), room.address)
    assert answer.status_code == 422
    assert told(answer)[0]["where"]
    assert "The table and the answers are kept." in answer.content.decode()


def test_an_analysis_is_worked_out_once_for_a_table_and_its_answers(room, monkeypatch):
    from sidewise.teaching.report import marks_apart

    asked = []
    real = marks_apart.print_apart
    monkeypatch.setattr(
        marks_apart, "print_apart", lambda *given: asked.append(given) or real(*given)
    )
    for part in ("", "versions/1/", "versions/1/report/", "versions/1/letters/"):
        shown(room.client("owner"), room.address + part)
    assert len(asked) == 1


def test_a_page_that_waits_says_so_and_shows_itself_when_it_is_done(room, monkeypatch):
    from threading import Event

    from sidewise.teaching.report import marks_apart

    go, real = Event(), marks_apart.print_apart

    def slow(*given):
        go.wait(20)
        return real(*given)

    monkeypatch.setattr(marks_apart, "print_apart", slow)
    monkeypatch.setattr(analysis, "SOON_S", 0.0)
    client = room.client("owner")
    answer = client.get(room.address)
    assert answer.status_code == 202
    assert "being worked out" in answer.content.decode()
    part = client.get(room.address, HTTP_HX_REQUEST="true")
    assert part.status_code == 202
    assert b"<html" not in part.content
    go.set()
    finish()
    assert client.get(room.address, HTTP_HX_REQUEST="true")["HX-Redirect"] == room.address
    assert client.get(room.address).status_code == 200


def test_only_so_many_analyses_wait(room, monkeypatch):
    monkeypatch.setattr(analysis, "MOST_WAITING", 0)
    answer = room.client("owner").get(room.address)
    assert answer.status_code == 202
    assert "has not begun yet" in answer.content.decode()


def test_a_process_that_is_lost_is_said_and_the_table_is_kept(room, monkeypatch, caplog):
    from sidewise.teaching.report import marks_apart

    def lost(*given):
        raise RuntimeError("gone")

    monkeypatch.setattr(marks_apart, "print_apart", lost)
    answer = shown(room.client("owner"), room.address)
    assert answer.status_code == 422
    assert "unexpected end" in told(answer)[0]["got"]
    assert "an analysis of marks failed" in caplog.text
