"""A student examines a patient who agreed, apart; the supervisor signs, compares, countersigns."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.utils import timezone

from sidewise.web.examinations.state import current
from sidewise.web.supervised.models import LearnerFinding, LearnerVisit
from tests.web.cast import sign, tender, touch


def page(ward, who, address):
    return ward.client(who).get(address, follow=True).content.decode()


def test_the_door_stands_on_the_pages_of_the_examination(ward):
    assert f'href="{ward.door}"' in page(ward, "owner", f"/examinations/{ward.examination.pk}/")
    assert ward.door not in page(ward, "reader", f"/examinations/{ward.examination.pk}/")


def test_without_the_patients_consent_nobody_begins(ward):
    answer = ward.begin(told="")
    assert answer.status_code == 422
    assert "Without the patient&#x27;s consent" in answer.content.decode()
    assert not LearnerVisit.objects.exists()


@pytest.mark.parametrize("name", ["nobody", "owner", "teacher", "admin"])
def test_only_a_student_is_let_in_and_all_others_look_alike(ward, name):
    answer = ward.begin(student=name)
    assert answer.status_code == 422
    assert "the name or code of a student" in answer.content.decode()


def test_what_is_pressed_and_what_is_typed_is_recorded_apart(ward):
    ward.begin()
    assert ward.feel(2).status_code == 302
    typed = {"typed.external_rotation_at_side.left.passive": "35 firm"}
    assert ward.find(stage="move", **typed).status_code == 302
    shown = page(ward, "student", f"{ward.room}?stage=move")
    assert "35°" in shown
    assert LearnerFinding.objects.count() == 2
    assert ward.record.findings == ()


def test_a_finding_is_corrected_and_taken_back_and_nothing_is_lost(ward):
    ward.begin()
    ward.feel(2)
    ward.feel(0)
    assert page(ward, "student", f"{ward.room}?stage=feel").count("take back<") == 1
    assert ward.find(take_back="2").status_code == 302
    assert "take back<" not in page(ward, "student", f"{ward.room}?stage=feel")
    assert LearnerFinding.objects.count() == 3


@pytest.mark.parametrize(
    "sent",
    [{}, {"value": "x"}, {"value": "acj_tenderness left|{}"}, {"value": "nothing left|{}"},
     {"value": 'acj_tenderness left|{"kind":"tenderness","grade":9}'}, {"take_back": "half"},
     {"typed.external_rotation_at_side.left.passive": "1650"}, {"typed.nothing.left": "2"},
     {"typed.external_rotation_at_side": "35"}, {"value": "[" * 4000}],
)  # fmt: skip
def test_what_is_no_finding_is_refused_in_words_and_nothing_is_stored(ward, sent):
    ward.begin()
    answer = ward.find(**sent)
    assert answer.status_code == 422
    assert "expected" in answer.content.decode()
    assert not LearnerFinding.objects.exists()


def test_what_was_typed_stays_in_the_page_when_it_is_refused(ward):
    ward.begin()
    typed = {"typed.external_rotation_at_side.left.passive": "35 banana"}
    assert 'value="35 banana"' in ward.find(stage="move", **typed).content.decode()


def test_the_second_of_two_tabs_is_told_and_nothing_is_doubled(ward):
    ward.begin()
    sent = {"seen": "0", "value": 'acj_tenderness left|{"kind":"tenderness","grade":2}'}
    client = ward.client("student")
    assert client.post(ward.room, sent).status_code == 302
    late = client.post(ward.room, sent)
    assert late.status_code == 409
    assert "went on in another tab" in late.content.decode()
    assert LearnerFinding.objects.count() == 1


def test_the_student_sees_nothing_that_the_supervisor_finds(ward):
    ward.begin()
    before = page(ward, "student", f"{ward.room}?stage=feel")
    touch(ward.client("owner"), ward.examination, tender(3, item="acj_tenderness"))
    touch(ward.client("owner"), ward.examination, tender(1, item="coracoid_tenderness"))
    after = page(ward, "student", f"{ward.room}?stage=feel")
    # Tokens of forms, and the seconds left of the session.
    token = r"\b[A-Za-z0-9]{64}\b|data-(left|whole)=.\d+."
    assert re.sub(token, "", before) == re.sub(token, "", after)


def test_the_supervisor_sees_nothing_before_their_own_signature(ward):
    ward.begin()
    ward.feel(3)
    ward.hand_in()
    for address in (ward.door, f"{ward.room}countersign/", f"/examinations/{ward.examination.pk}/"):
        assert "Place by place" not in page(ward, "owner", address)
    early = ward.client("owner").post(f"{ward.room}countersign/", {"remark": ""})
    assert early.status_code == 422
    assert "Sign your own examination first" in early.content.decode()
    ward.sign()
    assert "Place by place" in page(ward, "owner", f"{ward.room}countersign/")


def test_only_the_supervisors_findings_enter_the_record(ward):
    ward.to_the_end()
    (finding,) = ward.record.findings
    assert finding.value.grade == 2


def test_the_differences_become_the_students_feedback_and_name_no_patient(ward):
    ward.to_the_end()
    told = page(ward, "student", f"{ward.room}told/")
    assert "Press harder." in told
    assert "Do it once more together" in told
    assert "HERON-1" not in told
    assert "HERON-1" not in page(ward, "student", "/learners/")
    assert "0 of 1" in page(ward, "student", "/learners/")
    assert "HERON" not in json.dumps(ward.visit.feedback)


def test_a_visit_is_countersigned_once_and_says_for_ever_what_it_said(ward):
    ward.to_the_end()
    again = ward.client("owner").post(f"{ward.room}countersign/", {"remark": "Otherwise."})
    assert again.status_code == 422
    assert ward.visit.remark == "Press harder."


def test_a_warning_sign_that_the_student_finds_is_told_at_once_to_both(ward):
    ward.begin()
    hard = json.dumps({"kind": "choice", "choice": "hard, fixed or over 1 cm"})
    assert ward.find(value=f"axilla_nodes left|{hard}").status_code == 302
    assert "Tell your supervisor now" in page(ward, "student", ward.room)
    assert "Look yourself now" in page(ward, "owner", ward.door)


def test_what_a_raised_flag_withholds_is_held_back_and_not_why(ward):
    ward.begin()
    head = {"item": "humeral_head_place", "side": "left",
            "value": {"kind": "choice", "choice": "in front below the coracoid"}}  # fmt: skip
    hollow = {"item": "subacromial_hollow", "side": "left",
              "value": {"kind": "sign", "grade": "present"}}  # fmt: skip
    assert touch(ward.client("owner"), ward.examination, head, hollow).status_code == 200
    (flag, *_) = current(ward.examination).completeness.raised
    assert flag.withhold
    shown = page(ward, "student", f"{ward.room}?stage=move")
    assert "ask your supervisor" in shown
    assert flag.label not in shown
    typed = {"typed.external_rotation_at_side.left.passive": "35"}
    assert ward.find(stage="move", **typed).status_code == 422


def test_nothing_is_handed_in_without_a_finding(ward):
    ward.begin()
    assert ward.hand_in().status_code == 422
    assert ward.visit.handed_in_at is None


def test_nobody_begins_at_a_signed_examination_nor_twice_at_one(ward):
    ward.begin()
    assert ward.begin().status_code == 422
    sign(ward.client("owner"), ward.examination)
    assert ward.begin(student="s02").status_code == 422


def test_over_time_it_ends_by_itself(ward):
    ward.begin()
    LearnerVisit.objects.update(until=timezone.now() - timedelta(seconds=1))
    assert ward.client("student").get(ward.room).status_code == 404
    assert "HERON-1" not in page(ward, "student", "/learners/")
