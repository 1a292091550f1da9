"""Addresses of a new patient and of sharing; no code ever stands in one."""

from __future__ import annotations

from django.urls import path

from sidewise.web.patients import sharing, views

urlpatterns = [
    path("<uuid:key>/share/", sharing.share, name="share"),
    path("new/", views.new_patient, name="new-patient"),
]
