"""Lists, sharing, codes that look like a person, another's eyes and the blank form, as pages."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from sidewise.record.ledger import Amended, Cared, Entry, Signed, Stated
from sidewise.web.audit.models import AuditLine
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import append
from sidewise.web.likeness import looks_like_a_person
from sidewise.web.patients.models import Patient, Share
from tests.safe.conftest import WHEN, make_examination
from tests.web.cast import person, send, tender, touch


def _plain(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def test_the_list_says_age_complaint_with_side_and_the_last_visit(cast):
    page = _plain(cast.client("owner").get("/patients/"))
    assert "HERON-1 58, woman, right-handed; left shoulder" in page
    assert re.search(r"last \d+ \w+ \d{4}, draft|last 2 Mar 2026, draft", page)


@pytest.mark.parametrize("address", ["/", "/patients/"])
def test_a_raised_flag_stands_in_the_lists_by_name_and_urgency(cast, address):
    _make_hot(cast)
    page = _plain(cast.client("owner").get(address))
    assert re.search(r"RED FLAG hot, swollen joint \(emergency\)", page)


def _make_hot(cast):
    """A hot, swollen joint with fever at the first visit."""
    warm, swollen = {"kind": "choice", "choice": "hot"}, {"kind": "sign", "grade": "marked"}
    touch(cast.client("owner"), cast.examination, {"item": "warmth", "side": "left", "value": warm},
          {"item": "gh_swelling", "side": "left", "value": swollen})  # fmt: skip
    fever = {"do": "state", "field": "history.fever", "value": "yes"}
    send(cast.client("owner"), cast.examination,
         [{"id": "f1", "at": "2026-03-02T09:41:00Z", "deed": fever}])  # fmt: skip


def test_a_raised_flag_stands_over_the_patients_page_with_what_to_do(cast):
    client = cast.client("owner")
    address = f"/patients/{cast.patient.key}/"
    assert "RAISED" not in _plain(client.get(address))
    _make_hot(cast)
    page = _plain(client.get(address))
    over, _, visits = page.partition(" Visits ")
    assert "RAISED, emergency: hot, swollen joint. Suspect septic arthritis." in over
    assert "Same-day emergency pathway" in over
    assert "visit of 2 Mar 2026" in over
    assert "RED FLAG hot, swollen joint (emergency)" in visits


def test_a_flag_that_no_later_visit_excluded_stays_over_the_patients_page(cast):
    _make_hot(cast)
    make_examination(cast.patient, cast.owner, examined_at="2026-04-02T09:40:00+00:00")
    page = _plain(cast.client("owner").get(f"/patients/{cast.patient.key}/"))
    over, _, visits = page.partition(" Visits ")
    assert ("RAISED, emergency: hot, swollen joint. Raised on 2 Mar 2026; no visit has excluded it"
            " since.") in over  # fmt: skip
    # Each visit's own line says what that visit raised.
    assert visits.count("RED FLAG") == 1


def test_visits_that_cannot_be_of_one_person_are_asked_about(cast):
    client, address = cast.client("owner"), f"/patients/{cast.patient.key}/"
    make_examination(cast.patient, cast.owner, examined_at="2026-04-02T09:40:00+00:00")
    assert "Another person?" not in _plain(client.get(address))
    make_examination(cast.patient, cast.owner, examined_at="2026-05-02T09:40:00+00:00",
                     age=31, sex="male")  # fmt: skip
    assert "Another person? 2 April 2026: 58, woman" in _plain(client.get(address))


def test_a_discarded_visit_puts_no_flag_over_the_patient(cast):
    _make_hot(cast)
    Examination.objects.filter(pk=cast.examination.pk).update(state="discarded")
    page = _plain(cast.client("owner").get(f"/patients/{cast.patient.key}/"))
    assert "RAISED" not in page
    assert "RED FLAG" not in page


def test_a_list_without_a_raised_flag_never_says_that_there_is_none(cast):
    page = _plain(cast.client("owner").get("/patients/"))
    assert "not excluded" in page
    assert not re.search(r"no red flag|safe|clear", page, re.I)


def test_a_discarded_visit_is_no_last_visit(cast):
    Examination.objects.filter(pk=cast.examination.pk).update(state="discarded")
    assert "no visit yet" in _plain(cast.client("owner").get("/patients/"))


def test_the_list_costs_a_fixed_number_of_queries_and_one_a_ledger(
    cast, django_assert_max_num_queries
):
    client = cast.client("owner")
    client.get("/patients/")
    with django_assert_max_num_queries(14):
        client.get("/patients/")


# ---------------------------------------------------------------- sharing


def _share(cast, who="owner", **form):
    return cast.client(who).post(f"/patients/{cast.patient.key}/share/", form)


def test_the_owner_shares_from_the_page_and_ends_it(cast):
    other = person("sanderling")
    assert _share(cast, name="sanderling", right="read").status_code == 302
    share = Share.objects.get(patient=cast.patient, user=other)
    assert not share.may_write
    assert cast.client("owner").get(f"/patients/{cast.patient.key}/share/").status_code == 200
    _share(cast, name="sanderling", right="write")
    assert Share.objects.get(pk=share.pk).may_write
    _share(cast, end=str(share.pk))
    assert not Share.objects.filter(pk=share.pk).exists()


@pytest.mark.parametrize("who", ["colleague", "reader"])
def test_who_was_given_a_share_does_not_share_on(cast, who):
    person("sanderling")
    assert _share(cast, who, name="sanderling", right="read").status_code == 403
    assert Share.objects.filter(user__username="sanderling").count() == 0


@pytest.mark.parametrize(
    ("name", "right", "words"),
    [("nobody", "read", "No other clinician here has this user name"),
     ("owner", "read", "No other clinician here has this user name"),
     ("examplestudent", "read", "No other clinician here has this user name"),
     ("stranger", "", "This field is required")],
)  # fmt: skip
def test_a_share_that_cannot_be_is_refused_with_words(cast, name, right, words):
    person("examplestudent", "student")
    before = Share.objects.count()
    answer = _share(cast, name=name, right=right)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Share.objects.count() == before


def test_sharing_asks_for_the_password_again(cast):
    client = cast.client("owner")
    session = client.session
    session["confirmed"] = 0
    session.save()
    address = f"/patients/{cast.patient.key}/share/"
    answer = client.post(address, {"name": "stranger", "right": "read"})
    assert answer.status_code == 302
    assert "confirm" in answer["Location"]
    assert Share.objects.filter(user__username="stranger").count() == 0


def test_a_share_leaves_a_line_in_the_audit(cast):
    person("sanderling")
    _share(cast, name="sanderling", right="read")
    assert AuditLine.objects.filter(what__startswith=f"patient-share:{cast.patient.pk}/").exists()


# ---------------------------------------------------------------- codes


@pytest.mark.parametrize(
    ("code", "why"),
    [("Mary Smith 12.03.1960", "a date"), ("Mary Smith", "a name"), ("smith, mary", "a name"),
     ("M 1960-03-12", "a date"), ("12/3/60", "a date"), ("19600312", "a date"),
     ("12031960", "a date"), ("Müller Änne", "a name"), ("O'Neill Pat", "a name"),
     ("HERON-1", ""), ("heron 1", ""), ("A-2741", ""), ("RED KNOT 7", ""), ("H", ""),
     ("A B", ""), ("2026-17", ""), ("123456789", "")],
)  # fmt: skip
def test_a_code_that_looks_like_a_person_is_told_from_one_that_does_not(code, why):
    assert looks_like_a_person(code) == why


def test_a_name_and_birthday_is_asked_about_and_nothing_is_stored_before(cast):
    client, code = cast.client("owner"), "Mary Smith 12.03.1960"
    answer = client.post("/patients/new/", {"code": code})
    assert answer.status_code == 422
    assert "This looks like a date" in answer.content.decode()
    assert not Patient.objects.filter(code=code).exists()
    answer = client.post("/patients/new/", {"code": "RED KNOT", "not_a_person": "on"})
    assert answer.status_code == 302
    assert Patient.objects.filter(code="RED KNOT").exists()


def test_an_ordinary_code_is_not_asked_about(cast):
    page = cast.client("owner").get("/patients/new/").content.decode()
    assert "not_a_person" not in page
    assert cast.client("owner").post("/patients/new/", {"code": "KNOT-7"}).status_code == 302


# ---------------------------------------------------------------- eyes, paper, course


def test_two_who_examined_in_one_visit_are_shown_side_by_side(cast):
    touch(cast.client("owner"), cast.examination, tender(2))
    touch(cast.client("colleague"), cast.examination, tender(0))
    page = _plain(cast.client("reader").get(f"/patients/{cast.patient.key}/eyes/"))
    assert "OWNER" in page
    assert "COLLEAGUE" in page
    assert "not which of them is right" in page
    assert re.search(r"coracoid process.*tender \(2, winces\).*not tender.*different", page)


def test_one_clinician_alone_is_told_what_is_needed(cast):
    touch(cast.client("owner"), cast.examination, tender(2))
    page = _plain(cast.client("owner").get(f"/patients/{cast.patient.key}/eyes/"))
    assert "Choose two visits of different clinicians" in page


def test_a_visit_of_another_patient_is_not_compared(cast):
    other = Patient.objects.create(code="PLOVER-2", owner=cast.stranger)
    address = f"/patients/{cast.patient.key}/eyes/?a={cast.examination.pk}&b={other.key}"
    assert cast.client("owner").get(address).status_code == 404


def test_a_choice_left_empty_is_the_latest_visit(cast):
    touch(cast.client("owner"), cast.examination, tender(2))
    page = cast.client("owner").get(f"/patients/{cast.patient.key}/eyes/?a=&b=")
    assert "findings of one clinician" in _plain(page)


@pytest.mark.parametrize("visit", ["", "short", "stiff"])
def test_the_blank_form_of_a_kind_of_visit_is_a_page(cast, visit):
    page = cast.client("owner").get(f"/paper/?visit={visit}")
    assert page.status_code == 200
    assert "HERON" not in page.content.decode()


def test_an_unknown_kind_of_visit_has_no_form(cast):
    assert cast.client("owner").get("/paper/?visit=dance").status_code == 404


def test_the_course_shows_scores_with_their_detectable_change_and_what_was_done(cast):
    later = cast.open(examined_at="2026-06-01T09:40:00+00:00")
    client = cast.client("owner")
    step = {"kind": "step", "state": "done", "name": "exercises", "detail": "pendulum"}
    for number, (visit, pain) in enumerate(((cast.examination, 8), (later, 3))):
        deeds = (Stated(field="pain_0_10", value=pain), Cared.model_validate({"entry": step}))
        append(visit, [Entry(id=f"{number}.{place}", at=WHEN, by="OWNER", deed=deed)
                       for place, deed in enumerate(deeds)])  # fmt: skip
    Examination.objects.filter(pk=later.pk).update(examined_at="2026-06-01T09:40:00+00:00")
    Examination.objects.filter(pk=cast.examination.pk).update(
        examined_at="2026-03-02T09:40:00+00:00"
    )
    page = _plain(client.get(f"/patients/{cast.patient.key}/"))
    assert "exercises: pendulum (OWNER)" in page
    # Mintken et al. 2009, detectable change of pain 0 to 10: MDC90 2.5 (memory), so MDC95 3.0.
    assert re.search(r"pain, 0 to 10.*8.*3.*3\b.*Sources: .*Mintken", page)


def test_an_earlier_revision_keeps_what_was_done_at_it(cast):
    about = {"at": WHEN, "by": "OWNER"}
    step = {"kind": "step", "state": "done", "name": "exercises", "detail": "pendulum"}
    append(cast.examination, [
        Entry(id="c", deed=Cared.model_validate({"entry": step}), **about),
        Entry(id="s", deed=Signed(), **about),
        Entry(id="a", deed=Amended(reason="left and right"), **about),
    ])  # fmt: skip
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/revisions/1/")
    assert "exercises: pendulum" in page.content.decode()


HOT = [
    {"item": "warmth", "side": "left", "value": {"kind": "choice", "choice": "hot"}},
    {"item": "gh_swelling", "side": "left", "value": {"kind": "sign", "grade": "marked"}},
]
FEVER = {"do": "state", "field": "history.fever", "value": "yes"}


def _hot_visit(cast):
    touch(cast.client("owner"), cast.examination, *HOT)
    entry = {"id": "f1", "at": "2026-03-02T09:41:00Z", "deed": FEVER}
    send(cast.client("owner"), cast.examination, [entry])
    Examination.objects.filter(pk=cast.examination.pk).update(
        examined_at=datetime(2026, 3, 2, 9, 41, tzinfo=UTC)
    )


@pytest.mark.parametrize("address", ["/", "/patients/"])
def test_a_flag_of_an_earlier_visit_that_none_has_excluded_shows_with_its_date(cast, address):
    _hot_visit(cast)
    begun = cast.client("owner").post(f"/patients/{cast.patient.key}/examine/", {"visit": "short"})
    assert begun.status_code == 302
    page = _plain(cast.client("owner").get(address))
    assert "RED FLAG of 2 Mar 2026 hot, swollen joint (emergency), not excluded since" in page
