"""The page of an export: one's own patients, packed, written down, and nobody else's."""

from __future__ import annotations

import io
import zipfile

import pytest
from django.urls import reverse

from sidewise.web.audit.models import AuditLine
from tests.safe.conftest import Clinic

pytestmark = pytest.mark.django_db
CHOSEN = {"form": "csv", "shape": "long", "hidden": "yes"}


def packed(response):
    assert response["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(response.content)) as files:
        return {name: files.read(name).decode() for name in files.namelist()}


def test_the_owner_gets_tables_and_each_patient_is_written_down(clinic: Clinic) -> None:
    response = clinic.client("owner").post(reverse("export-records"), CHOSEN)
    files = packed(response)
    assert set(files) == {"about.txt", "codebook.csv", "contexts.csv", "csv-metadata.json",
                          "findings.csv"}  # fmt: skip
    assert clinic.patient.code not in "".join(files.values())
    assert len(files["contexts.csv"].splitlines()) == 2
    lines = AuditLine.objects.filter(act="exported", what=f"patient:{clinic.patient.key}")
    assert lines.count() == 1


def test_records_as_they_are_have_their_code(clinic: Clinic) -> None:
    response = clinic.client("owner").post(
        reverse("export-records"), {**CHOSEN, "hidden": "no", "shape": "wide"}
    )
    assert clinic.patient.code in packed(response)["wide.csv"]


@pytest.mark.parametrize("who", ["colleague", "reader", "stranger"])
def test_a_share_gives_no_table_of_another_s_patients(clinic: Clinic, who: str) -> None:
    files = packed(clinic.client(who).post(reverse("export-records"), CHOSEN))
    assert len(files["contexts.csv"].splitlines()) == 1


def test_a_choice_that_is_none_is_refused(clinic: Clinic) -> None:
    response = clinic.client("owner").post(reverse("export-records"), {**CHOSEN, "form": "xls"})
    assert response.status_code == 422


def test_the_page_of_patients_leads_there(clinic: Clinic) -> None:
    page = clinic.client("owner").get(reverse("patients")).content.decode()
    assert reverse("export-records") in page
