"""Who may see and settle a sitting, and that nobody else learns of it."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from sidewise.web.accounts.models import Role
from sidewise.web.audit.models import AuditLine
from sidewise.web.marks.models import KeptSitting, SittingShare
from sidewise.web.marks.urls import of_a_sitting, of_a_version
from tests.web.marks.room import long_sheet, send, shown

READ = ("settle/", "log/", "accounts/", "tables/1/", "tables/1/file/", "", "versions/1/",
        "versions/1/report/", "versions/1/decisions/", "versions/1/letters/",
        "versions/1/file/report/", "versions/1/file/decisions/", "versions/1/file/letters/",
        "versions/1/file/data/")  # fmt: skip
WRITE = ("rules/", "replace/")
STRANGERS = ("stranger", "student", "clinician", "administrator")


def test_every_address_of_a_sitting_is_asked_below():
    names = {p.name for p in (*of_a_sitting, *of_a_version) if hasattr(p, "name")}
    assert len(names) == 14
    assert len(READ) + len(WRITE) + 1 == 17


@pytest.mark.parametrize("who", ["owner", "colleague", "reader"])
def test_whom_it_is_shared_with_may_read_everything(room, who):
    client = room.client(who)
    swept = 0
    for part in READ:
        assert shown(client, room.address + part).status_code == 200, part
        swept += 1
    assert swept == 14


@pytest.mark.parametrize("who", STRANGERS)
def test_to_anyone_else_the_sitting_does_not_exist(room, who):
    client = room.client(who)
    for part in (*READ, *WRITE):
        assert client.get(room.address + part).status_code == 404, part
    for part in ("settle/", "rules/", "replace/", "share/", "accounts/"):
        assert client.post(room.address + part).status_code == 404, part
    assert str(room.sitting.key) not in client.get("/marks/").content.decode()


def test_a_reader_who_would_write_is_told_so(room):
    client = room.client("reader")
    for part in WRITE:
        assert client.get(room.address + part).status_code == 403, part
    for part in ("settle/", "rules/", "replace/", "accounts/"):
        assert client.post(room.address + part, {}).status_code == 403, part
    assert room.sitting.settlements.count() == 1


def test_only_the_owner_shares(room):
    for who in ("colleague", "reader"):
        assert room.client(who).post(f"{room.address}share/", {"name": "stranger"}).status_code == (
            403
        )
    answer = room.client("owner").post(f"{room.address}share/", {"name": "stranger"})
    assert answer.status_code == 302
    assert room.client("stranger").get(f"{room.address}log/").status_code == 200


@pytest.mark.parametrize("name", ["nobody", "s01", "clinician", "teacher", "admin"])
def test_it_is_shared_with_other_teachers_only_and_all_others_look_alike(room, name):
    before = SittingShare.objects.count()
    answer = room.client("owner").post(f"{room.address}share/", {"name": name})
    assert answer.status_code == 422
    assert "Nobody else who teaches here has this name." in answer.content.decode()
    assert SittingShare.objects.count() == before


def test_sharing_ends_at_once(room):
    share = SittingShare.objects.get(user=room.reader)
    assert room.client("owner").post(f"{room.address}share/", {"stop": share.pk}).status_code == 302
    assert room.client("reader").get(f"{room.address}log/").status_code == 404


def test_a_teacher_who_becomes_a_student_sees_no_sitting_of_theirs(room):
    room.owner.role, room.owner.also = Role.STUDENT, ["teacher"]
    room.owner.save()
    assert room.client("owner").get(f"{room.address}log/").status_code == 404
    assert room.client("owner").get("/marks/").status_code == 404


def test_a_student_whose_account_was_said_sees_nothing_before_release(room):
    from sidewise.web.marks import store

    assert store.tie_accounts(room.sitting) == 1
    client = room.client("student")
    assert client.get(f"{room.address}log/").status_code == 404
    mine = client.get(reverse("own-export")).json()
    assert not any(name.startswith("marks.") for name in mine["tables"])
    assert "only when the teachers release them" in mine["not_released"]


def test_every_look_and_every_change_leaves_a_line(room):
    client, stranger = room.client("reader"), room.client("stranger")
    before = AuditLine.objects.count()
    client.get(f"{room.address}log/")
    client.get(f"{room.address}tables/1/file/")
    stranger.get(f"{room.address}log/")
    lines = [(a.who, a.act, a.what) for a in AuditLine.objects.order_by("number")[before:]]
    key = room.sitting.key
    assert lines == [
        ("reader", "read", f"marks-log:{key}"),
        ("reader", "exported", f"marks-sheet:{key}/1"),
        ("stranger", "refused", f"marks-log:{key}"),
    ]


def test_no_title_code_or_mark_stands_in_an_address_or_in_the_audit(room):
    lines = " ".join(AuditLine.objects.values_list("what", flat=True))
    assert "teaching week" not in lines
    assert "S01" not in lines
    assert "week.csv" not in lines


def test_the_home_of_a_teacher_leads_to_the_marks(room):
    page = room.client("owner").get("/")
    text = page.content.decode()
    assert '<a href="/marks/"><b>Marks of an examination</b>' in text
    assert "New patient" not in text
    assert room.client("owner").get("/marks/").status_code == 200


def test_the_home_of_a_student_says_what_there_is_and_every_link_of_it_opens(room):
    client = room.client("student")
    text = client.get("/").content.decode()
    assert "They are shown only when your teachers release them" in text
    links = set(re.findall(r'<a[^>]* href="(/[^"#]*)"', text))
    assert {"/", "/account/", "/anatomy/", "/practice/", "/learners/", "/classes/join/"} == links
    assert all(client.get(link, follow=True).status_code == 200 for link in links)


@pytest.mark.parametrize("who", ["owner", "student", "clinician", "administrator"])
def test_no_home_has_a_link_that_does_not_open(room, who):
    client = room.client(who)
    links = set(re.findall(r'<a[^>]* href="(/[^"#]*)"', client.get("/").content.decode()))
    assert len(links) >= 2
    for link in links:
        assert client.get(link).status_code in (200, 302), link


@pytest.mark.parametrize("part", ["", "log/", "accounts/", "tables/1/", "versions/1/decisions/"])
def test_the_number_of_queries_does_not_grow_with_the_students(room, part):
    client = room.client("owner")
    more = room.bring(long_sheet(30), "more students")
    used = []
    for key in (room.sitting.key, more.key):
        address = f"/marks/{key}/{part}"
        shown(client, address)
        with CaptureQueriesContext(connection) as caught:
            assert client.get(address).status_code == 200
        used.append(len(caught))
    assert used[0] == used[1]


def test_the_number_of_queries_of_the_list_does_not_grow_with_the_sittings(room):
    client, used = room.client("owner"), []
    for _ in range(2):
        client.get("/marks/")
        with CaptureQueriesContext(connection) as caught:
            client.get("/marks/")
        used.append(len(caught))
        room.bring(long_sheet(), "one more")
        room.bring(long_sheet(), "two more")
    assert used[0] == used[1]


def test_the_owner_of_what_is_dropped_is_whoever_drops_it(room):
    client = room.client("stranger")
    extra = {"title": "mine", "owner": room.owner.pk, "by": "TEACHER",
             "sheet": SimpleUploadedFile("w.csv", long_sheet())}  # fmt: skip
    assert client.post("/marks/", extra).status_code == 302
    made = KeptSitting.objects.get(title="mine")
    assert made.owner == room.stranger
    assert made.settlements.get().by == "STRANGER"


def test_nobody_who_is_not_signed_in_is_told_anything(room, client):
    for part in ("", "log/"):
        answer = client.get(room.address + part)
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in/")
    assert send(client, long_sheet()).status_code == 302
    assert KeptSitting.objects.count() == 1
