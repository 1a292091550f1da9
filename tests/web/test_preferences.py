"""What one person usually does, and the first tour."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from sidewise.web.examinations.models import Preferences
from tests.web.cast import PASSWORD

pytestmark = pytest.mark.django_db


def fields(client: Client, address: str) -> str:
    """The instrument in the fields of a page."""
    page = client.get(address).content.decode()
    (found,) = set(re.findall(r'angle.instrument" value="(\w+)"', page))
    return str(found)


def test_what_is_usual_is_chosen_beforehand_and_can_be_changed(cast):
    client = cast.client("owner")
    client.post("/preferences/", {"setting": "sports", "instrument": "goniometer"})
    page = client.get(f"/patients/{cast.patient.key}/examine/").content.decode()
    assert '<option value="sports" selected>' in page
    assert fields(client, f"/examinations/{cast.examination.pk}/stage/move/") == "goniometer"


def test_it_is_known_again_at_the_next_sign_in_on_another_device(cast):
    cast.client("owner").post("/preferences/", {"setting": "", "instrument": "phone"})
    other = Client()
    other.post("/sign-in/", {"username": cast.owner.username, "password": PASSWORD})
    assert other.session["usual_instrument"] == "phone"


def test_an_instrument_chosen_for_one_patient_is_not_that_of_the_next(cast):
    client = cast.client("owner")
    here = f"/examinations/{cast.examination.pk}"
    client.post(f"{here}/instrument/", {"instrument": "inclinometer"})
    assert fields(client, f"{here}/stage/move/") == "inclinometer"
    client.post("/patients/new/", {"code": "WHIMBREL-9"})
    new = client.post(f"{_newest(client)}examine/", {"age": "40"})
    assert fields(client, new["Location"].replace("history/#core", "stage/move/")) == "eye"
    assert fields(client, f"{here}/stage/move/") == "inclinometer"


def _newest(client: Client) -> str:
    from sidewise.web.patients.models import Patient

    return f"/patients/{Patient.objects.get(code='WHIMBREL-9').key}/"


def test_an_instrument_that_is_none_is_refused_with_its_message(cast):
    answer = cast.client("owner").post("/preferences/", {"instrument": "ruler"})
    assert answer.status_code == 422
    assert "ruler" in answer.content.decode()
    assert not Preferences.objects.exists()


def test_the_tour_is_shown_until_it_is_skipped_and_stays_to_be_read(cast):
    client = cast.client("owner")
    page = client.get("/").content.decode()
    (tour,) = re.findall(r'<section class="card tour".*?</section>', page, re.S)
    # Silent reading: about 240 words a minute (Brysbaert, J Mem Lang 2019;109:104047, recalled).
    assert 80 < len(re.sub(r"<[^>]+>", " ", tour).split()) <= 240
    client.post("/preferences/", {"toured": "1"})
    assert "card tour" not in client.get("/").content.decode()
    assert "card tour" in client.get("/preferences/").content.decode()


def test_one_persons_choices_are_not_anothers(cast):
    cast.client("owner").post("/preferences/", {"setting": "ward", "instrument": ""})
    assert '"ward" selected' not in cast.client("colleague").get("/preferences/").content.decode()
