"""What happens between a typed password and a session; the views only show it."""

from __future__ import annotations

from dataclasses import dataclass
from time import time

from django.contrib.auth import authenticate, login
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from sidewise.web.accounts import factor, throttle
from sidewise.web.accounts.models import KnownDevice, User
from sidewise.web.accounts.sealing import digest
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.watch import address

BACKEND = "django.contrib.auth.backends.ModelBackend"
DEVICE_DAYS = 365
HALF_WAY_S = 5 * 60
WRONG = "That name and password do not match an account here."
WRONG_CODE = "That code is wrong or was used already. Wait for the next one."


@dataclass(frozen=True, slots=True)
class Outcome:
    """A user to go on with, or what to tell the person."""

    user: User | None = None
    message: str = ""
    wait_s: int = 0


def try_password(request: HttpRequest, username: str, password: str) -> Outcome:
    """Check name and password unless too many went before; every failure is counted and noted."""
    device = request.COOKIES.get(device_cookie(request))
    counted = throttle.buckets(username, address(request), device)
    taken = throttle.take(counted)
    if taken.wait_s:
        return Outcome(message=too_many(taken.wait_s), wait_s=taken.wait_s)
    user = authenticate(request, username=username, password=password)
    if user is None:
        _note_failure(username)
        return Outcome(message=WRONG)
    throttle.forget(counted, taken)
    return Outcome(user=user)


def try_code(request: HttpRequest, user: User, code: str) -> Outcome:
    """Check the second factor; only reached after the right password."""
    counted = throttle.code_buckets(user, request.COOKIES.get(device_cookie(request)))
    taken = throttle.take(counted)
    if taken.wait_s:
        return Outcome(message=too_many(taken.wait_s), wait_s=taken.wait_s)
    if not factor.check(user, code):
        _note_failure(user.username)
        return Outcome(message=WRONG_CODE)
    throttle.forget(counted, taken)
    return Outcome(user=user)


def try_again(request: HttpRequest, user: User, password: str, code: str = "") -> Outcome:
    """Password, and second factor where there is one, of somebody who is signed in."""
    outcome = try_password(request, user.username, password)
    if outcome.user and factor.has_factor(user):
        return try_code(request, user, code)
    return outcome


def remember_half_way(request: HttpRequest, user: User) -> None:
    """Password right, second factor still to come: nothing is signed in yet."""
    request.session.flush()
    request.session["half_way"] = {"user": user.pk, "at": time()}


def half_way(request: HttpRequest) -> User | None:
    """Who gave the right password in the last five minutes."""
    kept = request.session.get("half_way")
    if not kept or time() - kept["at"] > HALF_WAY_S:
        return None
    user: User | None = User.objects.filter(pk=kept["user"], is_active=True).first()
    return user


def sign_in(request: HttpRequest, user: User) -> None:
    """Begin a session with a fresh token; whatever the browser had before is dropped."""
    request.session.flush()
    with gathered():
        login(request, user, backend=BACKEND)
        write(Act.SIGN_IN, f"account:{user.pk}", who=user.username, role=user.role)


def know_device(request: HttpRequest, response: HttpResponse, user: User) -> None:
    """Give the browser its mark, so that it can sign in again whatever others try."""
    name = device_cookie(request)
    token = request.COOKIES.get(name) or factor.device_token()
    KnownDevice.objects.get_or_create(
        user=user, digest=digest(token), defaults={"since": timezone.now()}
    )
    response.set_cookie(
        name, token, max_age=DEVICE_DAYS * 86400, httponly=True, samesite="Strict",
        secure=request.is_secure(),
    )  # fmt: skip


def device_cookie(request: HttpRequest) -> str:
    """The cookie's name; bound to the host where TLS allows it."""
    return "__Host-device" if request.is_secure() else "device"


def too_many(wait: int) -> str:
    """What a person reads who has to wait."""
    if wait < 90:
        return f"Too many attempts. Try again in {wait} seconds."
    return f"Too many attempts. Try again in {round(wait / 60)} minutes."


def _note_failure(username: str) -> None:
    # A name that is no account may be a password typed into the wrong field: never kept.
    user = User.objects.filter(username=username).first()
    write(Act.SIGN_IN_FAILED, f"account:{user.pk}" if user else "account")
