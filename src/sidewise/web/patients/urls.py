"""Addresses of patients: a random key, never a code."""

from __future__ import annotations

from django.urls import path

from sidewise.web.patients import views

urlpatterns = [
    path("", views.patients, name="patients"),
    path("new/", views.new_patient, name="new-patient"),
    path("<uuid:key>/", views.patient, name="patient"),
    path("<uuid:key>/examine/", views.new_examination, name="new-examination"),
    path("<uuid:key>/course.svg", views.course, name="course"),
    path("<uuid:key>/compare/", views.compare, name="compare"),
]
