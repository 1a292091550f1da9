"""The kinds of value an examination can record, one file each, all alike.

To add one: copy the nearest file, and add its name to `NAMES`; the page adds one template. The
order is that of questions and of the columns of the long table.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Annotated, Any, Union

from pydantic import Field

from sidewise.kinds.common.kind import Kind, Limits, Measure, TouchEntry, Value
from sidewise.kinds.common.line import Shorthand
from sidewise.kinds.common.touches import Touch
from sidewise.kinds.common.vocabulary import Vocabulary

NAMES = (
    "sign",
    "normal_by_eye",
    "reduced_by_eye",
    "tenderness",
    "angle",
    "arc",
    "level",
    "length",
    "seconds",
    "count",
    "mrc",
    "force",
    "result",
    "choice",
    "place",
    "reflex",
    "sensation",
    "pulse",
    "vital",
    "text",
)

KINDS: dict[str, Kind] = {name: import_module(f"{__name__}.{name}").KIND for name in NAMES}
# A file under another name than its kind, or one kind twice, is not passed over in silence.
assert [kind.name for kind in KINDS.values()] == list(NAMES)

if TYPE_CHECKING:
    AnyLimits = Limits
    AnyValue = Value
else:
    AnyLimits = Annotated[
        Union[tuple(kind.limits for kind in KINDS.values())],  # noqa: UP007
        Field(discriminator="kind"),
    ]
    AnyValue = Annotated[
        Union[tuple(kind.value for kind in KINDS.values())],  # noqa: UP007
        Field(discriminator="kind"),
    ]


def kind_of(one: Any) -> Kind:
    """The kind of a value or of limits."""
    return KINDS[one.kind]


__all__ = [
    "KINDS",
    "NAMES",
    "AnyLimits",
    "AnyValue",
    "Kind",
    "Limits",
    "Measure",
    "Shorthand",
    "Touch",
    "TouchEntry",
    "Value",
    "Vocabulary",
    "kind_of",
]
