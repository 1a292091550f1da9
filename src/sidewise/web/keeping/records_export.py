"""All of one's own patients as tables, to take away."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

from django import forms
from django.http import Http404, HttpResponse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from sidewise.errors import UserError
from sidewise.exchange.tables.export import ExportWish, export_tables
from sidewise.record import Record
from sidewise.regions import regions
from sidewise.web.accounts.models import User
from sidewise.web.accounts.permissions import SignedInRequest, stepped_up
from sidewise.web.accounts.rules import sees_patients
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import folded
from sidewise.web.pages import show
from sidewise.web.patients.models import Patient

FORMS = (("csv", _("CSV, with a dictionary")), ("xlsx", _("a workbook (XLSX)")),
         ("parquet", _("Parquet")))  # fmt: skip
SHAPES = (("long", _("long: a row a finding")), ("wide", _("wide: a row an examination")))
HIDDEN = (("yes", _("de-identified: new numbers, moved dates, 90+")),
          ("no", _("as they are, with codes, dates and texts")))  # fmt: skip


class TablesForm(forms.Form):
    """In which form the tables go out."""

    form = forms.ChoiceField(choices=FORMS, label=_("Files"))
    shape = forms.ChoiceField(choices=SHAPES, label=_("Shape"))
    hidden = forms.ChoiceField(choices=HIDDEN, label=_("Whose they are"))
    texts = forms.BooleanField(
        required=False, label=_("Keep free text in a de-identified export; names may stand in it")
    )

    def wish(self) -> ExportWish:
        """What was chosen."""
        chosen = self.cleaned_data
        hidden = chosen["hidden"] == "yes"
        return ExportWish(chosen["form"], chosen["shape"], hidden, hidden and chosen["texts"])


@dataclass(frozen=True, slots=True)
class TablesPage:
    """What the page of an export is given."""

    form: TablesForm
    """What was chosen."""
    patients: int
    """How many patients it would be."""
    error: str
    """Why it could not be made."""


@require_http_methods(["GET", "POST"])
@stepped_up
def export_records(request: SignedInRequest) -> HttpResponse:
    """Every examination of one's own patients as tables; a line in the audit for each patient."""
    if not sees_patients(request.user):
        raise Http404
    form = TablesForm(request.POST or None)
    patients = list(Patient.objects.filter(owner=request.user).order_by("pk"))
    error = ""
    if request.method == "POST" and form.is_valid():
        try:
            packed = _packed(form.wish(), request.user)
        except UserError as found:
            error = found.message
        else:
            for patient in patients:
                write(Act.EXPORT, f"patient:{patient.key}")
            answer = HttpResponse(packed, content_type="application/zip")
            answer["Content-Disposition"] = 'attachment; filename="examinations.zip"'
            return answer
    status = 422 if error or form.errors else 200
    page = TablesPage(form, len(patients), error)
    return show(request, "keeping/export_records.html", page, status=status)


def _packed(wish: ExportWish, user: User) -> bytes:
    """The folder of an export in one packed file."""
    with tempfile.TemporaryDirectory() as work:
        folder, packed = Path(work) / "examinations", Path(work) / "examinations.zip"
        export_tables(_records(user), folder, regions(), wish)
        with ZipFile(packed, "w", ZIP_DEFLATED) as zipped:
            for path in sorted(folder.iterdir()):
                zipped.write(path, path.name)
        return packed.read_bytes()


def _records(user: User) -> Iterator[Record]:
    # By a random number, so that the order of a de-identified table tells nobody who came first.
    rows = Examination.objects.filter(patient__owner=user).exclude(state="discarded")
    for examination in rows.order_by("pk").iterator(chunk_size=200):
        yield folded(examination).record
