"""The protocol in the words of the language that is spoken: the same ids, other texts.

For whoever shows it to a person. What judges, weighs, reads and keeps uses `protocol_of`: there
every text is English, and so is whatever is made of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel

from sidewise.ground.language import ENGLISH, language, term
from sidewise.knowledge.region import Region
from sidewise.protocol.loader import protocol_of
from sidewise.protocol.model import Protocol

Model = TypeVar("Model", bound=BaseModel)
TEXTS: Mapping[str, tuple[str, ...]] = {
    "stages": ("label", "patient", "examiner", "purpose", "done"),
    "structures": ("label", "group"),
    "items": ("label", "group", "normal_words", "patient", "examiner", "how", "say", "abnormal"),
    "history": ("label", "group", "say", "why"),
    "vitals": ("label",),
    "scales": ("label",),
    "readings": ("label",),
}
"""The fields of each part of a protocol that are read by people."""


def shown_protocol(region: Region) -> Protocol:
    """The protocol of a region as it is shown in the language spoken; in English, itself."""
    return region.view(_shown, language())


def _shown(region: Region, code: str) -> Protocol:
    protocol = protocol_of(region)
    if code == ENGLISH:
        return protocol
    parts = {name: tuple(_said(one, texts) for one in getattr(protocol, name))
             for name, texts in TEXTS.items()}  # fmt: skip
    kinds = tuple(_said(kind, ("name", "about", "heading"))
                  for kind in protocol.visits.kinds)  # fmt: skip
    own = {
        "label": term(protocol.label),
        "visits": _rebuilt(protocol.visits, {"kinds": kinds}),
        "scale_questions": {name: term(text) for name, text in protocol.scale_questions.items()},
    }
    return _rebuilt(protocol, {**parts, **own})


def _said(one: Any, texts: tuple[str, ...]) -> Any:
    said: dict[str, Any] = {name: term(getattr(one, name)) for name in texts}
    if "label" in texts and hasattr(one, "slug"):
        # A stage without a label is called by its id.
        said["label"] = term(str(one))
    if mistakes := getattr(one, "mistakes", ()):
        said["mistakes"] = tuple(map(term, mistakes))
    return _rebuilt(one, said)


def _rebuilt(one: Model, changed: Mapping[str, Any]) -> Model:
    # Not `model_copy`, which would take over what was worked out from the texts before.
    fields = {name: getattr(one, name) for name in type(one).model_fields}
    return type(one).model_construct(**{**fields, **changed})
