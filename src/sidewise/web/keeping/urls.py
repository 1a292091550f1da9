"""Addresses of safekeeping."""

from __future__ import annotations

from django.urls import path

from sidewise.web.keeping import views

urlpatterns = [
    path("health/", views.health, name="health"),
    path("offline.js", views.offline, name="offline"),
    path("examinations/<uuid:pk>/queue/", views.take_queue, name="queue"),
    path("examinations/<uuid:pk>/held/", views.held, name="held"),
    path("patients/<uuid:key>/export/", views.export_patient, name="patient-export"),
    path("account/export/", views.export_own, name="own-export"),
    path("keeping/", views.keeping, name="keeping"),
]
