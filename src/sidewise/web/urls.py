"""Addresses; no finding and no patient code ever stands in one."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
