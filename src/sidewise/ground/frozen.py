"""A value object: the base of every model read from a file or a form."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """A value object: immutable, and an unknown field is an error.

    What checks a value is built when the first of its class is checked: a command needs some of
    the classes, and to build them all took longer than its answer.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)
