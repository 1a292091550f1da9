"""Addresses of safekeeping."""

from __future__ import annotations

from django.urls import path

from sidewise.web.keeping import audit_trail, records_export, version, views

urlpatterns = [
    path("health/", views.health, name="health"),
    path("offline.js", views.offline, name="offline"),
    path("queue-key/", views.give_queue_key, name="queue-key"),
    path("patients/<uuid:key>/export/", views.export_patient, name="patient-export"),
    path("patients/export/", records_export.export_records, name="export-records"),
    path("account/export/", views.export_own, name="own-export"),
    path("account/practice/<uuid:attempt>/erase/", views.erase_practice, name="erase-practice"),
    path("learners/<uuid:visit>/withdraw/", views.withdraw_consent, name="learner-withdraw"),
    path("learners/<uuid:visit>/erase/", views.erase_own_visit, name="learner-erase"),
    path("audit/", audit_trail.audit, name="audit"),
    path("keeping/", views.keeping, name="keeping"),
    path("version/", version.show_version, name="version"),
]
