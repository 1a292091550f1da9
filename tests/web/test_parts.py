"""Each part of the program says for whom it is, and each view what it is, to the rooms below."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.test import RequestFactory
from django.urls import URLPattern, get_resolver
from django.views.decorators.http import require_GET

from sidewise.web.accounts.rules import open_to_any_account, roles_for, takes_json
from sidewise.web.accounts.sessions import needs_no_factor
from sidewise.web.audit.watch import shows_no_record
from sidewise.web.parts import Part
from sidewise.web.view_marks import Mark

CLINICIAN = frozenset({"clinician"})
ROLES = {"accounts": None, "audit": frozenset(), "patients": CLINICIAN,
         "examinations": CLINICIAN, "keeping": None, "anatomy": None,
         "marks": frozenset({"teacher"}),
         "classes": frozenset({"teacher", "student"}),
         "practice": frozenset({"teacher", "student"}),
         "supervised": frozenset({"clinician", "student"})}  # fmt: skip
MARKED = {
    "open_to_any_account": (open_to_any_account, {"today"}),
    "takes_json": (takes_json, {"touch", "queue"}),
    "needs_no_factor": (needs_no_factor, {"second-factor", "sign-out", "session", "health"}),
    "shows_no_record": (
        shows_no_record,
        {"sign-in", "sign-in-code", "sign-out", "welcome", "welcome-password", "health",
         "offline", "session", "sheet", "paper", "queue-key", "marks-style", "marks-template",
         "single-sign-on", "single-sign-on-back", "preferences", "since", "version"},
    ),
}  # fmt: skip


def _views(patterns=None):
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(pattern, URLPattern):
            yield pattern.name, pattern.callback
        else:
            yield from _views(pattern.url_patterns)


def test_every_app_of_ours_is_a_part_and_says_for_whom_it_is():
    ours = {app.label: app for app in apps.get_app_configs() if app.name.startswith("sidewise.")}
    assert all(isinstance(app, Part) for app in ours.values())
    assert {label: app.roles for label, app in ours.items()} == ROLES


def test_every_view_stands_in_a_part_that_lets_somebody_in():
    swept = 0
    for name, view in _views():
        assert roles_for(view) is None or roles_for(view), name
        swept += 1
    assert swept > 55


def test_a_view_in_no_part_lets_nobody_in():
    def lost(request):
        """A view of ours that no app holds."""

    lost.__module__ = "sidewise.web.lost"
    assert roles_for(lost) == frozenset()


@pytest.mark.parametrize("name", sorted(MARKED))
def test_a_mark_stands_on_these_views_and_no_others(name):
    mark, expected = MARKED[name]
    assert {name for name, view in _views() if view in mark} == expected
    assert len(mark.views) == len(expected)


def test_a_mark_is_seen_through_what_is_wrapped_around():
    def view(request):
        """A view."""
        return request.path

    mark = Mark()
    shown = require_GET(mark(view))
    assert shown in mark
    assert shown(RequestFactory().get("/here/")) == "/here/"
    assert shown not in Mark()
