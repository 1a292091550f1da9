"""Sessions: how long they live, how they are listed, and how they are ended at the server."""

from __future__ import annotations

from collections.abc import Callable
from time import time

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.contrib.sessions.models import Session
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, resolve_url
from django.utils import timezone
from django.utils.cache import patch_vary_headers

from sidewise.web.accounts import factor
from sidewise.web.accounts.models import SignedIn, User
from sidewise.web.accounts.rules import doors_for
from sidewise.web.audit.log import Act, write
from sidewise.web.view_marks import Mark

BACKGROUND = "X-Sidewise-Background"  # asked by the page itself, not by a hand
FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")
ACCOUNT = "X-Sidewise-Account"
"""Whose page a request comes from; a form that weighs much says it in `page_account`."""
AT_ONCE = 8  # live sessions of one person; the oldest ends
TOUCH_EVERY_S = 30  # "last seen" is not written more often than this
CONFIRMED_FOR_S = 10 * 60
needs_no_factor = Mark()
"""On views that are open to somebody who still has to set up the second factor."""


def idle_left(request: HttpRequest) -> int:
    """Seconds until the session ends because nobody touched it."""
    return max(0, int(request.session.get("seen", 0) + settings.IDLE_S - time()))


def whole_left(request: HttpRequest) -> int:
    """Seconds until the session ends in any case."""
    started = request.session.get("started", 0)
    return max(0, int(started + settings.SESSION_COOKIE_AGE - time()))


def seconds_left(request: HttpRequest) -> int:
    """How long this session lives if nobody touches it again."""
    return min(idle_left(request), whole_left(request))


def on_page(request: HttpRequest) -> dict[str, object]:
    """Whose page it is and how long it may be shown: known before the first answer of a script."""
    if not getattr(request, "user", None) or not request.user.is_authenticated:
        return {}
    return {
        "doors": doors_for(request.user),
        "session_account": request.user.pk,
        "session_idle": settings.IDLE_S,
        "session_left": idle_left(request),
        "session_whole": whole_left(request),
    }


class KeepSessions:
    """Middleware: ends sessions that are too old or too long idle; asks for the second factor."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            if seconds_left(request) <= 0:
                write(Act.SESSION_ENDED, f"account:{request.user.pk}", who=request.user.username)
                logout(request)
            else:
                _touch(request)
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: object, args: object, kwargs: object
    ) -> HttpResponse | None:
        """Nothing but setting it up is open to whoever must have a second factor and has none."""
        user = request.user
        if user.is_authenticated and _is_of_another(request):
            from sidewise.web.accounts.forgery import refuse_former_page

            return refuse_former_page(request)
        if not user.is_authenticated or view in needs_no_factor:
            return None
        if request.session.get("factor_due") and not factor.has_factor(user):
            return redirect("second-factor")
        return None


def _is_of_another(request: HttpRequest) -> bool:
    """Whether it comes from a page of another account than is signed in now.

    The token against forgery does not always tell: a late answer to the former person's page can
    bring their token back beside the session of the next.
    """
    named = request.headers.get(ACCOUNT) or ""
    if request.method == "POST" and (request.content_type or "").startswith(FORMS):
        named = named or request.POST.get("page_account", "")
    return bool(named) and named != str(request.user.pk)


class SignInRequired(LoginRequiredMiddleware):
    """People are sent to the sign-in; a page's own request is told 401, so that it can say so."""

    def handle_no_permission(  # type: ignore[override]  # the middleware hands on any answer
        self, request: HttpRequest, view_func: Callable[..., HttpResponseBase]
    ) -> HttpResponse:
        """401 for scripts, the sign-in page for people."""
        if not asked_by_page(request):
            return super().handle_no_permission(request, view_func)
        return signed_out_answer()


def signed_out_answer() -> HttpResponse:
    """What a script of ours is told where nobody is signed in, or not the person of its page."""
    response = JsonResponse({"signed_in": False}, status=401)
    response.headers["X-Sidewise-Sign-In"] = resolve_url(settings.LOGIN_URL)
    patch_vary_headers(response, ["HX-Request"])
    return response


def asked_by_page(request: HttpRequest) -> bool:
    """Whether a script of ours asked, not a person opening a page."""
    return bool(
        request.headers.get("HX-Request")
        or request.headers.get(BACKGROUND)
        or "application/json" in request.headers.get("Accept", "")
        or request.content_type == "application/json"
    )


def end_sessions(user: User, keep: str | None = None) -> int:
    """End every live session of a person at the server, but for one; how many ended."""
    others = user.signed_in.exclude(session_key=keep or "")
    keys = list(others.values_list("session_key", flat=True))
    Session.objects.filter(session_key__in=keys).delete()
    others.delete()
    return len(keys)


def live_sessions(user: User) -> list[SignedIn]:
    """The sessions that still exist in the store."""
    keys = user.signed_in.values_list("session_key", flat=True)
    live = Session.objects.filter(session_key__in=list(keys), expire_date__gt=timezone.now())
    alive = set(live.values_list("session_key", flat=True))
    return [row for row in user.signed_in.all() if row.session_key in alive]


def confirmed(request: HttpRequest) -> bool:
    """Whether the password was given in the last ten minutes."""
    return bool(time() - request.session.get("confirmed", 0) < CONFIRMED_FOR_S)


def _touch(request: HttpRequest) -> None:
    now = time()
    if request.headers.get(BACKGROUND):
        return
    if now - request.session.get("seen", 0) > TOUCH_EVERY_S:
        request.session["seen"] = now


@receiver(user_logged_in)
def _begin(sender: object, request: HttpRequest, user: User, **more: object) -> None:
    now = time()
    request.session.update({"started": now, "seen": now, "confirmed": now})
    if factor.required():
        request.session["factor_due"] = True
    if not request.session.session_key:
        request.session.save()
    device = request.headers.get("User-Agent", "")[:120]
    SignedIn.objects.update_or_create(
        session_key=request.session.session_key,
        defaults={"user": user, "started_at": timezone.now(), "device": device},
    )
    for old in user.signed_in.all()[AT_ONCE:]:
        Session.objects.filter(session_key=old.session_key).delete()
        old.delete()


@receiver(user_logged_out)
def _end(sender: object, request: HttpRequest, user: User | None, **more: object) -> None:
    if user is not None:
        SignedIn.objects.filter(session_key=request.session.session_key).delete()
