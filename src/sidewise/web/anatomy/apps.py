"""Anatomy: the drawn body for whoever has an account, and its sheets for every page."""

from __future__ import annotations

from sidewise.ground.language import mark_text
from sidewise.web import parts


class Anatomy(parts.Part):
    """Plates of the figure; nothing of a patient stands here."""

    name = "sidewise.web.anatomy"
    label = "anatomy"
    roles = None
    doors = (
        parts.Door(
            "anatomy", mark_text("Anatomy"),
            frozenset({"clinician", "teacher", "student"}), "Anatomy",
            "Bones, muscles and nerve areas layer by layer, and what lies under a finger.",
        ),
    )  # fmt: skip
