"""Names that look alike are refused where they would name two people."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from sidewise.web.accounts.models import User
from sidewise.web.likeness import has_unseen, skeleton
from sidewise.web.patients.models import Patient
from tests.safe.conftest import Clinic

ALIKE = ["plover-2", "PLOVER\u200b-2", "PLOVER\u2011 2", "\uff30LOVER-2", "PL\u041eVER-2",
         "PLOVER_2", "\u202ePLOVER-2", "P\u217cOVER-2", "PL0VER-2"]  # fmt: skip
"""Case, zero width, another hyphen, full width, a Cyrillic O, an underscore, a turn of direction,
the Roman numeral fifty, a nought."""


@pytest.mark.parametrize("name", ALIKE)
def test_what_looks_alike_has_one_skeleton(name: str) -> None:
    assert skeleton(name) == skeleton("PLOVER-2")


@pytest.mark.parametrize("name", ["PLOVER-3", "PLOVER-22", "CLOVER-2", "PLOVER"])
def test_what_looks_different_has_another(name: str) -> None:
    assert skeleton(name) != skeleton("PLOVER-2")


def test_what_cannot_be_seen_is_noticed() -> None:
    assert not has_unseen("PLOVER-2 é ñ 鳥")
    assert all(has_unseen(f"a{letter}b") for letter in "\u200b\u200d\u202e\u2066\ufeff\x00\x1f")


def new_patient(clinic: Clinic, who: str, code: str) -> Any:
    return clinic.client(who).post(reverse("new-patient"), {"code": code})


@pytest.mark.django_db
@pytest.mark.parametrize("code", ALIKE)
def test_a_patients_code_that_looks_like_ones_own_is_refused(clinic: Clinic, code: str) -> None:
    answer = new_patient(clinic, "owner", code)
    assert answer.status_code == 422
    assert Patient.objects.count() == 1


@pytest.mark.django_db
def test_a_stranger_learns_nothing_from_a_code_that_is_taken(clinic: Clinic) -> None:
    answer = new_patient(clinic, "stranger", "PLOVER-2")
    assert answer.status_code == 302
    other = new_patient(clinic, "stranger", "PLOVER-3")
    assert other.status_code == 302
    assert Patient.objects.filter(code="PLOVER-2").count() == 2


@pytest.mark.django_db
def test_a_code_that_two_owners_use_is_erased_only_with_the_owners_name(
    clinic: Clinic, settings: Any
) -> None:
    settings.KEEP_YEARS = {"patient": "0", "student": "0"}
    new_patient(clinic, "stranger", "PLOVER-2")
    client = clinic.client("administrator")
    form = {"deed": "erase", "kind": "patient", "name": "PLOVER-2", "again": "PLOVER-2"}
    assert "two owners use" in client.post(reverse("keeping"), form).content.decode()
    assert Patient.objects.filter(code="PLOVER-2").count() == 2
    named = {"name": "stranger: PLOVER-2", "again": "stranger: PLOVER-2"}
    client.post(reverse("keeping"), form | named)
    assert Patient.objects.get(code="PLOVER-2").owner == clinic.owner


def add_person(clinic: Clinic, **form: str) -> Any:
    whole = {"username": "dunlin", "code": "D1", "role": "clinician", **form}
    return clinic.client("administrator").post(reverse("add-person"), whole)


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["Owner", "0wner", "\u043ewner"])
def test_a_user_name_that_looks_like_anothers_is_refused(clinic: Clinic, name: str) -> None:
    answer = add_person(clinic, username=name)
    assert answer.status_code == 422
    assert "looks like, owner" in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("code", ["OWNER", "owner", "\uff2fWNER"])
def test_one_account_a_record_code(clinic: Clinic, code: str) -> None:
    """Two accounts with one code could not be told apart under a signature."""
    answer = add_person(clinic, code=code)
    assert answer.status_code == 422
    assert not User.objects.filter(username="dunlin").exists()


@pytest.mark.django_db
def test_a_person_without_a_code_signs_by_name_and_that_counts_too(clinic: Clinic) -> None:
    assert add_person(clinic, username="colleague2", code="").status_code == 200
    assert add_person(clinic, code="Colleague2").status_code == 422
