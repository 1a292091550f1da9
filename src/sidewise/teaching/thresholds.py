"""The quoted thresholds of `knowledge/assessment.yaml`, each with how we have it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

MARKS = ("read", "memory", "common practice", "our judgement", "computed")
SHOWN_AS = {"memory": "recalled, not read"}


@dataclass(frozen=True, slots=True)
class QuotedThreshold:
    """A quoted figure: its value, what it says in words, its source and its mark."""

    name: str
    value: float
    words: str
    mark: str
    source: str

    def basis(self) -> str:
        """Words, source and mark in one line; a recalled figure says that it is."""
        held = SHOWN_AS.get(self.mark, self.mark)
        return f"{self.words} [{held}; {self.source}]"


@cache
def _data() -> dict[str, Any]:
    import yaml

    text = files("sidewise.knowledge").joinpath("assessment.yaml").read_text(encoding="utf-8")
    data: dict[str, Any] = yaml.safe_load(text)
    return data


@cache
def quoted_thresholds() -> dict[str, QuotedThreshold]:
    """Every threshold by name."""
    return {
        name: QuotedThreshold(name, float(row["value"]), row["words"], row["mark"], row["source"])
        for name, row in _data()["thresholds"].items()
    }


def quoted_threshold(name: str) -> QuotedThreshold:
    """One threshold; a `KeyError` is a bug."""
    return quoted_thresholds()[name]
