"""From the types of a result to the JSON Schema of what is written of it.

Every field stands in the document and no other: a result that gains a field gains it here too.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from datetime import date
from enum import Enum
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np

Schema = dict[str, Any]
PLAIN: dict[Any, Schema] = {
    str: {"type": "string"},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    NoneType: {"type": "null"},
    date: {"type": "string", "format": "date"},
    Any: {},
}
LISTS = (tuple, list, set, frozenset)


class Shapes:
    """Shapes of types; those of dataclasses are gathered in `defs`, by name.

    gaps: whether a number that could not be computed is written as null. known: names that the
    types' own modules import for type checkers alone.
    """

    def __init__(self, *, gaps: bool, known: Mapping[str, Any] | None = None) -> None:
        self.defs: dict[str, Schema] = {}
        self._gaps = gaps
        self._known = dict(known or {})

    def of(self, kind: Any) -> Schema:
        """The schema of a type; an unknown type is a bug."""
        if kind in PLAIN:
            return PLAIN[kind]
        if kind is float:
            return {"type": ["number", "null"] if self._gaps else "number"}
        if dataclasses.is_dataclass(kind):
            assert isinstance(kind, type)
            return self._reference(kind)
        if isinstance(kind, type) and issubclass(kind, Enum):
            return {"enum": [member.value for member in kind]}
        if getattr(kind, "__name__", "") == "DataFrame":
            return {"type": "array", "items": {"type": "object"}}
        return self._generic(kind, get_origin(kind), get_args(kind))

    def _generic(self, kind: Any, origin: Any, parts: tuple[Any, ...]) -> Schema:
        if origin in (Union, UnionType):
            return {"anyOf": [self.of(part) for part in parts]}
        if origin is Literal:
            return {"enum": list(parts)}
        if origin is dict or origin is Mapping:
            return {"type": "object", "additionalProperties": self.of(parts[1])}
        if origin is np.ndarray:
            # Of one axis or several: what the axes are, the docstring of the result says.
            return {"type": "array"}
        if origin in LISTS:
            return self._list(tuple(part for part in parts if part is not Ellipsis), parts)
        raise AssertionError(f"no shape for {kind}")

    def _list(self, kinds: tuple[Any, ...], parts: tuple[Any, ...]) -> Schema:
        if len(kinds) == 1 and (len(parts) == 2 or parts == kinds) and Ellipsis in (*parts, ...):
            return {"type": "array", "items": self.of(kinds[0])}
        inner = [self.of(kind) for kind in kinds]
        return {"type": "array", "prefixItems": inner, "items": False, "minItems": len(inner)}

    def _reference(self, kind: type) -> Schema:
        name = kind.__name__
        if name not in self.defs:
            self.defs[name] = {}  # Named before it is filled: a type may hold others of itself.
            self.defs[name] = self.fields_of(kind)
        return {"$ref": f"#/$defs/{name}"}

    def fields_of(self, kind: Any) -> Schema:
        """An object with every field of a dataclass that is shown (`repr`)."""
        hints = get_type_hints(kind, localns=self._known)
        shown = {f.name: self.of(hints[f.name]) for f in dataclasses.fields(kind) if f.repr}
        about = (kind.__doc__ or "").partition("\n")[0]
        return {**closed_object(shown), "description": about}


def closed_object(fields: Mapping[str, Schema], optional: Iterable[str] = ()) -> Schema:
    """An object with these fields, all required but the optional ones, and no others."""
    left_out = set(optional)
    return {
        "type": "object",
        "properties": dict(fields),
        "required": [name for name in fields if name not in left_out],
        "additionalProperties": False,
    }


def without(schema: Schema, names: Iterable[str]) -> Schema:
    """The same object without some of its fields."""
    gone = set(names)
    kept = {name: shape for name, shape in schema["properties"].items() if name not in gone}
    return {**schema, **closed_object(kept)}


def or_null(schema: Schema) -> Schema:
    """That, or null."""
    return {"anyOf": [schema, {"type": "null"}]}
