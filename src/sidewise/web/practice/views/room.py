"""The case room: asking, looking, feeling, moving and testing by items; and what one thinks."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from sidewise.errors import UserError
from sidewise.practice.room import flag_choices
from sidewise.practice.room.attempt import Hint
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.pages import show
from sidewise.web.practice import store
from sidewise.web.practice.access import own_attempt
from sidewise.web.practice.forms import end_from, step_from, thought_from
from sidewise.web.practice.room_lines import (
    HISTORY,
    Answer,
    AskedGroup,
    ChanceLine,
    ItemGroup,
    RoomTab,
    chances_of,
    groups_of,
    questions_of,
    still_first,
    tabs_of,
    vitals_of,
)
from sidewise.web.practice.store import OpenAttempt, OtherTab

only_students = roles(Role.STUDENT)
Said = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RoomPage:
    """What the page of one stage of a case is given."""

    found: OpenAttempt
    """The attempt with its room."""
    tabs: tuple[RoomTab, ...]
    """The stages."""
    here: str
    """Which of them is shown."""
    groups: tuple[ItemGroup, ...]
    """The items of the stage, with what was found."""
    questions: tuple[AskedGroup, ...]
    """The questions, with what was answered; on the history only."""
    vitals: tuple[Answer, ...]
    """The vital signs, as the questions."""
    minutes: int
    """Of the patient's time, so far."""
    hints: Said
    """What was hinted, the latest first."""
    first: Said
    """What must still be seen to before anybody is touched."""
    problem: str
    """Why the last step was not taken."""


@dataclass(frozen=True, slots=True)
class ThinkPage:
    """What the page of what one thinks is given."""

    found: OpenAttempt
    """The attempt with its room."""
    tabs: tuple[RoomTab, ...]
    """The stages."""
    here: str
    """Nothing: no stage is shown."""
    minutes: int
    """Of the patient's time, so far."""
    chances: tuple[ChanceLine, ...]
    """Each group with what was stated last."""
    flags: tuple[tuple[str, str], ...]
    """Every flag, to be ticked."""
    plan: str
    """What is to be done, as it was typed."""
    problem: str
    """What is wrong with what was sent."""


@only_students
@require_http_methods(["GET", "POST"])
def room(request: SignedInRequest, attempt: UUID) -> HttpResponse:
    """One stage of the case; a button of it is a step."""
    found = store.opened(own_attempt(request.user, attempt))
    if found.attempt.finished:
        return redirect("practice-result", attempt=attempt)
    here = request.GET.get("stage", HISTORY)
    if here not in {tab.slug for tab in tabs_of(found.room, found.attempt)}:
        raise Http404
    if request.method == "GET":
        return _room(request, found, here)
    try:
        store.take(found, step_from(found.room, request.POST), _seen(request))
    except OtherTab as error:
        fresh = store.opened(own_attempt(request.user, attempt))
        return _room(request, fresh, here, error.do, 409)
    except UserError as error:
        return _room(request, found, here, error.message, 422)
    return redirect(f"{reverse('practice-room', args=[attempt])}?stage={here}#{_anchor(request)}")


def _anchor(request: SignedInRequest) -> str:
    kind, *rest = request.POST.get("step", "").split(" ")
    return "hints" if kind == "hint" else f"at-{rest[0]}" if rest else "main"


def _seen(request: SignedInRequest) -> int:
    text = request.POST.get("seen", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else -1


def _room(
    request: SignedInRequest, found: OpenAttempt, here: str, problem: str = "", status: int = 200
) -> HttpResponse:
    at, attempt = found.room, found.attempt
    asking = here == HISTORY
    context = RoomPage(
        found=found, tabs=tabs_of(at, attempt), here=here,
        groups=() if asking else groups_of(at, attempt, here),
        questions=questions_of(at, attempt) if asking else (),
        vitals=vitals_of(at, attempt) if asking else (),
        minutes=round(attempt.seconds / 60),
        hints=tuple(t.said for t in reversed(attempt.taken) if isinstance(t.step, Hint)),
        first=still_first(at, attempt), problem=problem,
    )  # fmt: skip
    return show(request, "practice/room.html", context, status=status)


@only_students
@require_http_methods(["GET", "POST"])
def think(request: SignedInRequest, attempt: UUID) -> HttpResponse:
    """How likely is what, what next and why; and the end of the case."""
    found = store.opened(own_attempt(request.user, attempt))
    if found.attempt.finished:
        return redirect("practice-result", attempt=attempt)
    if request.method == "GET":
        return _think(request, found)
    ends = "end" in request.POST
    try:
        step = (end_from if ends else thought_from)(found.room, request.POST)
        store.take(found, step, _seen(request))
    except OtherTab as error:
        return _think(request, store.opened(own_attempt(request.user, attempt)), error.do, 409)
    except UserError as error:
        return _think(request, found, error.message, 422)
    return redirect("practice-result" if ends else "practice-think", attempt=attempt)


def _think(
    request: SignedInRequest, found: OpenAttempt, problem: str = "", status: int = 200
) -> HttpResponse:
    context = ThinkPage(
        found=found, tabs=tabs_of(found.room, found.attempt), here="",
        minutes=round(found.attempt.seconds / 60),
        chances=chances_of(found.room, found.attempt), flags=flag_choices(found.room.region),
        plan=request.POST.get("plan", ""), problem=problem,
    )  # fmt: skip
    return show(request, "practice/think.html", context, status=status)
