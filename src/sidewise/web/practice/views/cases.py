"""A teacher's cases written by hand: the case and its truth, checked whole before they are kept."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from sidewise.errors import UserError
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.pages import show
from sidewise.web.practice import store
from sidewise.web.practice.access import cases_of
from sidewise.web.practice.forms import WrittenCaseForm
from sidewise.web.practice.models import SimulatedCase


@dataclass(frozen=True, slots=True)
class CasesPage:
    """What the page of a teacher's own cases is given."""

    form: WrittenCaseForm
    """A case and its truth."""
    cases: QuerySet[SimulatedCase]
    """Those that were sent in."""
    problem: str
    """What is wrong with what was sent."""


@roles(Role.TEACHER)
@require_http_methods(["GET", "POST"])
def cases(request: SignedInRequest) -> HttpResponse:
    """The cases this teacher sent in; a file sent here is another."""
    form = WrittenCaseForm(request.POST or None, request.FILES or None)
    problem = ""
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        case, truth = data["case"].read(), data["truth"].read()
        try:
            store.keep_case(case, truth, request.user, data["title"])
            return redirect("practice-cases")
        except UserError as error:
            problem = error.message
    context = CasesPage(form, cases_of(request.user), problem)
    wrong = request.method == "POST"
    return show(request, "practice/cases.html", context, status=422 if wrong else 200)
