"""Lends a region's own words to the limits of its items: its ladder, and its aspects."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sidewise.kinds import KINDS, Limits, Vocabulary, kind_of


def vocabulary_of(
    ladder: Iterable[str],
    aspects: Iterable[str],
    words: Iterable[tuple[str, str]],
    views: Iterable[str],
) -> Vocabulary:
    """The words of a region; an aspect without a word of its own is said as it is written."""
    said_as = dict(words)
    named = tuple((name, said_as.get(name, name)) for name in aspects)
    return Vocabulary(tuple(ladder), named, tuple(views))


def lend_words(data: Mapping[str, Any]) -> dict[str, Any]:
    """The data of a protocol, each item's limits completed with the region's words.

    A limit that an item sets itself stands. What is not of the right shape is left for the model
    to refuse.
    """
    try:
        words = vocabulary_of(
            *(data.get(name, ()) for name in ("ladder", "aspects", "aspect_words", "views"))
        )
        return {**data, "items": [_item(item, words) for item in data.get("items", ())]}
    except (TypeError, ValueError):
        return dict(data)


def _item(item: Any, words: Vocabulary) -> Any:
    if isinstance(item, dict):
        return {**item, "kinds": [_from_file(limits, words) for limits in item.get("kinds", ())]}
    made = tuple(_made(limits, words) for limits in item.kinds)
    return item.model_copy(update={"kinds": made})


def _from_file(limits: Any, words: Vocabulary) -> Any:
    if isinstance(limits, Limits):
        return _made(limits, words)
    kind = KINDS.get(str(limits.get("kind"))) if isinstance(limits, dict) else None
    return {**kind.supplied(words), **limits} if kind else limits


def _made(limits: Limits, words: Vocabulary) -> Limits:
    lent = kind_of(limits).supplied(words)
    missing = {name: given for name, given in lent.items() if not getattr(limits, name)}
    return limits.model_copy(update=missing) if missing else limits
