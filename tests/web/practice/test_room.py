"""A student signs in, practises a case and sees what came of it; nothing of it is a patient."""

from __future__ import annotations

import re

import pytest

from sidewise.web.examinations.models import Examination
from sidewise.web.patients.models import Patient
from sidewise.web.practice.models import PracticeAttempt, PracticeStep, SimulatedCase

MARK = "SIMULATED for practice"


def test_the_first_page_of_a_student_leads_to_practice_and_every_link_opens(school):
    client = school.client("student")
    text = client.get("/").content.decode()
    assert '<a href="/practice/"><b>Practise</b>' in text
    links = set(re.findall(r'<a[^>]* href="(/[^"#]*)"', text))
    assert "/practice/" in links
    for link in links:
        assert client.get(link, follow=True).status_code == 200, link


def test_a_case_is_asked_examined_thought_about_and_ended(school):
    room = school.begin()
    assert room.step("ask onset").status_code == 302
    assert "It came" in room.text()
    assert room.step("examine scars both", "look").status_code == 302
    assert room.think(30).status_code == 302
    assert room.finish().status_code == 302
    page = room.client.get(f"{room.address}result/").content.decode()
    assert "What it was" in page
    assert "Look again in a week." in page
    assert room.row.finished_at is not None
    assert room.row.outcome["steps"] == 4


def test_what_was_not_looked_for_is_not_on_the_page(school):
    room = school.begin()
    assert 'class="told"' not in room.text("look")
    room.step("examine scars right", "look")
    page = room.text("look")
    assert page.count('class="told"') == 1
    assert "examine scars left" in page
    assert "examine scars right" not in page


def test_the_truth_stands_on_no_page_before_the_end(school):
    room = school.begin()
    assert room.client.get(f"{room.address}result/").status_code == 404
    for stage in ("history", "look", "feel", "move"):
        assert "What it was" not in room.text(stage)


def test_nobody_is_touched_before_what_must_be_seen_to_first(school):
    room = school.begin()
    answer = room.step("examine acj_tenderness both", "feel")
    assert answer.status_code == 422
    assert "Nobody is touched before it." in answer.content.decode()
    assert PracticeStep.objects.count() == 0


@pytest.mark.parametrize(
    "what", ["", "examine", "examine nothing left", "ask nothing", "dance", "measure nothing",
             "examine scars up", "hint everything"],
)  # fmt: skip
def test_a_step_that_is_none_is_refused_in_words_and_nothing_is_stored(school, what):
    room = school.begin()
    answer = room.step(what)
    assert answer.status_code == 422
    assert "expected" in answer.content.decode()
    assert PracticeStep.objects.count() == 0


def test_the_second_of_two_tabs_is_told_and_nothing_is_doubled(school):
    room = school.begin()
    assert room.step("ask onset", seen=0).status_code == 302
    late = room.step("measure temperature", seen=0)
    assert late.status_code == 409
    assert "went on in another tab" in late.content.decode()
    assert "It came" in late.content.decode()
    assert PracticeStep.objects.count() == 1


def test_the_end_sent_twice_ends_once(school):
    room = school.begin()
    assert room.finish().status_code == 302
    again = room.client.post(f"{room.address}think/", {"seen": "0", "end": "1"})
    assert again["Location"].endswith("/result/")
    assert PracticeStep.objects.count() == 1


def test_a_chance_left_empty_is_not_zero_and_the_end_asks_for_it(school):
    room = school.begin()
    answer = room.client.post(f"{room.address}think/", {"seen": "0", "end": "1"})
    assert answer.status_code == 422
    assert "a chance of each group" in answer.content.decode()
    assert room.row.finished_at is None


@pytest.mark.parametrize("typed", ["101", "-1", "half", "1e2", "٣"])
def test_a_chance_that_is_none_is_refused(school, typed):
    room = school.begin()
    page = room.client.get(f"{room.address}think/").content.decode()
    name = re.findall(r'name="(chance\.[^"]+)"', page)[0]
    answer = room.client.post(f"{room.address}think/", {"seen": "0", name: typed})
    assert answer.status_code == 422
    assert "a whole number from 0 to 100" in answer.content.decode()


def test_a_case_of_another_knowledge_version_opens_and_says_so(school, files):
    from sidewise.practice.case_file import case_text
    from sidewise.web.practice import store
    from tests.web.practice.conftest import drawn

    made = drawn(7)
    other = case_text(made).replace(made.knowledge_version, "000000000000").encode()
    case = store.keep_case(files[0], files[1], None, "")
    import hashlib
    import zlib

    case.packed, case.sha256 = zlib.compress(other), hashlib.sha256(other).hexdigest()
    case.save()
    row = store.begin(school.student, case, "none")
    page = school.client("student").get(f"/practice/{row.key}/").content.decode()
    assert "Made with knowledge 000000000000" in page


# ---------------------------------------------------------------- never a patient


def test_every_page_of_practice_says_that_it_is_simulated(school):
    room = school.begin()
    stages = (f"{room.address}?stage={s}" for s in ("look", "feel", "move", "special-tests"))
    pages = ["/practice/", "/practice/calibration/", room.address, f"{room.address}think/", *stages]
    swept = sum(MARK in room.client.get(page).content.decode() for page in pages)
    room.finish()
    swept += MARK in room.client.get(f"{room.address}result/").content.decode()
    swept += MARK in room.client.get(f"/account/practice/{room.row.key}/erase/").content.decode()
    teacher = school.client("owner")
    for page in ("/practice/cases/", school.practice, f"{school.practice}set/",
                 f"{room.address}result/"):  # fmt: skip
        swept += MARK in teacher.get(page).content.decode()
    assert swept == len(pages) + 6


def test_the_store_of_practice_and_that_of_patients_do_not_know_each_other():
    ours = (SimulatedCase, PracticeAttempt, PracticeStep)
    named = {f.related_model for model in ours for f in model._meta.get_fields()}
    assert not named & {Patient, Examination}
    theirs = {f.related_model for model in (Patient, Examination) for f in model._meta.get_fields()}
    assert not theirs & set(ours)


@pytest.mark.parametrize("code", ["SIMULATED-7", "simulated 7", "Simu1ated-7", "SIMULATED"])
def test_no_patient_is_given_the_code_of_a_simulated_one(school, code):
    answer = school.client("clinician").post("/patients/new/", {"code": code})
    assert answer.status_code == 422
    assert "simulated patients" in answer.content.decode()
    assert Patient.objects.count() == 0


def test_no_list_and_no_export_of_patients_holds_a_simulated_one(school):
    from sidewise.web.keeping.export import patient_export

    room = school.begin()
    room.finish()
    client = school.client("clinician")
    patient = Patient.objects.create(code="PLOVER-2", owner=school.clinician)
    assert "SIMULATED" not in client.get("/patients/").content.decode()
    assert "SIMULATED" not in str(patient_export(patient))
    assert client.get(room.address).status_code == 404
    assert Examination.objects.count() == 0


def test_an_arc_that_was_found_opens_again_as_it_was(school):
    room = school.begin()
    for name in ("hands_cleaned", "consent_given", "both_exposed", "identity_checked"):
        room.step(f"examine {name}", "prepare")
    for item in ("painful_arc", "flexion", "external_rotation_at_side"):
        assert room.step(f"examine {item} both", "move").status_code == 302
        assert room.client.get(f"{room.address}?stage=move").status_code == 200


def test_a_movement_that_was_measured_is_drawn_at_the_end_and_no_other(school):
    room = school.begin()
    for name in ("hands_cleaned", "consent_given", "both_exposed", "identity_checked"):
        room.step(f"examine {name}", "prepare")
    room.step("examine external_rotation_at_side both", "move")
    room.finish()
    page = room.client.get(f"{room.address}result/").content.decode()
    drawn = page.partition("The movement you measured")[2].partition("A second look")[0]
    assert "external rotation, arm at the side" in drawn
    assert "flexion" not in drawn
    assert "<svg" in drawn


def test_where_nothing_was_measured_nothing_is_drawn(school):
    room = school.begin()
    room.step("ask onset")
    room.finish()
    assert (
        "The movement you measured"
        not in room.client.get(f"{room.address}result/").content.decode()
    )
