"""A page in another language: chosen by its person, marked as unreviewed, and only shown so."""

from __future__ import annotations

import json
from typing import Any

import pytest

from sidewise.ground.language import language, speak, term
from sidewise.web.examinations.models import Preferences
from sidewise.web.language import CHOSEN
from tests.shoulder import PROTOCOL

UNREVIEWED = "not reviewed by a clinician"


@pytest.fixture
def german(cast: Any) -> Any:
    """The owner, who reads German."""
    client = cast.client("owner")
    session = client.session
    session[CHOSEN] = "de"
    session.save()
    return client


def text_of(client: Any, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return str(answer.content.decode())


def test_a_language_is_chosen_in_the_preferences_and_kept(cast: Any) -> None:
    client = cast.client("owner")
    sent = {"setting": "", "instrument": "", "language": "de"}
    assert client.post("/preferences/", sent).status_code == 302
    assert Preferences.objects.get(user__username="owner").language == "de"
    page = text_of(client, "/preferences/")
    assert '<html lang="de">' in page
    assert "Einstellungen" in page
    assert UNREVIEWED in page
    wrong = client.post("/preferences/", {**sent, "language": "xx"})
    assert wrong.status_code == 422


def test_a_stage_is_german_with_both_sides_where_they_were(cast: Any, german: Any) -> None:
    address = f"/examinations/{cast.examination.pk}/"
    stage = text_of(german, f"{address}stage/feel/")
    assert stage.index("Patient RECHTS") < stage.index("Patient LINKS")
    assert 'aria-label="rechts am Patienten, Akromion' in stage
    item = text_of(german, f"{address}item/neer/")
    with speak("de"):
        assert term(PROTOCOL.by_id["neer"].say) in item
    assert "auffällig" in item


def test_one_language_does_not_leak_into_the_other(cast: Any, german: Any) -> None:
    """Rows are rendered once and kept: each language has its own."""
    address = f"/examinations/{cast.examination.pk}/stage/feel/"
    plain = cast.client("owner")
    before = text_of(plain, address)
    there = text_of(german, address)
    after = text_of(plain, address)
    label = PROTOCOL.by_id["sternum_tenderness"].label
    assert '<html lang="en">' in before
    assert f">{label}<" in before
    assert f">{label}<" in after
    assert f">{label}<" not in there
    assert language() == "en"


def test_what_is_recorded_on_a_german_page_is_english(cast: Any, german: Any) -> None:
    address = f"/examinations/{cast.examination.pk}/"
    german.post(
        f"{address}record/",
        {"places": "bruising left", "value": json.dumps({"kind": "sign", "grade": "present"})},
    )
    kept = text_of(cast.client("owner"), f"{address}stage/look/")
    assert "present" in kept
    assert "vorhanden" not in text_of(german, f"{address}file/")
    note = text_of(german, f"{address}note/")
    assert "Hämatom" in note
    assert "links vorhanden" in note


def test_a_raised_flag_is_english_on_a_german_page(cast: Any, german: Any) -> None:
    address = f"/examinations/{cast.examination.pk}/"
    for name in ("fever", "infection_risk"):
        german.post(f"{address}history/answer/", {"state": f"history.{name}", "answer": "yes"})
    page = text_of(german, f"{address}history/")
    assert "Suspect" in page
    assert "How fast:" in page
