"""The next case for a student, and the sheet of a patient actor for their teacher."""

from __future__ import annotations

import pytest

from sidewise.web.practice.models import PracticeAttempt, SimulatedCase


def test_the_next_case_is_offered_with_why_now_and_without_its_answer(school):
    page = school.client("student").get("/practice/").content.decode()
    assert "Why this case now:" in page
    assert "which one is told at the end" in page
    assert "frozen" not in page.lower()


def test_the_chosen_case_is_begun_and_says_at_its_end_what_it_was_for(school):
    client = school.client("student")
    answer = client.post("/practice/", {"difficulty": "usual", "hints": "some", "chosen": "1"})
    assert answer.status_code == 302
    row = PracticeAttempt.objects.get()
    assert set(row.chosen) == {"sort", "name", "label", "why"}
    from tests.web.practice.school import Room

    room = Room(client, answer["Location"])
    assert row.chosen["label"] not in room.text("history")
    room.finish()
    page = client.get(f"{room.address}result/").content.decode()
    assert f"Why this case:</b> {row.chosen['label']}" in page


def test_what_was_practised_changes_what_comes_next(school):
    room = school.begin()
    room.finish()
    page = school.client("student").get("/practice/").content.decode()
    assert "Why this case now:" in page


def test_the_number_of_queries_does_not_grow_with_cases(school):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    room = school.begin()
    room.finish()
    client = school.client("student")
    client.get("/practice/")
    with CaptureQueriesContext(connection) as few:
        client.get("/practice/")
    done = PracticeAttempt.objects.get()
    for _ in range(12):
        PracticeAttempt.objects.create(
            student=done.student, case=done.case, head=done.head, finished_at=done.finished_at,
            outcome=done.outcome, feedback=done.feedback,
        )  # fmt: skip
    with CaptureQueriesContext(connection) as many:
        client.get("/practice/")
    assert len(many) == len(few)


# ---------------------------------------------------------------- the actor's sheet


def test_the_teacher_prints_the_sheet_of_a_case_that_all_have(school):
    one = school.set_case()
    client = school.client("owner")
    address = f"{school.practice}actor/{one.key}/"
    assert f'href="{address}"' in client.get(school.practice).content.decode()
    page = client.get(address).content.decode()
    for words in ("Say first:", "SIMULATED", "say STOP in your own voice"):
        assert words in page
    assert "What it was" not in page


def test_where_each_has_a_patient_of_their_own_there_is_no_sheet(school):
    one = school.set_case(what={"present": [], "absent": [], "flags": [], "seed": None})
    client = school.client("owner")
    assert client.get(f"{school.practice}actor/{one.key}/").status_code == 404
    assert "Sheets for an actor" not in client.get(school.practice).content.decode()


@pytest.mark.parametrize("who", ["student", "other", "stranger", "clinician", "administrator"])
def test_nobody_else_reads_what_the_actor_will_show(school, who, files):
    from sidewise.web.practice import store

    one = school.set_case()
    case = store.keep_case(*files, school.owner, "by hand")
    client = school.client(who)
    assert client.get(f"{school.practice}actor/{one.key}/").status_code == 404
    assert client.get(f"/practice/cases/{case.key}/actor/").status_code == 404


def test_a_case_written_by_hand_has_its_sheet(school, files):
    from sidewise.web.practice import store

    case = store.keep_case(*files, school.owner, "by hand")
    assert SimulatedCase.objects.count() == 1
    page = school.client("owner").get(f"/practice/cases/{case.key}/actor/").content.decode()
    assert "by hand" in page
    assert "Answer yes to" in page or "Answer no to" in page
