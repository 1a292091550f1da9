"""Addresses of classes: random keys and numbers, never a title or a student's name."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from sidewise.web.classes.views import joining, members, rooms

of_a_class: list[URLPattern | URLResolver] = [
    path("", rooms.study_class, name="class"),
    path("members/", members.members, name="class-members"),
    path("codes/", members.codes, name="class-codes"),
    path("share/", rooms.share, name="class-share"),
    path("withdraw/", rooms.withdraw, name="class-withdraw"),
]
urlpatterns = [
    path("", rooms.classes, name="classes"),
    path("join/", joining.join, name="class-join"),
    path("<uuid:study_class>/", include(of_a_class)),
]
