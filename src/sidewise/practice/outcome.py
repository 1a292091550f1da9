"""The few figures of a finished case that lists and calibration need, kept beside its feedback."""

from __future__ import annotations

from typing import Any

from sidewise.practice.feedback import Feedback


def case_outcome(told: Feedback, steps: int) -> dict[str, Any]:
    """Steps, minutes, and each group's stated chance with whether it was there, as plain data.

    A student's lists read this of every case; the whole feedback is read where one is opened and
    by their teachers.
    """
    return {
        "steps": steps,
        "minutes": round(told.seconds / 60),
        "groups": [
            {"label": one.label, "stated": one.stated, "there": one.there} for one in told.groups
        ],
    }
