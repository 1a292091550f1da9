"""The patient whom a plan is for when no examination was named: said, and otherwise blank."""

from __future__ import annotations

from datetime import UTC, datetime

from sidewise.errors import UserError
from sidewise.record import Context, Record

COMPLAINTS = {"left": ("left",), "right": ("right",), "both": ("left", "right")}
NOBODY = "nobody yet"


def presentation(
    region: str, complaint: str = "right", age: int | None = None, setting: str | None = None
) -> Record:
    """A blank record of a person who complains of one side or both; nothing is examined or asked.

    age: in years, the reasoner's own assumption where none is given. UserError for another side.
    """
    if complaint not in COMPLAINTS:
        raise UserError("--complaint", complaint, f"one of {', '.join(COMPLAINTS)}")
    context = Context.model_validate(
        {
            "patient": NOBODY,
            "examiner": NOBODY,
            # Nothing turns on the hour of an examination that has not begun.
            "examined_at": datetime(2000, 1, 1, tzinfo=UTC),
            "complaint": COMPLAINTS[complaint],
            "age": age,
            "setting": setting,
        }
    )
    return Record(id=f"plan-{complaint}", region=region, context=context)
