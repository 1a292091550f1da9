"""The administrator's pages on accounts: add, change, stop, and help back in."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.web.accounts import factor, first_run, links, sessions
from sidewise.web.accounts.forms import Person
from sidewise.web.accounts.models import Identity, OneTimeLink, Role, User
from sidewise.web.accounts.permissions import SignedInRequest, recently_confirmed, roles
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write

only_administrators = roles(Role.ADMINISTRATOR)
LONGEST_SUBJECT = 200
NO_IDENTITY = (
    "No identity provider is set, or its name for the person is longer than 200 characters."
)
TAKEN = "That identity is linked to another account. Unlink it there first."


@only_administrators
@require_GET
def people(request: SignedInRequest) -> HttpResponse:
    """Everyone with an account."""
    rows = User.objects.order_by("role", "username").select_related("factor")
    return render(request, "accounts/people.html", {"people": rows})


@only_administrators
@require_http_methods(["GET", "POST"])
@recently_confirmed
def add_person(request: SignedInRequest) -> HttpResponse:
    """A new account without a password: its link is shown once."""
    form = Person(request.POST or None)
    if form.is_valid():
        with gathered():
            user = form.save(commit=False)
            user.set_unusable_password()
            user.save()
            write(Act.ACCOUNT, f"account:{user.pk}")
            link = links.make(user, OneTimeLink.Purpose.PASSWORD)
        return _show_link(request, user, link)
    return _edit(request, form, "Add a person")


@only_administrators
@require_http_methods(["GET", "POST"])
@recently_confirmed
def person(request: SignedInRequest, user_id: int) -> HttpResponse:
    """Change name, code or role; a changed role ends the sessions that were begun in the old."""
    user = get_object_or_404(User, pk=user_id)
    form = Person(request.POST or None, instance=user)
    if form.is_valid():
        changed = {"role", "also"} & set(form.changed_data)
        try:
            with gathered():
                form.save()
                _someone_must_administer()
                write(Act.ACCOUNT, f"account:{user.pk}")
        except ValidationError as error:
            form.add_error("role", error)
        else:
            if changed:
                sessions.end_sessions(user, keep=request.session.session_key)
            return redirect("people")
    return _edit(request, form, "Change an account", person=User.objects.get(pk=user_id))


@only_administrators
@require_POST
@recently_confirmed
def stop_person(request: SignedInRequest, user_id: int) -> HttpResponse:
    """Stop an account (or let it work again); stopping ends its sessions at once."""
    user = get_object_or_404(User, pk=user_id)
    try:
        with gathered():
            user.is_active = not user.is_active
            user.save(update_fields=["is_active"])
            _someone_must_administer()
            write(Act.ACCOUNT, f"account:{user.pk}")
    except ValidationError as error:
        return _edit(request, None, "Change an account", person=user, problem=error.messages[0])
    if not user.is_active:
        sessions.end_sessions(user)
    return redirect("people")


@only_administrators
@require_POST
@recently_confirmed
def end_persons_sessions(request: SignedInRequest, user_id: int) -> HttpResponse:
    """End every session of one person."""
    user = get_object_or_404(User, pk=user_id)
    sessions.end_sessions(user)
    write(Act.SESSION_ENDED, f"account:{user.pk}")
    return redirect("people")


@only_administrators
@require_POST
@recently_confirmed
def new_link(request: SignedInRequest, user_id: int) -> HttpResponse:
    """A link to choose a new password; the second factor stays as it is."""
    user = get_object_or_404(User, pk=user_id, is_active=True)
    write(Act.LINK, f"account:{user.pk}")
    return _show_link(request, user, links.make(user, OneTimeLink.Purpose.PASSWORD))


@only_administrators
@require_POST
@recently_confirmed
def remove_factor(request: SignedInRequest, user_id: int) -> HttpResponse:
    """Take away a lost second factor, after the person was recognised in person; sessions end."""
    user = get_object_or_404(User, pk=user_id)
    factor.remove(user)
    sessions.end_sessions(user)
    write(Act.FACTOR, f"account:{user.pk}")
    return redirect("people")


@only_administrators
@require_POST
@recently_confirmed
def tie_identity(request: SignedInRequest, user_id: int) -> HttpResponse:
    """Tie an account at the identity provider to this one, or untie it when left empty."""
    user = get_object_or_404(User, pk=user_id)
    subject = request.POST.get("subject", "").strip()
    issuer = settings.OIDC["issuer"]
    if not issuer or len(subject) > LONGEST_SUBJECT or "\x00" in subject:
        return _edit(request, None, "Change an account", person=user, problem=NO_IDENTITY)
    others = Identity.objects.filter(issuer=issuer, subject=subject).exclude(user=user)
    if others.exists():
        return _edit(request, None, "Change an account", person=user, problem=TAKEN)
    Identity.objects.filter(user=user).delete()
    if subject:
        Identity.objects.create(user=user, issuer=issuer, subject=subject)
    write(Act.ACCOUNT, f"account:{user.pk}")
    return redirect("person", user_id=user_id)


def _someone_must_administer() -> None:
    if not first_run.administrators():
        raise ValidationError(
            "At least one person must be able to administer. Name another administrator first."
        )


def _show_link(request: SignedInRequest, user: User, link: links.FreshLink) -> HttpResponse:
    address = request.build_absolute_uri(link.path)
    context = {"person": user, "address": address, "until": link.expires_at}
    return render(request, "accounts/link.html", context)


def _edit(
    request: SignedInRequest, form: Person | None, title: str, **more: object
) -> HttpResponse:
    problem = more.get("problem") or (form is not None and form.errors)
    context = {"form": form, "title": title, "single_sign_on": settings.OIDC["issuer"], **more}
    return render(request, "accounts/person.html", context, status=422 if problem else 200)
