"""Signing in and out, and one's own account."""

from __future__ import annotations

import base64
import io
from time import time

import segno
from django.conf import settings
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.sessions.models import Session
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.web.accounts import factor, links, sessions, signing_in
from sidewise.web.accounts.forms import ChangePassword, ChoosePassword, Code, Confirm, SignIn
from sidewise.web.accounts.models import OneTimeLink, SignedIn, User
from sidewise.web.accounts.permissions import SignedInRequest, recently_confirmed, safe_next
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.watch import shows_no_record

FORM = ["GET", "POST"]


def _home() -> str:
    return resolve_url(settings.LOGIN_REDIRECT_URL)


def _form(
    request: HttpRequest, form: Form, title: str, button: str, status: int = 200, **more: object
) -> HttpResponse:
    context = {"form": form, "title": title, "button": button, "next": safe_next(request, "")}
    if status == 200 and form.errors:
        status = 422
    return render(request, "accounts/form.html", {**context, **more}, status=status)


@login_not_required
@require_http_methods(FORM)
@shows_no_record
def sign_in(request: HttpRequest) -> HttpResponse:
    """Name and password; the second factor comes after."""
    if request.user.is_authenticated:
        return redirect(safe_next(request, _home()))
    form = SignIn(request.POST or None)
    status = 200
    if form.is_valid():
        outcome = signing_in.try_password(request, **form.cleaned_data)
        if outcome.user:
            return _go_on(request, outcome.user)
        form.add_error(None, outcome.message)
        status = 429 if outcome.wait_s else 422
    more = {"single_sign_on": settings.OIDC["issuer"]}
    return _form(request, form, "Sign in", "Sign in", status, **more)


def _go_on(request: HttpRequest, user: User) -> HttpResponse:
    forward = safe_next(request, _home())
    if factor.has_factor(user):
        signing_in.remember_half_way(request, user)
        request.session["next"] = forward
        return redirect("sign-in-code")
    return _enter(request, user, forward)


def _enter(request: HttpRequest, user: User, forward: str) -> HttpResponse:
    signing_in.sign_in(request, user)
    response = redirect(forward)
    signing_in.know_device(request, response, user)
    return response


@login_not_required
@require_http_methods(FORM)
@shows_no_record
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """The second factor."""
    user = signing_in.half_way(request)
    if user is None:
        return redirect("sign-in")
    form = Code(request.POST or None)
    status = 200
    if form.is_valid():
        outcome = signing_in.try_code(request, user, form.cleaned_data["code"])
        if outcome.user:
            return _enter(request, user, request.session.get("next", _home()))
        form.add_error(None, outcome.message)
        status = 429 if outcome.wait_s else 422
    return _form(request, form, "Second factor", "Sign in", status, hint="code")


@login_not_required
@require_POST
@shows_no_record
@sessions.needs_no_factor
def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session at the server. The encrypted queue stays; everything else cached goes."""
    if request.user.is_authenticated:
        write(Act.SIGN_OUT, f"account:{request.user.pk}")
    logout(request)
    response = redirect("sign-in")
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


@login_not_required
@require_GET
@shows_no_record
@sessions.needs_no_factor
def session(request: HttpRequest) -> HttpResponse:
    """How long the page may still show what it shows; asking does not prolong it."""
    if not request.user.is_authenticated:
        return JsonResponse({"signed_in": False}, status=401)
    return JsonResponse(
        {
            "signed_in": True,
            "account": str(request.user.pk),
            "idle": settings.IDLE_S,
            "idle_left": sessions.idle_left(request),
            "whole_left": sessions.whole_left(request),
            "seconds_left": sessions.seconds_left(request),
        }
    )


@login_not_required
@require_http_methods(FORM)
@shows_no_record
def welcome(request: HttpRequest, token: str) -> HttpResponse:
    """Follow a one-time link: the token moves out of the address, nothing is used up by a look."""
    link = links.look_up(token)
    if link is None:
        raise Http404
    request.session["welcome"] = token
    return redirect("welcome-password")


@login_not_required
@require_http_methods(FORM)
@shows_no_record
def welcome_password(request: HttpRequest) -> HttpResponse:
    """Choose a password (or just enter, in a demonstration) with the link followed before."""
    link = links.look_up(request.session.get("welcome", ""))
    if link is None:
        raise Http404
    if link.purpose == OneTimeLink.Purpose.ENTER:
        return _enter_once(request, link)
    form = ChoosePassword(link.user, request.POST or None)
    if form.is_valid() and links.use(link):
        link.user.set_password(form.cleaned_data["password"])
        with gathered():
            link.user.save(update_fields=["password"])
            write(Act.PASSWORD, f"account:{link.user.pk}", who=link.user.username)
        sessions.end_sessions(link.user)
        # A link never stands in for the second factor.
        return _go_on(request, link.user)
    return _form(request, form, "Choose your password", "Save", who=link.user.username)


def _enter_once(request: HttpRequest, link: OneTimeLink) -> HttpResponse:
    """A button: whatever only looks at addresses (a scanner, a preview) presses none."""
    if request.method != "POST":
        return _form(request, Form(), "Welcome", "Enter", who=link.user.username)
    return _enter(request, link.user, _home()) if links.use(link) else redirect("sign-in")


@require_http_methods(FORM)
def confirm(request: SignedInRequest) -> HttpResponse:
    """All that signing in asks for, once more, before something that matters."""
    with_code = factor.has_factor(request.user)
    form = Confirm(with_code, request.POST or None)
    status = 200
    if form.is_valid():
        outcome = signing_in.try_again(request, request.user, **form.cleaned_data)
        if outcome.user:
            request.session["confirmed"] = time()
            return redirect(safe_next(request, _account()))
        form.add_error(None, outcome.message)
        status = 429 if outcome.wait_s else 422
    hint = "code" if with_code else ""
    if not request.user.has_usable_password():
        hint = "elsewhere"
    return _form(request, form, "Confirm your password", "Continue", status, hint=hint)


def _account() -> str:
    """The page of one's own account."""
    return resolve_url("account")


@require_GET
def account(request: SignedInRequest) -> HttpResponse:
    """One's own account: sessions, password, second factor, what is kept about one."""
    context = {
        "sessions": sessions.live_sessions(request.user),
        "this": request.session.session_key,
        "has_factor": factor.has_factor(request.user),
        "idle_minutes": settings.IDLE_S // 60,
        "hours": settings.SESSION_COOKIE_AGE // 3600,
    }
    return render(request, "accounts/account.html", context)


@require_POST
@recently_confirmed
def end_session(request: SignedInRequest, session_id: int) -> HttpResponse:
    """End one of one's own sessions."""
    row = get_object_or_404(SignedIn, pk=session_id, user=request.user)
    Session.objects.filter(session_key=row.session_key).delete()
    row.delete()
    write(Act.SESSION_ENDED, f"account:{request.user.pk}")
    return redirect("account")


@require_http_methods(FORM)
@recently_confirmed
def password(request: SignedInRequest) -> HttpResponse:
    """Change one's own password; every other session ends."""
    form = ChangePassword(request.user, request.POST or None)
    if form.is_valid():
        request.user.set_password(form.cleaned_data["password"])
        with gathered():
            request.user.save(update_fields=["password"])
            write(Act.PASSWORD, f"account:{request.user.pk}")
        update_session_auth_hash(request, request.user)
        sessions.end_sessions(request.user, keep=request.session.session_key)
        return redirect("account")
    return _form(request, form, "Change your password", "Save")


@require_http_methods(FORM)
@recently_confirmed
@sessions.needs_no_factor
def second_factor(request: SignedInRequest) -> HttpResponse:
    """Set up the second factor: scan, type one code, keep the recovery codes."""
    if factor.has_factor(request.user):
        return redirect("account")
    if request.method == "GET":
        return _set_up(request, Code())
    form = Code(request.POST)
    if form.is_valid() and (codes := factor.confirm(request.user, form.cleaned_data["code"])):
        sessions.end_sessions(request.user, keep=request.session.session_key)
        write(Act.FACTOR, f"account:{request.user.pk}")
        return render(request, "accounts/recovery.html", {"codes": codes})
    form.add_error("code", signing_in.WRONG_CODE)
    return _set_up(request, form, 422)


def _set_up(request: SignedInRequest, form: Code, status: int = 200) -> HttpResponse:
    kept = getattr(request.user, "factor", None) if status == 422 else None
    waiting = kept or factor.begin(request.user)
    picture = io.BytesIO()
    segno.make(factor.address_of(waiting)).save(picture, kind="svg", scale=5, border=4)
    context = {
        "form": form,
        "secret": factor.secret_of(waiting),
        "picture": base64.b64encode(picture.getvalue()).decode(),
    }
    return render(request, "accounts/second_factor.html", context, status=status)


@require_POST
@recently_confirmed
def recovery_codes(request: SignedInRequest) -> HttpResponse:
    """Ten fresh recovery codes; the old ones are void, and every other session ends."""
    if not factor.has_factor(request.user):
        raise Http404
    sessions.end_sessions(request.user, keep=request.session.session_key)
    write(Act.FACTOR, f"account:{request.user.pk}")
    return render(
        request, "accounts/recovery.html", {"codes": factor.new_recovery_codes(request.user)}
    )
