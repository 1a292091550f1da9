"""A value object: the base of every model read from a file or a form."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """A value object: immutable, and an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")
