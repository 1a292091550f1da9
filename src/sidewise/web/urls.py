"""Addresses; no finding and no patient code ever stands in one."""

from __future__ import annotations

from django.urls import include, path

from sidewise.web.patients import views

urlpatterns = [
    path("", views.today, name="today"),
    path("", include("sidewise.web.accounts.urls")),
    path("", include("sidewise.web.audit.urls")),
    path("", include("sidewise.web.keeping.urls")),
    path("patients/", include("sidewise.web.patients.urls")),
    path("examinations/<uuid:pk>/", include("sidewise.web.examinations.urls")),
]
