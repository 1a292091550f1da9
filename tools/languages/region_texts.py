"""The texts of a region's files that are shown to people, with where each stands.

Not gathered: red flags, cautions, what is withheld and what must be thought of before a visit,
which are said in English in every language until a reviewer is recorded; sources; short names of
the typed line; whatever is a name in files.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

Found = tuple[str, str]
"""Where (file and place) and the text."""
ITEM = ("label", "group", "normal_words", "patient", "examiner", "how", "say", "abnormal")
QUESTION = ("label", "group", "say", "why")
WORDS = {
    "sign": ("grades",),
    "choice": ("options",),
    "result": ("places",),
    "place": ("whats",),
    "seconds": ("symptoms",),
}


def region_texts(parts: Mapping[str, Any]) -> Iterator[Found]:
    """Every text of a region, in the order of its files; one may come more than once."""
    yield from _region(parts["region"])
    for item in parts["items"]:
        yield from _item(item)
    yield from _history(parts["history"])
    yield from _conditions(parts.get("conditions") or {})
    for family in (parts.get("families") or {}).get("families", ()):
        yield from _fields("families.yaml", family, ("label",))
        for mechanism in family["mechanisms"]:
            yield from _fields("families.yaml", mechanism, ("label",))
    for reading in parts["readings"]:
        yield from _fields("readings.yaml", reading, ("label",))
    for variant in _listed(parts.get("variants")):
        yield from _fields("variants.yaml", variant, ("label",))
    for kind in (parts.get("visits") or {}).get("kinds", ()):
        yield from _fields("visits.yaml", kind, ("name", "about", "heading"))
        for call in kind.get("calls", ()):
            yield from _fields("visits.yaml", call, ("because",))


def _listed(part: Any) -> list[Any]:
    return part if isinstance(part, list) else (part or {}).get("variants", [])


def _region(region: Mapping[str, Any]) -> Iterator[Found]:
    yield from _fields("region.yaml", region, ("label",))
    for stage in region["stages"]:
        yield "region.yaml", stage.get("label") or stage["id"]
        yield from _fields("region.yaml", stage, ("patient", "examiner", "purpose", "done"))
    for structure in region["structures"]:
        yield from _fields("region.yaml", structure, ("label", "group"))
    words = dict(region.get("aspect_words") or ())
    yield from (("region.yaml", words.get(one, one)) for one in region.get("aspects", ()))
    yield from (("region.yaml", one) for one in region.get("ladder", ()) if one.islower())
    yield from (("region.yaml", one) for one in region.get("injection_places", ()))
    yield from (("region.yaml", one) for one in (region.get("scale_questions") or {}).values())


def _item(item: Mapping[str, Any]) -> Iterator[Found]:
    where = f"protocol: {item['id']}"
    yield from _fields(where, item, ITEM)
    yield from ((where, mistake) for mistake in item["mistakes"])
    if "needed_when" in item:
        yield where, item["needed_when"]["because"]
    for limits in item["kinds"]:
        for value in limits.values():
            if isinstance(value, list):
                yield from ((where, one) for one in value if isinstance(one, str))


def _history(history: Mapping[str, Any]) -> Iterator[Found]:
    for question in history["questions"]:
        yield from _fields(f"history.yaml: {question['id']}", question, QUESTION)
    for vital in history["vitals"]:
        yield from _fields("history.yaml", vital, ("label",))


def _conditions(conditions: Mapping[str, Any]) -> Iterator[Found]:
    for condition in conditions.get("conditions", ()):
        yield from _fields("conditions.yaml", condition, ("label",))
        yield from (("conditions.yaml", level) for level in condition.get("levels", ()))


def _fields(where: str, entry: Mapping[str, Any], names: tuple[str, ...]) -> Iterator[Found]:
    for name in names:
        if text := entry.get(name):
            yield where, text
