"""Who may see and change a class and its practice, and that nobody else learns of it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from sidewise.web.accounts.models import Role
from sidewise.web.audit.models import AuditLine
from sidewise.web.classes import store as classes
from sidewise.web.classes.models import ClassMember, JoinCode, Work
from sidewise.web.practice import store
from sidewise.web.practice.models import PracticeAttempt, SimulatedCase
from tests.web.cast import person

STRANGERS = ("stranger", "student", "other", "clinician", "administrator")
WRITES = ("members/", "codes/", "withdraw/")


def pages(school):
    parts = ("", "table/", "statements/")
    return (school.address, *(f"{school.practice}{part}" for part in parts))


@pytest.mark.parametrize("who", ["owner", "colleague", "reader"])
def test_whom_the_class_is_shared_with_may_read_all_of_it(school, who):
    client = school.client(who)
    assert [client.get(page).status_code for page in pages(school)] == [200] * 4
    assert "spring" in client.get("/classes/").content.decode()


@pytest.mark.parametrize("who", STRANGERS)
def test_to_anyone_else_the_class_does_not_exist(school, who):
    client = school.client(who)
    for page in (*pages(school), f"{school.practice}set/"):
        assert client.get(page).status_code == 404, page
    for page in (*WRITES, "share/"):
        assert client.post(f"{school.address}{page}", {}).status_code == 404, page
    assert client.post(f"{school.practice}set/", {}).status_code == 404


def test_a_reader_who_would_write_is_told_so(school):
    client = school.client("reader")
    for page in (*WRITES, "share/"):
        assert client.post(f"{school.address}{page}", {}).status_code == 403, page
    assert client.get(f"{school.practice}set/").status_code == 403


def test_only_the_owner_shares_and_sharing_ends_at_once(school):
    assert school.client("colleague").post(f"{school.address}share/", {}).status_code == 403
    owner = school.client("owner")
    assert owner.post(f"{school.address}share/", {"name": "stranger"}).status_code == 302
    assert school.client("stranger").get(school.address).status_code == 200
    share = school.study_class.shares.get(user=school.stranger)
    owner.post(f"{school.address}share/", {"stop": share.pk})
    assert school.client("stranger").get(school.address).status_code == 404


@pytest.mark.parametrize("name", ["nobody", "s01", "clinician", "teacher", "admin"])
def test_a_class_is_shared_with_other_teachers_only_and_all_others_look_alike(school, name):
    answer = school.client("owner").post(f"{school.address}share/", {"name": name})
    assert answer.status_code == 422
    assert "Nobody else who teaches here has this name." in answer.content.decode()


@pytest.mark.parametrize("who", ["other", "owner", "colleague", "stranger", "clinician",
                                 "administrator"])  # fmt: skip
def test_an_attempt_that_goes_on_is_seen_by_its_student_alone(school, who):
    room = school.begin()
    client = school.client(who)
    for page in ("", "think/", "result/"):
        assert client.get(room.address + page).status_code == 404
    for page in ("", "think/"):
        assert client.post(room.address + page, {"seen": "0"}).status_code == 404


@pytest.mark.parametrize(
    ("who", "status"),
    [("student", 200), ("owner", 200), ("colleague", 200), ("reader", 200), ("stranger", 404),
     ("other", 404), ("clinician", 404), ("administrator", 404)],
)  # fmt: skip
def test_a_finished_one_is_seen_by_its_student_and_the_teachers_of_their_class(school, who, status):
    room = school.begin()
    room.finish()
    assert school.client(who).get(f"{room.address}result/").status_code == status


def test_a_student_who_leaves_the_class_is_out_of_its_teachers_sight(school):
    room = school.begin()
    room.finish()
    client = school.client("owner")
    client.post(f"{school.address}members/", {"out": school.student.pk})
    assert client.get(f"{room.address}result/").status_code == 404
    assert "S01" not in client.get(school.practice).content.decode()


def test_a_teacher_who_becomes_a_student_sees_no_class_of_theirs(school):
    school.owner.role, school.owner.also = Role.STUDENT, ["teacher"]
    school.owner.save()
    assert school.client("owner").get(school.address).status_code == 404
    assert school.client("owner").get("/classes/").status_code == 404


# ---------------------------------------------------------------- who is in it


def test_students_are_added_by_name_or_code_and_all_or_none(school):
    person("s03", Role.STUDENT)
    client = school.client("owner")
    wrong = client.post(f"{school.address}members/", {"names": "s02\nnobody"})
    assert wrong.status_code == 422
    assert "nobody was added" in wrong.content.decode()
    assert school.study_class.members.count() == 1
    done = client.post(f"{school.address}members/", {"names": "s02\r\nS03\r\ns01", "group": "a"})
    assert done.status_code == 302
    assert dict(school.study_class.members.values_list("student__username", "group")) == {
        "s01": "", "s02": "a", "s03": "a"
    }  # fmt: skip


@pytest.mark.parametrize("name", ["clinician", "reader", "admin"])
def test_only_a_student_is_added(school, name):
    answer = school.client("owner").post(f"{school.address}members/", {"names": name})
    assert answer.status_code == 422
    assert school.study_class.members.count() == 1


def test_a_code_lets_one_student_join_once(school):
    page = school.client("owner").post(f"{school.address}codes/", {"count": "1", "group": "a"})
    (code,) = page.context["codes"]
    assert school.client("other").post("/classes/join/", {"code": code.lower()}).status_code == 302
    assert school.study_class.members.get(student=school.other).group == "a"
    person("s03", Role.STUDENT)
    school.third = person("s04", Role.STUDENT)
    again = school.client("third").post("/classes/join/", {"code": code})
    assert again.status_code == 422
    assert "No class has this code" in again.content.decode()
    assert code not in school.client("owner").get(school.address).content.decode()


def test_a_code_ends_after_fourteen_days(school):
    (code,) = classes.make_codes(school.study_class, 1, "")
    JoinCode.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert classes.join(school.other, code) is None
    assert not ClassMember.objects.filter(
        student=school.other, study_class=school.study_class
    ).exists()


# ---------------------------------------------------------------- what is set


def test_what_is_set_is_begun_done_and_seen_by_the_teacher(school):
    one = school.set_case()
    client = school.client("student")
    assert "A stiff shoulder" in client.get("/practice/").content.decode()
    went = client.post(f"/practice/set/{one.key}/")
    again = client.post(f"/practice/set/{one.key}/")
    assert went["Location"] == again["Location"]
    assert PracticeAttempt.objects.count() == 1
    teacher = school.client("owner")
    assert "begun" in teacher.get(school.address).content.decode()
    from tests.web.practice.school import Room

    Room(client, went["Location"]).finish()
    assert Work.objects.get().done_at is not None
    assert "<td>done</td>" in teacher.get(school.address).content.decode()


def test_what_is_set_for_others_cannot_be_begun(school):
    one = school.set_case(group="evenings")
    for who in ("student", "other"):
        assert school.client(who).post(f"/practice/set/{one.key}/").status_code == 404
    classes.move_member(school.study_class.members.get(), "evenings")
    assert school.client("student").post(f"/practice/set/{one.key}/").status_code == 302


def test_what_is_withdrawn_cannot_be_begun(school):
    one = school.set_case()
    school.client("owner").post(f"{school.address}withdraw/", {"assignment": one.pk})
    assert school.client("student").post(f"/practice/set/{one.key}/").status_code == 404


def test_wishes_that_contradict_are_refused_in_four_parts_and_nothing_is_set(school):
    values = {"title": "A case", "due": "2099-03-06", "present": "frozen", "absent": "frozen",
              "difficulty": "usual", "hints": "none"}  # fmt: skip
    answer = school.client("owner").post(f"{school.practice}set/", values)
    assert answer.status_code == 422
    assert "both present and absent" in answer.content.decode()
    assert school.study_class.assignments.count() == 0


# ---------------------------------------------------------------- cases written by hand


def upload(client, files, title="mine"):
    case, truth = (SimpleUploadedFile(f"{i}.json", data) for i, data in enumerate(files))
    return client.post("/practice/cases/", {"title": title, "case": case, "truth": truth})


def test_a_case_written_by_hand_is_kept_set_and_practised(school, files):
    owner = school.client("owner")
    assert upload(owner, files).status_code == 302
    case = SimulatedCase.objects.get()
    values = {"title": "By hand", "due": "2099-03-06", "written": str(case.key),
              "difficulty": "usual", "hints": "none"}  # fmt: skip
    assert owner.post(f"{school.practice}set/", values).status_code == 302
    one = school.study_class.assignments.get()
    assert school.client("student").post(f"/practice/set/{one.key}/").status_code == 302
    assert PracticeAttempt.objects.get().case == case


def test_a_truth_that_was_edited_by_hand_is_refused_and_nothing_is_kept(school, files):
    case, truth = files
    answer = upload(school.client("owner"), (case, truth.replace(b'"frozen', b'"cuff', 1)[:-2]))
    assert answer.status_code == 422
    edited = truth.replace(b'"seed', b'"seet').replace(b"true", b"false", 1)
    assert upload(school.client("owner"), (case, edited)).status_code == 422
    assert SimulatedCase.objects.count() == 0


@pytest.mark.parametrize("data", [b"", b"{}", b"[" * 9000, b'{"format": "sidewise-examination/1"}',
                                  b"\xff\xfe"])  # fmt: skip
def test_what_is_no_case_is_refused_in_words(school, files, data):
    answer = upload(school.client("owner"), (data, files[1]))
    assert answer.status_code == 422
    assert SimulatedCase.objects.count() == 0


def test_a_case_of_one_teacher_is_not_set_by_another(school, files):
    upload(school.client("owner"), files)
    values = {"title": "Theirs", "due": "2099-03-06", "difficulty": "usual", "hints": "none",
              "written": str(SimulatedCase.objects.get().key)}  # fmt: skip
    answer = school.client("colleague").post(f"{school.practice}set/", values)
    assert answer.status_code == 422
    assert "mine" not in school.client("colleague").get("/practice/cases/").content.decode()


# ---------------------------------------------------------------- audit and numbers


def test_no_title_name_or_code_of_a_class_stands_in_the_audit(school):
    school.set_case()
    school.begin().step("ask onset")
    (code,) = classes.make_codes(school.study_class, 1, "")
    lines = " ".join(AuditLine.objects.values_list("what", flat=True))
    assert f"class:{school.study_class.key}" in lines
    for word in ("spring", "stiff", "s01", "S01", code, "onset"):
        assert word not in lines


def test_a_class_of_twenty_with_fifty_cases_each_opens_with_a_constant_number_of_queries(
    school, files
):
    client = school.client("owner")
    case = store.keep_case(*files, None, "")
    one = store.begin(school.student, case, "none", school.set_case())
    PracticeAttempt.objects.update(finished_at=timezone.now(), outcome=FIGURES, feedback=TOLD)
    counts = {page: queries(client, page) for page in pages(school)}
    for number in range(20):
        student = person(f"s{number + 10}", Role.STUDENT)
        ClassMember.objects.create(study_class=school.study_class, student=student)
        PracticeAttempt.objects.bulk_create(
            [PracticeAttempt(student=student, case=case, head=one.head, assignment=one.assignment,
                             finished_at=timezone.now(), outcome=FIGURES, feedback=TOLD)
             for _ in range(50)]
        )  # fmt: skip
    assert {page: queries(client, page) for page in pages(school)} == counts
    text = client.get(school.practice).content.decode()
    assert "1001 finished cases of 21 students" in text
    assert max(counts.values()) == QUERIES[connection.vendor]
    assert "missed by 21 students, in 1001 cases" in text
    assert "external rotation (lost) for it, frozen shoulder: 21 students; 1001 of 1001" in text
    assert "abduction: not compared, 21 students, 1001 cases" in text


def test_a_case_whose_feedback_is_not_read_is_counted_and_said_to_be_in_no_figure(school, files):
    case = store.keep_case(*files, None, "")
    store.begin(school.student, case, "none")
    client = school.client("owner")
    for told in (None, {"format": "sidewise-feedback/0"}):
        PracticeAttempt.objects.update(finished_at=timezone.now(), feedback=told)
        text = client.get(school.practice).content.decode()
        assert "1 finished case of 1 student. 1 of them is in no figure below" in text
        assert "S01</b>: finished a case, and none that can be read" in text
        assert "has not finished" not in text
        assert client.get(f"{school.practice}statements/").json() == []


def test_two_students_who_sign_alike_are_not_taken_for_one_another(school, files):
    twin = person("s03", Role.STUDENT)
    type(twin).objects.filter(pk__in=(twin.pk, school.student.pk)).update(code="S01")
    ClassMember.objects.create(study_class=school.study_class, student=twin)
    store.begin(twin, store.keep_case(*files, None, ""), "none")
    PracticeAttempt.objects.update(finished_at=timezone.now(), outcome=FIGURES, feedback=TOLD)
    text = school.client("owner").get(school.practice).content.decode()
    assert "S01 (s03)</b>: missed a flag: lump in the axilla" in text
    assert "S01 (s01)</b>: has not finished a case" in text


FIGURES = {"steps": 1, "minutes": 1, "groups": []}
TOLD = {
    "format": "sidewise-feedback/1", "case": "SIMULATED-7", "region": "shoulder",
    "flags_missed": [{"label": "lump in the axilla"}], "stated": {"brier": 0.2},
    "perfect": {"brier": 0.1}, "essentials_left_out": [], "swapped": [], "needless": [],
    "groups": [{"label": "frozen shoulder", "stated": 0.1, "warranted": 0.6,
                "because": ["left external rotation (lost) for it"]}],
    "not_compared": [{"label": "abduction"}], "seconds": 60, "soreness": 1.0, "hints": 0,
    "one_thing": {"kind": "nothing"},
}  # fmt: skip
QUERIES = {"sqlite": 10, "postgresql": 11}
"""Of the page that asks most; sessions and the audit line, and there its lock, included."""


def queries(client, page):
    client.get(page)
    with CaptureQueriesContext(connection) as caught:
        assert client.get(page).status_code == 200
    return len(caught)
