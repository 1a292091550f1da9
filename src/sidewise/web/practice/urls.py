"""Addresses of the practice room: random keys only."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from sidewise.web.practice.views import actor, cases, results, room, start, teaching

of_an_attempt: list[URLPattern | URLResolver] = [
    path("", room.room, name="practice-room"),
    path("think/", room.think, name="practice-think"),
    path("result/", results.result, name="practice-result"),
]
of_a_class: list[URLPattern | URLResolver] = [
    path("", teaching.progress, name="practice-class"),
    path("set/", teaching.set_case, name="practice-set"),
    path("actor/<uuid:assignment>/", actor.actor_of_set, name="practice-actor"),
    path("table/", teaching.table, name="practice-table"),
    path("statements/", teaching.statements, name="practice-statements"),
]
urlpatterns = [
    path("", start.practise, name="practise"),
    path("set/<uuid:assignment>/", start.go_on, name="practice-assigned"),
    path("calibration/", results.calibration, name="practice-calibration"),
    path("cases/", cases.cases, name="practice-cases"),
    path("cases/<uuid:case>/actor/", actor.actor_of_own, name="practice-case-actor"),
    path("class/<uuid:study_class>/", include(of_a_class)),
    path("<uuid:attempt>/", include(of_an_attempt)),
]
