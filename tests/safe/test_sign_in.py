"""Signing in: what is told, what is slowed down, and that nobody can lock out somebody else.

Item numbers are those of OWASP ASVS 5.0.0.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import MD5PasswordHasher
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from sidewise.web.accounts import throttle
from sidewise.web.accounts.models import Failure, KnownDevice, SignedIn
from sidewise.web.audit.models import AuditLine
from tests.safe.conftest import PASSWORD, Clinic, make_person

pytestmark = pytest.mark.django_db


def sign_in(client: Client, name: str, password: str = PASSWORD, **more: Any) -> Any:
    return client.post(reverse("sign-in"), {"username": name, "password": password}, **more)


def wrong(client: Client, name: str, times: int, **more: Any) -> Any:
    for _ in range(times):
        response = sign_in(client, name, "not the password", **more)
    return response


def test_right_name_and_password_lead_to_the_first_page() -> None:
    make_person("dunlin", "clinician")
    response = sign_in(Client(), "dunlin")
    assert response.status_code == 302
    assert response["Location"] == reverse("today")


@pytest.mark.parametrize("name", ["dunlin", "nobody-of-that-name"])
def test_a_wrong_password_and_an_unknown_name_read_the_same(name: str) -> None:
    """6.3.8: whether an account exists is not told."""
    make_person("dunlin", "clinician")
    response = sign_in(Client(), name, "not the password")
    assert response.status_code == 422
    assert "do not match an account here" in response.content.decode()


@pytest.mark.parametrize("name", ["dunlin", "stopped", "new", "nobody-of-that-name"])
def test_every_wrong_try_costs_one_slow_hash_whoever_it_names(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """6.3.8: the hash takes nearly all of the time. The time itself is not measured here."""
    make_person("dunlin", "clinician")
    make_person("stopped", "clinician", is_active=False)
    new = make_person("new", "clinician")
    new.set_unusable_password()
    new.save()
    hashes = []
    encode = MD5PasswordHasher.encode

    def counted(self: Any, password: str, salt: str) -> str:
        hashes.append(salt)
        return encode(self, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", counted)
    assert sign_in(Client(), name, "not the password").status_code == 422
    assert len(hashes) == 1


def test_a_stopped_account_cannot_sign_in() -> None:
    make_person("dunlin", "clinician", is_active=False)
    assert sign_in(Client(), "dunlin").status_code == 422


def test_a_password_counts_exactly_as_typed() -> None:
    """6.2.8: no trimming, no case folding, nothing cut off."""
    user = make_person("dunlin", "clinician")
    user.set_password("  Seven Sandbars " + "x" * 80)
    user.save()
    assert sign_in(Client(), "dunlin", "  Seven Sandbars " + "x" * 80).status_code == 302
    assert sign_in(Client(), "dunlin", "Seven Sandbars " + "x" * 80).status_code == 422
    assert sign_in(Client(), "dunlin", "  Seven Sandbars " + "x" * 79).status_code == 422


@pytest.mark.parametrize(("tries", "status"), [(4, 422), (5, 422), (6, 429)])
def test_the_sixth_wrong_try_has_to_wait(tries: int, status: int) -> None:
    """6.3.1."""
    make_person("dunlin", "clinician")
    assert wrong(Client(), "dunlin", tries).status_code == status


def test_while_waiting_even_the_right_password_is_not_listened_to() -> None:
    make_person("dunlin", "clinician")
    client = Client()
    wrong(client, "dunlin", 5)
    response = sign_in(client, "dunlin")
    assert response.status_code == 429
    assert "Try again in" in response.content.decode()


def test_the_wait_doubles_and_ends() -> None:
    buckets = throttle.buckets("dunlin", "203.0.113.7", None)
    start = timezone.now()
    for _ in range(5):
        throttle.count_failure(buckets, start)
    assert throttle.wait_s(buckets, start) == 30
    assert throttle.wait_s(buckets, start + timedelta(seconds=31)) == 0
    throttle.count_failure(buckets, start + timedelta(seconds=31))
    assert throttle.wait_s(buckets, start + timedelta(seconds=31)) == 60


def test_nobody_can_lock_out_a_person_on_a_device_they_have_used() -> None:
    """6.1.1: a thousand wrong guesses from the same room leave the owner's tablet free."""
    make_person("dunlin", "clinician")
    tablet = Client()
    assert sign_in(tablet, "dunlin").status_code == 302
    tablet.post(reverse("sign-out"))
    attacker = Client()
    for _ in range(1000):
        throttle.count_failure(throttle.buckets("dunlin", "127.0.0.1", None))
    assert sign_in(attacker, "dunlin").status_code == 429
    assert sign_in(tablet, "dunlin").status_code == 302


def test_nobody_can_lock_out_a_person_at_another_address() -> None:
    make_person("dunlin", "clinician")
    wrong(Client(REMOTE_ADDR="198.51.100.9"), "dunlin", 20)
    assert sign_in(Client(REMOTE_ADDR="203.0.113.7"), "dunlin").status_code == 302


def test_a_device_known_to_one_account_is_no_key_to_another() -> None:
    make_person("dunlin", "clinician")
    make_person("knot", "clinician")
    tablet = Client()
    sign_in(tablet, "dunlin")
    tablet.post(reverse("sign-out"))
    assert wrong(tablet, "knot", 6).status_code == 429


def test_two_people_may_share_one_known_tablet() -> None:
    tablet = Client()
    for name in ("dunlin", "knot"):
        make_person(name, "clinician")
        assert sign_in(tablet, name).status_code == 302
        tablet.post(reverse("sign-out"))
    assert KnownDevice.objects.count() == 2
    for name in ("dunlin", "knot"):
        wrong(Client(), name, 6)
        assert sign_in(tablet, name).status_code == 302
        tablet.post(reverse("sign-out"))


def test_many_names_from_one_address_are_slowed_down_too() -> None:
    """2.4.1: one password tried on many accounts."""
    client = Client()
    for number in range(throttle.FREE_TRIES_ADDRESS):
        throttle.count_failure(throttle.buckets(f"person{number}", "127.0.0.1", None))
    assert sign_in(client, "one-more").status_code == 429


def test_the_forwarded_address_counts_only_behind_our_own_proxy(settings: Any) -> None:
    make_person("dunlin", "clinician")
    for number in range(6):
        response = sign_in(
            Client(), "dunlin", "wrong", headers={"x-forwarded-for": f"203.0.113.{number}"}
        )
    assert response.status_code == 429
    settings.PROXIES = 1
    response = sign_in(Client(), "dunlin", "wrong", headers={"x-forwarded-for": "1.1.1.1, 9.9.9.9"})
    assert response.status_code == 422
    assert AuditLine.objects.last().origin == "9.9.9.9"


def test_a_failed_name_that_is_no_account_is_kept_nowhere() -> None:
    """16.2.5: it may be a password typed into the wrong field."""
    sign_in(Client(), "my secret sandbar", "x")
    line = AuditLine.objects.last()
    assert (line.act, line.what, line.who) == ("sign in failed", "account", "nobody")
    assert not Failure.objects.filter(bucket__contains="sandbar").exists()


def test_every_try_leaves_a_line() -> None:
    """16.3.1."""
    user = make_person("dunlin", "clinician")
    client = Client()
    wrong(client, "dunlin", 1)
    sign_in(client, "dunlin")
    client.post(reverse("sign-out"))
    acts = [line.act for line in AuditLine.objects.filter(what=f"account:{user.pk}")]
    assert acts == ["sign in failed", "sign in", "sign out"]


def test_a_session_token_from_before_signing_in_is_dead_afterwards() -> None:
    """7.2.4: fixation."""
    make_person("dunlin", "clinician")
    client = Client()
    client.get(reverse("sign-in"))
    session = client.session
    session["x"] = 1
    session.save()
    before = session.session_key
    sign_in(client, "dunlin")
    assert client.session.session_key != before
    assert not client.session.exists(before)


@pytest.mark.parametrize(
    ("wanted", "goes"),
    [
        ("/patients/", "/patients/"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/", "/"),
        ("javascript:alert(1)", "/"),
        ("today", "/"),
    ],
)
def test_signing_in_goes_on_to_this_site_only(wanted: str, goes: str) -> None:
    """3.7.2."""
    make_person("dunlin", "clinician")
    data = {"username": "dunlin", "password": PASSWORD, "next": wanted}
    assert Client().post(reverse("sign-in"), data)["Location"] == goes


def test_passwords_are_stored_with_argon2id(settings: Any) -> None:
    """11.4.2; with the setting itself, which the other tests replace for speed."""
    from sidewise.web import settings as ours

    settings.PASSWORD_HASHERS = ours.PASSWORD_HASHERS
    stored = make_person("dunlin", "clinician").password
    assert stored.startswith("argon2$argon2id$v=19$m=102400,t=2,p=8$")


def test_signed_in_people_are_listed(clinic: Clinic) -> None:
    client = Client(headers={"user-agent": "Tablet of the sand room"})
    sign_in(client, "owner")
    assert SignedIn.objects.get(user=clinic.owner).device == "Tablet of the sand room"
