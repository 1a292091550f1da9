"""The practice room: simulated patients, what students made of them, and their teachers' view."""

from __future__ import annotations

from sidewise.ground.language import mark_text
from sidewise.web import parts


class Practice(parts.Part):
    """The practice room: simulated patients, and what students made of them."""

    name = "sidewise.web.practice"
    label = "practice"
    roles = frozenset({"teacher", "student"})
    doors = (
        parts.Door(
            "practise", mark_text("Practise"), frozenset({"student"}), "Practise",
            "Examine a simulated patient, say what you think, and see what your findings were "
            "worth.",
        ),
        parts.Door(
            "practice-cases", mark_text("Cases"), frozenset({"teacher"}), "Practice cases",
            "Cases written by hand, to be set for a class. Simulated, never a patient.",
        ),
    )  # fmt: skip
