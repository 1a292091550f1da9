"""A page from before the present sign-in: nothing of it is done, and it is told so rightly."""

from __future__ import annotations

import json
import re

import pytest
from django.test import Client
from django.urls import reverse

from sidewise.web.examinations.models import LedgerEntry
from tests.safe.conftest import PASSWORD, Clinic, entry
from tests.simulation.service import token_in

pytestmark = pytest.mark.django_db


def sign_in(client: Client, who: str) -> None:
    page = client.get("/sign-in/").content.decode()
    form = {"username": who, "password": PASSWORD, "csrfmiddlewaretoken": token_in(page)}
    assert client.post("/sign-in/", form).status_code == 302


def sign_out(client: Client, page: str) -> None:
    client.post("/sign-out/", {"csrfmiddlewaretoken": token_in(page)})


@pytest.fixture
def former(clinic: Clinic) -> tuple[Client, str]:
    """A browser, and the signing page that it opened before its person signed out in a tab."""
    client = Client(enforce_csrf_checks=True)
    sign_in(client, "owner")
    page = client.get(reverse("sign", args=[clinic.examination.pk])).content.decode()
    sign_out(client, page)
    return client, page


@pytest.mark.parametrize("who", ["owner", "colleague"])
def test_a_touch_of_a_page_from_before_is_told_that_it_is_signed_out(
    clinic: Clinic, former: tuple[Client, str], who: str
) -> None:
    """Not "you may read but not change": the tablet keeps the touch and blanks the page."""
    client, page = former
    sign_in(client, who)
    before = LedgerEntry.objects.count()
    token = re.search(r'"X-CSRFToken": "([^"]+)"', page)
    assert token
    answer = client.post(
        reverse("touch", args=[clinic.examination.pk]), json.dumps({"entries": [entry()]}),
        content_type="application/json", headers={"X-CSRFToken": token[1], "HX-Request": "true"},
    )  # fmt: skip
    assert (answer.status_code, answer.json()) == (401, {"signed_in": False})
    assert LedgerEntry.objects.count() == before


def test_a_form_of_a_page_from_before_says_what_to_do(
    clinic: Clinic, former: tuple[Client, str]
) -> None:
    client, page = former
    sign_in(client, "owner")
    form = {"keep": "1", "impression": "x", "csrfmiddlewaretoken": token_in(page)}
    answer = client.post(reverse("sign", args=[clinic.examination.pk]), form)
    assert answer.status_code == 403
    assert "opened before the present sign-in" in answer.content.decode()


def test_a_late_answer_brings_no_former_persons_page_back(
    clinic: Clinic, former: tuple[Client, str]
) -> None:
    """The former token stands beside the next person's session: nothing is done in their name."""
    client, page = former
    token = client.cookies["csrftoken"].value
    sign_in(client, "colleague")
    client.cookies["csrftoken"] = token
    headers = re.search(r"hx-headers='([^']+)'", page)
    assert headers
    before = LedgerEntry.objects.count()
    answer = client.post(
        reverse("touch", args=[clinic.examination.pk]), json.dumps({"entries": [entry()]}),
        content_type="application/json", headers=json.loads(headers[1]),
    )  # fmt: skip
    assert (answer.status_code, answer.json()) == (401, {"signed_in": False})
    hidden = dict(
        re.findall(r'name="(csrfmiddlewaretoken|page_account|seen)" value="([^"]*)"', page)
    )
    answer = client.post(reverse("sign", args=[clinic.examination.pk]), {**hidden, "sign": "1"})
    assert answer.status_code == 403
    assert LedgerEntry.objects.count() == before
