"""Addresses of marks: random keys and numbers, never a title, a student or a mark."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from sidewise.web.marks.views import results, settling, sharing, sheets, sittings

of_a_version: list[URLPattern | URLResolver] = [
    path("", sittings.version, name="marks-version"),
    path("report/", results.report, name="marks-report"),
    path("decisions/", results.decisions, name="marks-decisions"),
    path("letters/", results.letters_page, name="marks-letters"),
    path("file/<slug:what>/", results.result_file, name="marks-file"),
]
of_a_sitting: list[URLPattern | URLResolver] = [
    path("", sittings.sitting, name="marks-sitting"),
    path("settle/", settling.settle, name="marks-settle"),
    path("rules/", settling.rules, name="marks-rules"),
    path("replace/", settling.replace, name="marks-replace"),
    path("log/", sittings.log, name="marks-log"),
    path("share/", sharing.share, name="marks-share"),
    path("accounts/", sharing.accounts, name="marks-accounts"),
    path("tables/<int:number>/", sheets.sheet, name="marks-sheet"),
    path("tables/<int:number>/file/", sheets.sheet_file, name="marks-sheet-file"),
    path("versions/<int:number>/", include(of_a_version)),
]
urlpatterns = [
    path("", sittings.marks, name="marks"),
    path("report.css", results.style, name="marks-style"),
    path("template/<slug:kind>/", results.template, name="marks-template"),
    path("<uuid:sitting>/", include(of_a_sitting)),
]
