"""Classes of students, the work that is set for them, and who has done what."""

from __future__ import annotations

from sidewise.ground.language import mark_text
from sidewise.web import parts


class Classes(parts.Part):
    """Classes of students, the work that is set for them, and who has done what."""

    name = "sidewise.web.classes"
    label = "classes"
    roles = frozenset({"teacher", "student"})
    doors = (
        parts.Door(
            "classes", mark_text("Classes"), frozenset({"teacher"}), "Classes",
            "Your students, the work set for them, and who has done what.",
        ),
    )  # fmt: skip
