"""Which role may enter which part of the program at all; the records' own rules come on top."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.apps import apps
from django.http import Http404, HttpRequest, HttpResponse

from sidewise.web.accounts.models import Role
from sidewise.web.parts import Door, Part
from sidewise.web.view_marks import Mark

open_to_any_account = Mark()
"""On views of a part for some roles only that show everybody what they may see."""
takes_json = Mark()
"""On doors for scripts: a form sent there was read by Django already and has no body any more."""


def sees_patients(user: Any) -> bool:
    """Only somebody who acts as a clinician ever sees a patient."""
    return bool(user.is_authenticated and user.has_role(Role.CLINICIAN))


JSON = "application/json"
NO_JSON = "Expected application/json; nothing was changed."
NO_NULL = "The form holds a null character, which no text has. Type it again; nothing was changed."


class RoleRules:
    """Middleware: to the wrong role the page does not exist.

    Also refuses a null character in any field: PostgreSQL cannot keep or look for one.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Any, args: Any, kwargs: Any
    ) -> HttpResponse | None:
        """404 where the role has no business."""
        if view in takes_json and request.method == "POST" and request.content_type != JSON:
            return HttpResponse(NO_JSON, status=415, content_type="text/plain")
        fields = (*request.GET.lists(), *request.POST.lists())
        if any("\x00" in text for name, values in fields for text in (name, *values)):
            return HttpResponse(NO_NULL, status=400, content_type="text/plain")
        needed = roles_for(view)
        if needed is None or not request.user.is_authenticated or view in open_to_any_account:
            return None
        if not any(request.user.has_role(role) for role in needed):
            raise Http404
        return None


def doors_for(user: Any) -> tuple[Door, ...]:
    """Where this person may enter, in the order of the parts."""
    parts = (part for part in apps.get_app_configs() if isinstance(part, Part))
    return tuple(
        door for part in parts for door in part.doors
        if any(user.has_role(role) for role in door.roles)
    )  # fmt: skip


def roles_for(view: Any) -> frozenset[str] | None:
    """The roles that the view's part of the program is for; None where any account will do."""
    part = apps.get_containing_app_config(view.__module__)
    if isinstance(part, Part):
        return part.roles
    # A view of ours that stands in no part is a mistake: nobody is let in.
    return frozenset() if view.__module__.startswith("sidewise.") else None
