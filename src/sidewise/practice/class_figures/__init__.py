"""A class's practice in figures: progress, what is weighed wrongly by most, who needs help.

Pure functions of stored feedback (`sidewise-feedback/1`); who may see them is for others to say.
"""

from sidewise.practice.class_figures.figures import (
    ClassFigures,
    FindingMisread,
    LeftOut,
    StudentProgress,
    class_figures,
)
from sidewise.practice.class_figures.one_case import PlayedCase, played_case
from sidewise.practice.class_figures.statements import statement_of, statements_text
from sidewise.practice.class_figures.table import PLAYED_COLUMNS, played_table

__all__ = [
    "PLAYED_COLUMNS",
    "ClassFigures",
    "FindingMisread",
    "LeftOut",
    "PlayedCase",
    "StudentProgress",
    "class_figures",
    "played_case",
    "played_table",
    "statement_of",
    "statements_text",
]
