"""Addresses of the anatomy: of a region, never of a person."""

from __future__ import annotations

from django.urls import path

from sidewise.web.anatomy import views

urlpatterns = [
    path("", views.first_anatomy, name="anatomy"),
    path("<str:region_id>/", views.show_anatomy, name="anatomy-of"),
    path("<str:region_id>/sheets/<str:digest>/<str:name>.svg", views.show_sheet, name="sheet"),
]
