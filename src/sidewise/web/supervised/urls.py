"""Addresses of learners' visits: random keys only."""

from __future__ import annotations

from django.urls import path

from sidewise.web.supervised.views import learner, supervisor

urlpatterns = [
    path("", learner.visits, name="learner-visits"),
    path("of/<uuid:pk>/", supervisor.learners, name="learners"),
    path("<uuid:visit>/", learner.examine, name="learner-room"),
    path("<uuid:visit>/hand-in/", learner.hand_in, name="learner-hand-in"),
    path("<uuid:visit>/told/", learner.show_comparison, name="learner-told"),
    path("<uuid:visit>/countersign/", supervisor.countersign, name="learner-countersign"),
    path("<uuid:visit>/end/", supervisor.end, name="learner-end"),
]
