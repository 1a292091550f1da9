"""Which role may enter which part of the program at all; the records' own rules come on top."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse

from sidewise.web.accounts.models import Role

# Parts by the package that a view lives in; a part that is not named is open to any account.
PARTS: dict[str, frozenset[str]] = {
    "sidewise.web.patients": frozenset({Role.CLINICIAN}),
    "sidewise.web.examinations": frozenset({Role.CLINICIAN}),
}
# The first page after signing in: it lists only what the person may see.
FOR_EVERYBODY = frozenset({"today"})


def sees_patients(user: Any) -> bool:
    """Only somebody who acts as a clinician ever sees a patient."""
    return bool(user.is_authenticated and user.has_role(Role.CLINICIAN))


# Doors for scripts: a form sent there was read by Django already and has no body any more.
JSON_DOORS = frozenset({"touch", "queue"})
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
        name = request.resolver_match.url_name if request.resolver_match else ""
        if name in JSON_DOORS and request.method == "POST" and request.content_type != JSON:
            return HttpResponse(NO_JSON, status=415, content_type="text/plain")
        fields = (*request.GET.lists(), *request.POST.lists())
        if any("\x00" in text for name, values in fields for text in (name, *values)):
            return HttpResponse(NO_NULL, status=400, content_type="text/plain")
        needed = next((r for part, r in PARTS.items() if view.__module__.startswith(part)), None)
        if needed is None or not request.user.is_authenticated:
            return None
        if request.resolver_match and request.resolver_match.url_name in FOR_EVERYBODY:
            return None
        if not any(request.user.has_role(role) for role in needed):
            raise Http404
        return None
