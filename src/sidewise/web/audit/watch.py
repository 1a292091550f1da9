"""Every answer about a record leaves a line; an answer that cannot be noted is not given."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from sidewise.web.audit.log import Act, Actor, set_actor, write
from sidewise.web.view_marks import Mark

shows_no_record = Mark()
"""On views that show no record: the sign-in writes its own lines, the rest is plumbing."""
READS = ("GET", "HEAD", "OPTIONS")


class Watch:
    """Middleware: notes who asks, and writes the line before the answer leaves."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        actor = Actor(origin=address(request))
        set_actor(actor)
        try:
            _name(actor, request)
            response = self.get_response(request)
            _name(actor, request)
            self._note(request, response, actor)
            return response
        finally:
            set_actor(None)

    def _note(self, request: HttpRequest, response: HttpResponse, actor: Actor) -> None:
        match = request.resolver_match
        known = request.user.is_authenticated
        if match is None or not known or match.func in shows_no_record:
            return
        refused = response.status_code in (403, 404)
        # A view that wrote its own, more exact line is not noted twice.
        if actor.lines and not refused:
            return
        # A form that comes back with its errors wrote nothing, but what it shows was read.
        wrote = request.method not in READS and response.status_code < 400
        act = Act.REFUSED if refused else Act.WRITE if wrote else Act.READ
        write(act, thing(match.url_name or "page", match.kwargs))


def thing(view: str, kwargs: dict[str, object]) -> str:
    """The view and the numbers it was asked about; anything but a number is left out."""
    numbers = [str(value) for value in kwargs.values() if isinstance(value, int | UUID)][:2]
    return f"{view}:{'/'.join(numbers)}" if numbers else view


def address(request: HttpRequest) -> str:
    """The address that asked: through N trusted proxies, the Nth from the right."""
    if settings.PROXIES:
        chain = [a.strip() for a in request.headers.get("X-Forwarded-For", "").split(",")]
        if len(chain) >= settings.PROXIES and chain[-settings.PROXIES]:
            return chain[-settings.PROXIES][:64]
    return str(request.META.get("REMOTE_ADDR", ""))[:64]


def _name(actor: Actor, request: HttpRequest) -> None:
    user = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        actor.who, actor.role, actor.account = user.username, user.role, user.pk
