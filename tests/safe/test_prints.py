"""Papers on the web: made for whoever may read, written down, and the leaflet edited first."""

from __future__ import annotations

import json

import pytest
from django.urls import reverse

from sidewise.documents.leaflet import AT_ONCE, GAPS
from sidewise.ground import extras
from sidewise.web.audit.models import AuditLine
from tests.safe.conftest import Clinic

pytestmark = pytest.mark.django_db


def address(clinic: Clinic, paper: str) -> str:
    return reverse("print-paper", args=[clinic.examination.pk, paper])


@pytest.mark.parametrize("paper", ["note.pdf", "letter.pdf"])
def test_a_reader_gets_a_pdf_and_it_is_written_down(clinic: Clinic, paper: str) -> None:
    response = clinic.client("reader").get(address(clinic, paper))
    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF-")
    # A download folder is seen by others.
    assert clinic.patient.code not in response["Content-Disposition"]
    told = AuditLine.objects.filter(act="exported", what=f"examination:{clinic.examination.pk}")
    assert told.count() == 1


def test_the_document_is_fhir(clinic: Clinic) -> None:
    response = clinic.client("owner").get(address(clinic, "fhir.json"))
    assert response["Content-Type"] == "application/fhir+json"
    bundle = json.loads(response.content)
    assert bundle["entry"][0]["resource"]["resourceType"] == "Composition"
    assert bundle["entry"][1]["resource"]["identifier"][0]["value"] == clinic.patient.code


def test_a_paper_that_is_none_is_not_there(clinic: Clinic) -> None:
    assert clinic.client("owner").get(address(clinic, "note.exe")).status_code == 404
    assert clinic.client("stranger").get(address(clinic, "note.pdf")).status_code == 404


def test_a_missing_typesetter_is_said_on_a_page(
    clinic: Clinic, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(extras.EXTRAS, "documents", ("no_such_module",))
    response = clinic.client("owner").get(address(clinic, "letter.pdf"))
    assert response.status_code == 422
    assert "sidewise[documents]" in response.content.decode()


def test_a_leaflet_is_edited_and_then_printed(clinic: Clinic) -> None:
    client, url = clinic.client("owner"), reverse("leaflet", args=[clinic.examination.pk])
    page = client.get(url)
    text = page.context["text"]
    assert AT_ONCE in text
    assert "Reading age about" in page.content.decode()
    unfilled = client.post(url, {"text": text})
    assert unfilled.status_code == 422
    assert unfilled.context["text"] == text
    edited = text
    for gap in GAPS:
        edited = edited.replace(gap, "A stiff joint.")
    printed = client.post(url, {"text": edited})
    assert printed.content.startswith(b"%PDF-")
    told = AuditLine.objects.filter(act="exported", what=f"examination:{clinic.examination.pk}")
    assert told.count() == 1


def test_the_note_leads_to_every_paper(clinic: Clinic) -> None:
    note = reverse("note", args=[clinic.examination.pk])
    page = clinic.client("owner").get(note).content.decode()
    for paper in ("note.pdf", "letter.pdf", "fhir.json"):
        assert address(clinic, paper) in page
    assert reverse("leaflet", args=[clinic.examination.pk]) in page
