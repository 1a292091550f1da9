"""Addresses; no finding and no patient code ever stands in one."""

from __future__ import annotations

from django.urls import include, path

handler500 = "sidewise.web.failures.failed"
urlpatterns = [
    path("", include("sidewise.web.accounts.urls")),
    path("", include("sidewise.web.examinations.urls")),
    path("", include("sidewise.web.keeping.urls")),
    path("anatomy/", include("sidewise.web.anatomy.urls")),
    path("classes/", include("sidewise.web.classes.urls")),
    path("learners/", include("sidewise.web.supervised.urls")),
    path("marks/", include("sidewise.web.marks.urls")),
    path("practice/", include("sidewise.web.practice.urls")),
    path("patients/", include("sidewise.web.patients.urls")),
]
