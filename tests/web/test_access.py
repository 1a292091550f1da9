"""Who may do what, view by view: owner, colleague who may write, reader, stranger."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse

from tests.web.cast import tender, touch

READING = (
    "stage/look/", "row/neer/", "item/neer/", "about/", "history/", "figure/",
    "figure/movement/",
    "meaning/", "note/", "file/", "care/", "plan/", "leaflet/", "paper/fhir.json/")  # fmt: skip
WRITING = {
    "record/": {"places": "coracoid_tenderness left", "value": '{"kind":"tenderness","grade":2}'},
    "history/answer/": {"state": "history.fever", "answer": "no"},
    "history/vitals/": {"temperature": "36.8"},
    "about/": {"age": "58"},
    "care/": {"kind": "step", "step-state": "done", "step-name": "advice"},
    "sign/": {"keep": "1"},
    "discard/": {"reason": "begun by mistake"},
}
WRITERS_PAGES = ("rest/look/", "sign/", "amend/", "discard/")


def _address(cast, part):
    return f"/examinations/{cast.examination.pk}/{part}"


@pytest.mark.parametrize("part", READING)
def test_owner_colleague_and_reader_may_read(cast, part):
    for who in ("owner", "colleague", "reader"):
        answer = cast.client(who).get(_address(cast, part), follow=True)
        assert answer.status_code == 200, who


@pytest.mark.parametrize("part", READING + WRITERS_PAGES)
def test_to_a_stranger_no_page_exists(cast, part):
    assert cast.client("stranger").get(_address(cast, part)).status_code == 404


@pytest.mark.parametrize("part", WRITING)
def test_a_reader_may_not_write(cast, part):
    answer = cast.client("reader").post(_address(cast, part), WRITING[part])
    assert answer.status_code == 403


@pytest.mark.parametrize("part", WRITING)
def test_a_stranger_writes_into_nothing(cast, part):
    answer = cast.client("stranger").post(_address(cast, part), WRITING[part])
    assert answer.status_code == 404


@pytest.mark.parametrize("part", WRITING)
def test_owner_and_colleague_may_write(cast, part):
    for who in ("owner", "colleague"):
        cast.examination = cast.open()
        answer = cast.client(who).post(_address(cast, part), WRITING[part])
        assert answer.status_code == 302, who


@pytest.mark.parametrize(("who", "status"), [("owner", 200), ("colleague", 200), ("reader", 403),
                                             ("stranger", 404)])  # fmt: skip
def test_touches_keep_to_the_same_rules(cast, who, status):
    assert touch(cast.client(who), cast.examination, tender(2)).status_code == status


@pytest.mark.parametrize("part", ["", "course.svg", "compare/"])
def test_a_strangers_patient_does_not_exist(cast, part):
    answer = cast.client("stranger").get(f"/patients/{cast.patient.key}/{part}")
    assert answer.status_code == 404


def test_a_reader_may_not_begin_an_examination(cast):
    answer = cast.client("reader").get(f"/patients/{cast.patient.key}/examine/")
    assert answer.status_code == 403


def test_nobody_sees_anything_without_signing_in(cast):
    parts = READING + WRITERS_PAGES
    for part in parts:
        answer = Client().get(_address(cast, part))
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in/")
    assert len(parts) == 18


def test_the_list_shows_only_what_one_may_read(cast):
    assert b"HERON-1" in cast.client("reader").get("/patients/").content
    assert b"HERON-1" not in cast.client("stranger").get("/patients/").content


def test_a_colleagues_finding_carries_the_colleagues_name(cast):
    touch(cast.client("colleague"), cast.examination, tender(2))
    assert cast.record.findings[0].examiner == "COLLEAGUE"


def test_every_view_of_an_examination_is_in_this_list():
    names = {p.name for p in _patterns(get_resolver().url_patterns) if _is_examination(p)}
    tested = {"touch", "row", "item", "stage", "rest", "examination", "instrument", "answer",
              "vitals", "revision", "about", "history", "figure", "meaning", "note", "file",
              "record", "sign", "amend", "discard", "line", "movement", "care",
              "move", "mirror", "visit-plan", "leaflet", "print-paper"}  # fmt: skip
    visits = {"today", "preferences", "patient", "patients", "new-examination", "course", "compare",
              "eyes", "paper"}  # fmt: skip
    assert names == tested | visits | {"queue", "held", "since"}
    assert len(tested) == 28


def _is_examination(pattern):
    return pattern.callback.__module__.startswith("sidewise.web.examinations")


def _patterns(patterns):
    for pattern in patterns:
        if isinstance(pattern, URLPattern):
            yield pattern
        else:
            yield from _patterns(pattern.url_patterns)


def test_no_address_can_carry_a_code_or_a_finding(cast):
    page = cast.client("owner").get(reverse("patient", args=[cast.patient.key]))
    assert b'href="/patients/HERON' not in page.content
    assert b"HERON-1" in page.content
