"""Faults once found by walking the pages, as far as no browser is needed to look for them."""

from __future__ import annotations

import re

import pytest

from sidewise.record.ledger import Entry, Signed
from sidewise.web.examinations import state
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import append
from tests.safe.conftest import WHEN
from tests.shoulder import PROTOCOL
from tests.web.cast import person, send, tender, touch

# Kept before a fixture puts a stand-in into its place.
REALLY_WEIGH = state.weigh


def _page(client, path):
    return client.get(path).content.decode()


def _stages(cast):
    return [f"/examinations/{cast.examination.pk}/stage/{s.slug}/" for s in PROTOCOL.stages]


def test_one_touch_names_what_is_normal_and_never_the_fault(cast):
    client = cast.client("owner")
    pages = "".join(_page(client, path) for path in _stages(cast))
    buttons = re.findall(r'class="one-touch[^"]*"[^>]*>([^<]+)<', pages)
    assert len(buttons) > 60
    assert [words for words in buttons if words.lower().startswith("normal:")] == []
    faults = {item.label.lower() for item in PROTOCOL.items if item.normal_words}
    assert len(faults) >= 3
    assert faults.isdisjoint(words.lower() for words in buttons)


def test_nothing_is_suggested_after_an_emergency(cast, monkeypatch):
    monkeypatch.setattr(state, "weigh", REALLY_WEIGH)
    client = cast.client("owner")
    meaning = f"/examinations/{cast.examination.pk}/meaning/"
    assert "would tell most next" in _page(client, meaning)
    warm, swollen = {"kind": "choice", "choice": "hot"}, {"kind": "sign", "grade": "marked"}
    touch(client, cast.examination, {"item": "warmth", "side": "left", "value": warm},
          {"item": "gh_swelling", "side": "left", "value": swollen})  # fmt: skip
    fever = {"do": "state", "field": "history.fever", "value": "yes"}
    send(client, cast.examination, [{"id": "f", "at": "2026-03-02T09:41:00Z", "deed": fever}])
    page = _page(client, meaning)
    assert "would tell most next" not in page
    assert "Stop here: hot, swollen joint" in page


@pytest.mark.parametrize("role", ["clinician", "teacher", "student", "administrator"])
def test_whatever_the_first_page_of_a_role_links_to_opens(cast, client, role):
    client.force_login(person(f"a-{role}", role))
    links = set(re.findall(r'<a [^>]*href="(/[^"#]*)"', _page(client, "/")))
    assert "/account/" in links
    answers = {link: client.get(link, follow=True).status_code for link in links}
    assert answers == dict.fromkeys(links, 200)


def test_a_signed_record_says_not_examined_under_every_heading_without_a_finding(cast):
    client = cast.client("owner")
    touch(client, cast.examination, tender(2))
    append(cast.examination, [Entry(id="s", at=WHEN, by="OWNER", deed=Signed())])
    swept = 0
    for path in _stages(cast):
        for row in re.findall(r"<article .*?</article>", _page(client, path), re.S):
            words = re.sub(r"<h4>.*?</h4>|<[^>]+>", " ", row, flags=re.S)
            if "tender (2" not in words:
                assert "not examined" in words, row
            swept += 1
    assert swept == 80


def test_the_side_without_a_finding_says_so_in_a_signed_record(cast):
    client = cast.client("owner")
    touch(client, cast.examination, tender(2))
    append(cast.examination, [Entry(id="s", at=WHEN, by="OWNER", deed=Signed())])
    page = _page(client, f"/examinations/{cast.examination.pk}/stage/feel/")
    row = page.partition('id="row-coracoid_tenderness"')[2].partition("</article>")[0]
    right, _, left = row.partition('class="item"')
    assert "not examined" in right
    assert "not examined" not in left
    assert "tender (2" in left


def _at(visit, moment):
    Examination.objects.filter(pk=visit.pk).update(examined_at=moment)


def _three_visits(cast):
    morning, noon = "2026-03-02T09:40:00+00:00", "2026-03-02T12:00:00+00:00"
    june = "2026-06-01T09:40:00+00:00"
    _at(cast.examination, morning)
    for moment in (noon, june):
        _at(cast.open(examined_at=moment, pain_0_10=4), moment)


def test_two_visits_of_one_day_do_not_take_the_course_away(cast):
    _three_visits(cast)
    page = _page(cast.client("owner"), f"/patients/{cast.patient.key}/")
    assert "2 visits on 2 March 2026, of which the latest stands in the course" in page
    assert "No course can be drawn" not in page
    picture = cast.client("owner").get(f"/patients/{cast.patient.key}/course.svg")
    assert picture.status_code == 200


def test_two_visits_of_one_day_alone_are_repeats_and_still_compared(cast):
    later = cast.open(examined_at="2026-03-02T12:00:00+00:00")
    client, patient = cast.client("owner"), f"/patients/{cast.patient.key}/"
    assert "their readings are repeats" in _page(client, patient)
    page = _page(client, f"{patient}compare/?a={cast.examination.pk}&b={later.pk}")
    assert "their readings are repeats" in page
    assert "findings of both visits" in page
