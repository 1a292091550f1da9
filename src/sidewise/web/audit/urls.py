"""The address of the audit page."""

from __future__ import annotations

from django.urls import path

from sidewise.web.audit import views

urlpatterns = [path("audit/", views.audit, name="audit")]
