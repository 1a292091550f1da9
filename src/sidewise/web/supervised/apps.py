"""A learner at a real patient: consent, what they found, and the supervisor's countersignature."""

from __future__ import annotations

from sidewise.web import parts


class Supervised(parts.Part):
    """A learner at a real patient, apart from the patient's record."""

    name = "sidewise.web.supervised"
    label = "supervised"
    roles = frozenset({"clinician", "student"})
    doors = (
        parts.Door(
            "learner-visits", "With a patient", frozenset({"student"}), "With a patient",
            "Examine a real patient who agreed to it, beside your supervisor, and see how your "
            "hands compare.",
        ),
    )  # fmt: skip
    at_an_examination = (
        parts.Door(
            "learners", "with a student", frozenset({"clinician"}),
            "A student examines too", "With the patient's consent, apart from the record.",
        ),
    )  # fmt: skip
