"""Sessions: how they end, at the server, and what a page is told.

Item numbers are those of OWASP ASVS 5.0.0.
"""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse

from sidewise.web.accounts import sessions
from sidewise.web.accounts.models import SignedIn
from tests.safe.conftest import PASSWORD, Clinic, make_person
from tests.safe.test_sign_in import sign_in

pytestmark = pytest.mark.django_db
PAGE = "HX-Request"


@pytest.fixture
def dunlin() -> Any:
    return make_person("dunlin", "clinician")


def age(client: Client, **ago: float) -> None:
    """Move what the session remembers into the past."""
    session = client.session
    for name, seconds in ago.items():
        session[name] -= seconds
    session.save()


def signed_in(name: str = "dunlin") -> Client:
    client = Client()
    assert sign_in(client, name).status_code == 302
    return client


@pytest.mark.parametrize(("idle", "alive"), [(29 * 60, True), (30 * 60 + 1, False)])
def test_an_untouched_session_ends_after_half_an_hour(dunlin: Any, idle: int, alive: bool) -> None:
    """7.3.1."""
    client = signed_in()
    age(client, seen=idle)
    assert (client.get(reverse("today")).status_code == 200) is alive
    assert Session.objects.exists() is alive


@pytest.mark.parametrize(("old", "alive"), [(12 * 3600 - 60, True), (12 * 3600 + 1, False)])
def test_a_session_ends_after_twelve_hours_however_busy(dunlin: Any, old: int, alive: bool) -> None:
    """7.3.2."""
    client = signed_in()
    age(client, started=old)
    assert (client.get(reverse("today")).status_code == 200) is alive


def test_asking_how_long_does_not_prolong(dunlin: Any) -> None:
    client = signed_in()
    age(client, seen=1000)
    headers = {sessions.BACKGROUND: "1"}
    left = client.get(reverse("session"), headers=headers).json()["seconds_left"]
    assert left == pytest.approx(800, abs=5)
    again = client.get(reverse("session"), headers=headers).json()["seconds_left"]
    assert again <= left


def test_a_touch_prolongs(dunlin: Any) -> None:
    client = signed_in()
    age(client, seen=1000)
    client.get(reverse("today"))
    assert client.get(reverse("session")).json()["seconds_left"] > 1700


def test_a_script_is_told_401_instead_of_being_given_the_sign_in_page(dunlin: Any) -> None:
    response = Client().get(reverse("today"), headers={PAGE: "true"})
    assert response.status_code == 401
    assert response["X-Sidewise-Sign-In"] == "/sign-in/"
    assert b"form" not in response.content


def test_sign_out_ends_the_session_at_the_server(dunlin: Any) -> None:
    """7.4.1: a copy of the cookie is worth nothing afterwards."""
    client = signed_in()
    copy = Client()
    copy.cookies = client.cookies.copy()
    client.post(reverse("sign-out"))
    assert copy.get(reverse("today")).status_code == 302
    assert not SignedIn.objects.exists()


def test_sign_out_by_get_is_refused(dunlin: Any) -> None:
    """3.5.3."""
    client = signed_in()
    assert client.get(reverse("sign-out")).status_code == 405
    assert client.get(reverse("today")).status_code == 200


def test_sign_out_clears_the_cache_and_leaves_the_encrypted_queue(dunlin: Any) -> None:
    """14.3.1; "storage" would erase what has not been sent yet."""
    response = signed_in().post(reverse("sign-out"))
    assert response["Clear-Site-Data"] == '"cache"'


def test_stopping_an_account_ends_its_sessions(clinic: Clinic) -> None:
    """7.4.2."""
    client = signed_in("owner")
    clinic.client("administrator").post(reverse("stop-person", args=[clinic.owner.pk]))
    assert client.get(reverse("today")).status_code == 302
    assert not SignedIn.objects.filter(user=clinic.owner).exists()


def test_an_administrator_ends_anyones_sessions(clinic: Clinic) -> None:
    """7.4.5."""
    client = signed_in("owner")
    clinic.client("administrator").post(reverse("end-sessions", args=[clinic.owner.pk]))
    assert client.get(reverse("today")).status_code == 302


def test_a_person_sees_and_ends_their_own_sessions(dunlin: Any) -> None:
    """7.5.2."""
    lost, here = signed_in(), signed_in()
    page = here.get(reverse("account")).content.decode()
    assert page.count("End this session") == 1
    other = SignedIn.objects.get(session_key=lost.session.session_key)
    here.post(reverse("end-session", args=[other.pk]))
    assert lost.get(reverse("today")).status_code == 302
    assert here.get(reverse("today")).status_code == 200


def test_ones_own_sessions_are_ended_only_after_signing_in_lately(dunlin: Any) -> None:
    """7.5.2."""
    lost, here = signed_in(), signed_in()
    age(here, confirmed=601)
    other = SignedIn.objects.get(session_key=lost.session.session_key)
    answer = here.post(reverse("end-session", args=[other.pk]))
    assert answer["Location"].startswith(reverse("confirm"))
    assert lost.get(reverse("today")).status_code == 200


def test_nobody_ends_somebody_elses_session(clinic: Clinic) -> None:
    client = signed_in("owner")
    row = SignedIn.objects.get(user=clinic.owner)
    assert clinic.client("stranger").post(reverse("end-session", args=[row.pk])).status_code == 404
    assert client.get(reverse("today")).status_code == 200


def test_the_ninth_session_ends_the_oldest(dunlin: Any) -> None:
    """7.1.2."""
    clients = [signed_in() for _ in range(sessions.AT_ONCE + 1)]
    alive = [client.get(reverse("today")).status_code == 200 for client in clients]
    assert alive == [False] + [True] * sessions.AT_ONCE


def test_a_changed_password_ends_every_other_session(dunlin: Any) -> None:
    other, here = signed_in(), signed_in()
    new = {"current": PASSWORD, "password": "nineteen salt marshes"}
    assert here.post(reverse("password"), new).status_code == 302
    assert other.get(reverse("today")).status_code == 302
    assert here.get(reverse("today")).status_code == 200


def test_the_current_password_is_needed_for_a_new_one(dunlin: Any) -> None:
    """6.2.3."""
    wrong = {"current": "guess", "password": "nineteen salt marshes"}
    response = signed_in().post(reverse("password"), wrong)
    assert response.status_code == 422
    assert "not the current password" in response.content.decode()


@pytest.mark.parametrize(
    ("password", "words"),
    [
        ("short one", "too short"),
        ("1qaz2wsx3edc", "too common"),
        ("oystercatcher1", "too similar"),
    ],
)
def test_a_weak_password_is_refused_with_the_reason(password: str, words: str) -> None:
    """6.2.1, 6.2.4."""
    make_person("oystercatchers", "clinician")
    data = {"current": PASSWORD, "password": password}
    response = signed_in("oystercatchers").post(reverse("password"), data)
    assert response.status_code == 422
    assert words in response.content.decode()


def test_a_long_plain_password_is_taken(dunlin: Any) -> None:
    """6.2.5, 6.2.9: no rules of composition; 64 characters and more."""
    data = {"current": PASSWORD, "password": "the tide goes out twice a day " * 3}
    assert signed_in().post(reverse("password"), data).status_code == 302


@pytest.mark.parametrize("view", ["password", "second-factor"])
def test_sign_in_data_are_changed_only_after_the_password_was_given_lately(
    dunlin: Any, view: str
) -> None:
    """7.5.1."""
    client = signed_in()
    age(client, confirmed=601)
    response = client.get(reverse(view))
    assert response["Location"] == f"{reverse('confirm')}?next=%2Faccount%2F{view}%2F"
    client.post(response["Location"], {"password": PASSWORD})
    assert client.get(reverse(view)).status_code == 200


def test_the_password_asked_for_again_is_slowed_down_too(dunlin: Any) -> None:
    client = signed_in()
    answers = [client.post(reverse("confirm"), {"password": "x"}).status_code for _ in range(6)]
    assert answers == [422] * 5 + [429]
