"""Patients by code, and who may see which."""

from __future__ import annotations

from sidewise.ground.language import mark_text
from sidewise.web import parts


class Patients(parts.Part):
    """Patients by code, and who may see which."""

    name = "sidewise.web.patients"
    label = "patients"
    roles = frozenset({"clinician"})
    doors = (
        parts.Door(
            "patients", mark_text("Patients"), frozenset({"clinician"}), "Patients",
            "Find a patient by code, or add one and begin an examination.",
        ),
    )  # fmt: skip
