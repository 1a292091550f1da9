"""Accounts as the administrator keeps them, and the first one of all."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.web.accounts import first_run, links
from sidewise.web.accounts.models import OneTimeLink, Role, User
from sidewise.web.audit.models import AuditLine
from tests.safe.conftest import PASSWORD, Clinic, make_person

pytestmark = pytest.mark.django_db
NEW = "nineteen salt marshes"


def test_no_account_exists_before_the_first_run() -> None:
    """ASVS 5.0.0, 6.3.2: no default accounts."""
    assert not User.objects.exists()


def test_the_first_run_gives_a_link_and_no_password() -> None:
    link = first_run.ensure_owner()
    owner = User.objects.get()
    assert not owner.has_usable_password()
    assert re.fullmatch(r"/welcome/[\w-]{43}/", link.path)
    assert link.path.split("/")[2] not in OneTimeLink.objects.get().digest


def test_the_owner_chooses_a_password_and_examines_teaches_and_administers() -> None:
    client = Client()
    response = client.get(first_run.ensure_owner().path)
    assert response["Location"] == reverse("welcome-password")
    assert client.post(reverse("welcome-password"), {"password": NEW}).status_code == 302
    assert client.get(reverse("people")).status_code == 200
    assert client.get(reverse("patients")).status_code == 200
    assert User.objects.get().has_role(Role.TEACHER)


def test_once_there_is_an_owner_no_further_link_is_made() -> None:
    client = Client()
    client.get(first_run.ensure_owner().path)
    client.post(reverse("welcome-password"), {"password": NEW})
    assert first_run.ensure_owner() is None


def test_run_again_before_it_was_used_the_old_link_is_void() -> None:
    first, second = first_run.ensure_owner(), first_run.ensure_owner()
    assert Client().get(first.path).status_code == 404
    assert Client().get(second.path).status_code == 302
    assert User.objects.count() == 1


def test_a_link_works_once() -> None:
    """6.4.1."""
    user = make_person("dunlin", "clinician")
    link = links.make(user, OneTimeLink.Purpose.PASSWORD)
    first, second = Client(), Client()
    first.get(link.path)
    second.get(link.path)
    assert first.post(reverse("welcome-password"), {"password": NEW}).status_code == 302
    assert second.post(reverse("welcome-password"), {"password": NEW + "!"}).status_code == 404
    user.refresh_from_db()
    assert user.check_password(NEW)


LINKS = [OneTimeLink.Purpose.PASSWORD, OneTimeLink.Purpose.ENTER]


@pytest.mark.parametrize("purpose", LINKS)
@pytest.mark.parametrize("method", ["get", "head"])
def test_whatever_follows_a_link_by_itself_uses_nothing_up(purpose: Any, method: str) -> None:
    """ASVS 5.0.0, 3.5.3: a scanner of mail, or a preview, follows links and their redirects."""
    link = links.make(make_person("dunlin", "clinician"), purpose)
    for _ in range(3):
        scanner = Client()
        looked = getattr(scanner, method)(link.path, follow=True)
        assert looked.status_code == {"get": 200, "head": 405}[method]
        assert scanner.get(reverse("today")).status_code == 302  # to sign in: nobody has entered
    assert OneTimeLink.objects.get().used_at is None
    person = Client()
    assert "<button" in person.get(link.path, follow=True).content.decode()
    person.post(reverse("welcome-password"), {"password": NEW})
    assert person.get(reverse("today")).status_code == 200


def test_a_link_to_enter_works_once() -> None:
    link = links.make(make_person("dunlin", "clinician"), OneTimeLink.Purpose.ENTER)
    first, second = Client(), Client()
    for browser in (first, second):
        assert "Enter" in browser.get(link.path, follow=True).content.decode()
    assert first.post(reverse("welcome-password")).status_code == 302
    assert second.post(reverse("welcome-password")).status_code == 404
    assert first.get(reverse("today")).status_code == 200
    assert second.get(reverse("today")).status_code == 302


@pytest.mark.parametrize(("hours", "status"), [(23.9, 302), (24.1, 404)])
def test_a_link_works_for_a_day(hours: float, status: int) -> None:
    link = links.make(make_person("dunlin", "clinician"), OneTimeLink.Purpose.PASSWORD)
    kept = OneTimeLink.objects.get()
    kept.expires_at -= timedelta(hours=hours)
    kept.save()
    assert Client().get(link.path).status_code == status


def test_a_weak_password_does_not_use_up_the_link() -> None:
    client = Client()
    client.get(first_run.ensure_owner().path)
    assert client.post(reverse("welcome-password"), {"password": "short"}).status_code == 422
    assert client.post(reverse("welcome-password"), {"password": NEW}).status_code == 302


def test_the_demonstration_is_entered_by_a_link_only_on_ones_own_machine(settings: Any) -> None:
    user = make_person("dunlin", "clinician")
    settings.ALLOWED_HOSTS = ["127.0.0.1", "testserver"]
    client = Client()
    client.get(first_run.one_time_entry(user).path)
    client.post(reverse("welcome-password"))
    assert client.get(reverse("today")).status_code == 200
    settings.ALLOWED_HOSTS = ["clinic.example"]
    with pytest.raises(UserError, match=r"clinic\.example.*this machine only"):
        first_run.one_time_entry(user)


def test_an_added_person_gets_a_link_shown_once(clinic: Clinic) -> None:
    client = clinic.client("administrator")
    data = {"username": "knot", "code": "K1", "role": "student"}
    page = client.post(reverse("add-person"), data).content.decode()
    path = re.search(r"http://testserver(/welcome/[\w-]+/)", page)[1]
    assert Client().get(path).status_code == 302
    assert not User.objects.get(username="knot").has_usable_password()


def test_a_student_cannot_be_given_a_further_role(clinic: Clinic) -> None:
    data = {"username": "knot", "role": "student", "also": ["clinician"]}
    response = clinic.client("administrator").post(reverse("add-person"), data)
    assert response.status_code == 422
    assert not User.objects.filter(username="knot").exists()


def test_a_changed_role_ends_the_sessions_begun_in_the_old_one(clinic: Clinic) -> None:
    client = clinic.client("owner")
    data = {"username": "owner", "role": "teacher"}
    clinic.client("administrator").post(reverse("person", args=[clinic.owner.pk]), data)
    assert client.get(reverse("today")).status_code == 302


@pytest.mark.parametrize("how", ["stop", "role"])
def test_the_last_administrator_stays(clinic: Clinic, how: str) -> None:
    client, pk = clinic.client("administrator"), clinic.administrator.pk
    if how == "stop":
        response = client.post(reverse("stop-person", args=[pk]))
    else:
        data = {"username": "administrator", "role": "teacher"}
        response = client.post(reverse("person", args=[pk]), data)
    assert response.status_code == 422
    assert "At least one person must be able to administer" in response.content.decode()
    clinic.administrator.refresh_from_db()
    assert clinic.administrator.is_active
    assert clinic.administrator.administers


def test_every_change_of_an_account_leaves_a_line(clinic: Clinic) -> None:
    client, pk = clinic.client("administrator"), clinic.student.pk
    for view in ("new-link", "end-sessions", "remove-factor", "stop-person"):
        client.post(reverse(view, args=[pk]))
    acts = [row.act for row in AuditLine.objects.filter(what=f"account:{pk}", who="administrator")]
    assert acts == [
        "one-time link made", "session ended", "second factor changed", "account changed",
    ]  # fmt: skip


def test_changes_need_the_password_given_lately(clinic: Clinic) -> None:
    client = clinic.client("administrator")
    session = client.session
    session["confirmed"] = 0
    session.save()
    response = client.post(reverse("stop-person", args=[clinic.student.pk]))
    assert response["Location"].startswith(reverse("confirm"))
    clinic.student.refresh_from_db()
    assert clinic.student.is_active


def test_a_link_is_not_read_from_its_time() -> None:
    user = make_person("dunlin", "clinician")
    assert len({links.make(user, OneTimeLink.Purpose.PASSWORD).path for _ in range(50)}) == 50
    assert OneTimeLink.objects.get().expires_at > timezone.now()
    assert PASSWORD not in str(OneTimeLink.objects.values())
