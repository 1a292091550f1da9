"""Addresses of examinations: random keys, never a finding and never a patient's code."""

from __future__ import annotations

from django.urls import include, path

from sidewise.web.examinations.views import (
    care,
    eyes,
    figure,
    history,
    line,
    lists,
    paper,
    plan,
    preferences,
    prints,
    queue,
    reading,
    repair,
    signing,
    stage,
    touch,
    visits,
)

of_a_patient = [
    path("", visits.patient, name="patient"),
    path("examine/", visits.new_examination, name="new-examination"),
    path("course.svg", visits.course, name="course"),
    path("compare/", visits.compare, name="compare"),
    path("eyes/", eyes.eyes, name="eyes"),
]
of_an_examination = [
    path("", stage.open_stage, name="examination"),
    path("stage/<str:stage>/", stage.show_stage, name="stage"),
    path("row/<str:item>/", stage.show_row, name="row"),
    path("item/<str:item>/", stage.show_item, name="item"),
    path("rest/<str:stage>/", stage.show_rest, name="rest"),
    path("instrument/", stage.choose_instrument, name="instrument"),
    path("touch/", touch.touch, name="touch"),
    path("record/", touch.record, name="record"),
    path("line/", line.line, name="line"),
    path("queue/", queue.take_queue, name="queue"),
    path("held/", queue.held, name="held"),
    path("since/", queue.since, name="since"),
    path("about/", history.about, name="about"),
    path("history/", history.show_history, name="history"),
    path("history/answer/", history.answer, name="answer"),
    path("history/vitals/", history.set_vitals, name="vitals"),
    path("care/", care.care, name="care"),
    path("figure/", figure.show_figure, name="figure"),
    path("figure/movement/", figure.show_movement, name="movement"),
    path("meaning/", reading.meaning, name="meaning"),
    path("plan/", plan.visit_plan, name="visit-plan"),
    path("note/", reading.note, name="note"),
    path("paper/<str:paper>/", prints.print_paper, name="print-paper"),
    path("leaflet/", prints.leaflet, name="leaflet"),
    path("file/", reading.file, name="file"),
    path("revisions/<int:number>/", reading.revision, name="revision"),
    path("sign/", signing.sign, name="sign"),
    path("amend/", signing.amend, name="amend"),
    path("discard/", signing.discard, name="discard"),
    path("mirror/", repair.mirror, name="mirror"),
    path("move/", repair.move, name="move"),
]
urlpatterns = [
    path("", visits.today, name="today"),
    path("patients/", lists.patients, name="patients"),
    path("paper/", paper.paper, name="paper"),
    path("preferences/", preferences.preferences, name="preferences"),
    path("patients/<uuid:key>/", include(of_a_patient)),
    path("examinations/<uuid:pk>/", include(of_an_examination)),
]
