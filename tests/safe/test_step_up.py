"""A signed record is opened again only by somebody who signed in, or confirmed, lately."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from sidewise.record.ledger import Entry, Signed
from sidewise.web.accounts.models import Identity
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import append
from tests.safe.conftest import PASSWORD, WHEN, Clinic

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed(clinic: Clinic) -> Clinic:
    append(clinic.examination, [Entry(id="s", at=WHEN, by="OWNER", deed=Signed())])
    return clinic


def some_time_ago(client: Client) -> None:
    session = client.session
    session["confirmed"] = 0
    session.save()


def is_signed(clinic: Clinic) -> bool:
    return current(clinic.examination).record.signed is not None


def test_amending_needs_the_password_given_lately(signed: Clinic) -> None:
    client, address = signed.client("owner"), reverse("amend", args=[signed.examination.pk])
    some_time_ago(client)
    for answer in (client.get(address), client.post(address, {"reason": "a later finding"})):
        assert answer["Location"] == f"{reverse('confirm')}?next={address.replace('/', '%2F')}"
    assert is_signed(signed)
    back = client.post(answer["Location"], {"password": PASSWORD, "next": address})
    assert back["Location"] == address
    assert client.post(address, {"reason": "a later finding"}).status_code == 302
    assert not is_signed(signed)


def test_reading_and_recording_do_not_ask_again(signed: Clinic) -> None:
    client = signed.client("owner")
    some_time_ago(client)
    assert client.get(reverse("note", args=[signed.examination.pk])).status_code == 200
    assert client.get(reverse("sign", args=[signed.examination.pk])).status_code == 200


def test_who_came_in_by_a_link_of_the_demonstration_has_nothing_to_be_asked_for(
    signed: Clinic,
) -> None:
    signed.owner.set_unusable_password()
    signed.owner.save()
    client = signed.client("owner")
    some_time_ago(client)
    address = reverse("amend", args=[signed.examination.pk])
    assert client.post(address, {"reason": "a later finding"}).status_code == 302
    assert not is_signed(signed)


def test_who_signs_in_elsewhere_is_told_to_do_so_again(signed: Clinic) -> None:
    signed.owner.set_unusable_password()
    signed.owner.save()
    Identity.objects.create(user=signed.owner, issuer="https://id.example", subject="1")
    client = signed.client("owner")
    some_time_ago(client)
    address = reverse("amend", args=[signed.examination.pk])
    page = client.get(address, follow=True).content.decode()
    assert "sign out and sign in again through your organisation" in page
    assert is_signed(signed)
