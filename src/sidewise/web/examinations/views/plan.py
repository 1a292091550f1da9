"""The best examination for the time there is, from what this examination still leaves open."""

from __future__ import annotations

from dataclasses import dataclass
from threading import Lock
from uuid import UUID

from django import forms
from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET

from sidewise.errors import UserError
from sidewise.plan import ExaminationPlan, plan_examination
from sidewise.plan.text import bits_words, time_words
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, bedside_page
from sidewise.web.examinations.state import current
from sidewise.web.pages import show, values

SEARCH_SECONDS = 2.0
"""Of searching; a plan that is not proven best by then says how much better one could be."""
one_at_a_time = Lock()
"""A plan computes for seconds; two at once would take the processor from everybody's touches."""


class MinutesForm(forms.Form):
    """How long there is."""

    minutes = forms.IntegerField(min_value=1, max_value=60, label=_("Minutes"))


@dataclass(frozen=True, slots=True)
class PlanPage(BedsidePage):
    """What the page of a plan is given."""

    form: MinutesForm
    """How long there is."""
    plan: ExaminationPlan | None
    """The plan; None before the minutes are known."""
    worth: tuple[str, ...]
    """How long it takes, how good it is known to be, and what it could tell."""
    problem: str
    """Why there is none."""


@require_GET
def visit_plan(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The plan for so many minutes; without them it asks."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    form = MinutesForm(request.GET if "minutes" in request.GET else None)
    plan, problem = None, ""
    if form.is_valid():
        try:
            with one_at_a_time:
                plan = plan_examination(now.record, now.region, form.cleaned_data["minutes"],
                                        search_seconds=SEARCH_SECONDS)  # fmt: skip
        except UserError as error:
            problem = error.message
    worth = () if plan is None or plan.stop else (time_words(plan), *bits_words(plan))
    page = bedside_page(request, examination, now, may_write, "plan")
    context = PlanPage(**values(page), form=form, plan=plan, worth=worth, problem=problem)
    return show(request, "examinations/plan.html", context, status=422 if form.errors else 200)
