"""A student joins a class by a code."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.classes import store
from sidewise.web.classes.forms import JoinForm
from sidewise.web.pages import show

NO_CODE = (
    "No class has this code. Each works once, for fourteen days: look at it again, or ask your "
    "teacher for another."
)


@dataclass(frozen=True, slots=True)
class JoinPage:
    """What the page for joining a class is given."""

    form: JoinForm
    """The code."""


@roles(Role.STUDENT)
@require_http_methods(["GET", "POST"])
def join(request: SignedInRequest) -> HttpResponse:
    """Join by the code from a slip."""
    form = JoinForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        if store.join(request.user, form.cleaned_data["code"]) is not None:
            return redirect("practise")
        form.add_error("code", NO_CODE)
    wrong = request.method == "POST"
    return show(request, "classes/join.html", JoinPage(form), status=422 if wrong else 200)
