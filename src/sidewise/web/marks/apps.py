"""Tables of marks, how each was settled, and every page of them."""

from __future__ import annotations

from sidewise.ground.language import mark_text
from sidewise.web import parts


class StudentMarks(parts.Part):
    """Tables of marks, how each was settled, and every page of them: the teachers' part."""

    name = "sidewise.web.marks"
    label = "marks"
    roles = frozenset({"teacher"})
    doors = (
        parts.Door(
            "marks", mark_text("Marks"), frozenset({"teacher"}), "Marks of an examination",
            "Drop a sheet of marks, see what was understood, settle the rest; then the report, "
            "the decisions and the letters.",
        ),
    )  # fmt: skip
