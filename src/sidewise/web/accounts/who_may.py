"""Who may open a view: said once above it."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode

from sidewise.web.accounts.sessions import confirmed

View = Callable[..., HttpResponse]


def roles(*allowed: str) -> Callable[[View], View]:
    """Only these roles; to anyone else the page does not exist."""

    def wrap(view: View) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
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
