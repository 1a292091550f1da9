"""Who may open a view: said once above it."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django_htmx.middleware import HtmxDetails

from sidewise.web.accounts.models import User
from sidewise.web.accounts.sessions import confirmed

View = Callable[..., HttpResponse]


class SignedInRequest(HttpRequest):
    """A request to a view behind the sign-in: `SignInRequired` has seen to it that `user` is one.

    Only a name for types: Django makes the requests, its middleware adds what stands here.
    """

    user: User
    htmx: HtmxDetails


def roles(*allowed: str) -> Callable[[View], View]:
    """Only these roles; to anyone else the page does not exist."""

    def wrap(view: View) -> View:
        @wraps(view)
        def checked(request: SignedInRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not any(request.user.has_role(role) for role in allowed):
                raise Http404
            return view(request, *args, **kwargs)

        return checked

    return wrap


def recently_confirmed(view: View) -> View:
    """Signed in (or confirmed) in the last ten minutes; otherwise all of it is asked for again."""

    @wraps(view)
    def checked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if confirmed(request):
            return view(request, *args, **kwargs)
        # What was posted is not carried over: it is asked for again after the password.
        return redirect(f"{reverse('confirm')}?{urlencode({'next': request.path})}")

    return checked


def stepped_up(view: View) -> View:
    """As `recently_confirmed`, for work on records; who has nothing to be asked for passes.

    That is the owner of a demonstration, who came in by a link from this machine. Who signs in
    elsewhere has no password here either: the page says to sign in again.
    """
    asking = recently_confirmed(view)

    @wraps(view)
    def checked(request: SignedInRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        has_none = not request.user.has_usable_password() and not hasattr(request.user, "identity")
        return (view if has_none else asking)(request, *args, **kwargs)

    return checked


def safe_next(request: HttpRequest, default: str) -> str:
    """Where to go on: a path of this site only."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    here = {request.get_host()}
    # A bare word would be taken for the name of a view.
    if not wanted.startswith("/"):
        return default
    if url_has_allowed_host_and_scheme(wanted, here, require_https=request.is_secure()):
        return wanted
    return default
