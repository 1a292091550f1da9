"""Classes of students: one-time codes to join by, work that was set, and who has done what."""

from sidewise.teaching.classes.codes import join_codes, plain_code
from sidewise.teaching.classes.work import ClassWork, SetWork, WorkDone, WorkState, class_work

__all__ = [
    "ClassWork", "SetWork", "WorkDone", "WorkState", "class_work", "join_codes", "plain_code",
]  # fmt: skip
