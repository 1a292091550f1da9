"""Addresses of one examination: a random key, never a finding and never a patient's code."""

from __future__ import annotations

from django.urls import path

from sidewise.web.examinations.views import figure, history, line, reading, signing, stage, touch

urlpatterns = [
    path("", stage.open_stage, name="examination"),
    path("stage/<str:stage>/", stage.show_stage, name="stage"),
    path("row/<str:item>/", stage.show_row, name="row"),
    path("item/<str:item>/", stage.show_item, name="item"),
    path("rest/<str:stage>/", stage.show_rest, name="rest"),
    path("instrument/", stage.choose_instrument, name="instrument"),
    path("touch/", touch.touch, name="touch"),
    path("record/", touch.record, name="record"),
    path("line/", line.line, name="line"),
    path("about/", history.about, name="about"),
    path("history/", history.show_history, name="history"),
    path("history/answer/", history.answer, name="answer"),
    path("history/vitals/", history.set_vitals, name="vitals"),
    path("figure/", figure.show_figure, name="figure"),
    path("meaning/", reading.meaning, name="meaning"),
    path("note/", reading.note, name="note"),
    path("file/", reading.file, name="file"),
    path("revisions/<int:number>/", reading.revision, name="revision"),
    path("sign/", signing.sign, name="sign"),
    path("amend/", signing.amend, name="amend"),
    path("discard/", signing.discard, name="discard"),
]
