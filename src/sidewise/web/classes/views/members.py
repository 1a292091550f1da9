"""Who is in a class: students by account, groups, and codes to join by."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from sidewise.errors import UserError
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.classes import store
from sidewise.web.classes.access import AllowedClass, allowed_class
from sidewise.web.classes.forms import CodesForm, MembersForm
from sidewise.web.classes.models import ClassMember
from sidewise.web.classes.views.rooms import class_page, only_teachers


@only_teachers
@require_POST
def members(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """Add students, put one into another group, or take one out."""
    who = allowed_class(request.user, study_class, write=True)
    if "out" in request.POST:
        store.take_out(_member(who, request.POST["out"]))
        return redirect("class", study_class=study_class)
    if "move" in request.POST:
        group = " ".join(request.POST.get("group", "").split())[:40]
        store.move_member(_member(who, request.POST["move"]), group)
        return redirect("class", study_class=study_class)
    form = MembersForm(request.POST)
    if not form.is_valid():
        return class_page(request, who, adding=form)
    try:
        store.add_members(who.study_class, form.listed, form.cleaned_data["group"])
    except UserError as error:
        return class_page(request, who, adding=form, problem=error.message)
    return redirect("class", study_class=study_class)


def _member(who: AllowedClass, number: str) -> ClassMember:
    rows = who.study_class.members.select_related("study_class")
    return get_object_or_404(rows, student_id=int(number) if number.isdecimal() else 0)


@only_teachers
@require_POST
def codes(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """Codes to hand out; they are shown this once."""
    who = allowed_class(request.user, study_class, write=True)
    form = CodesForm(request.POST)
    if not form.is_valid():
        return class_page(request, who, coding=form)
    data = form.cleaned_data
    made = store.make_codes(who.study_class, data["count"], data["group"])
    return class_page(request, who, codes=made)
