"""Provenance: where a statement or figure comes from, and how it was obtained (five marks)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, ClassVar

from pydantic import ConfigDict, Field


class Mark(StrEnum):
    """How a figure was obtained; each figure carries exactly one mark."""

    READ = "read"
    MEMORY = "memory"
    COMMON_PRACTICE = "common practice"
    OUR_JUDGEMENT = "our judgement"
    COMPUTED = "computed"


MARKS = frozenset(mark.value for mark in Mark)
ONE_MARK = f"one of {', '.join(sorted(MARKS))}"


@dataclass(frozen=True)
class Provenance:
    """The mark, the source and a note; checked where it is a field of a model read from a file."""

    # An unknown field of a file is an error, as in every other model of ours.
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")

    mark: Mark
    source: Annotated[str, Field(min_length=3)]
    note: str = ""
