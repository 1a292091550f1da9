"""An invented region, the garden gate: one item of every kind of value, and nothing of a body."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import yaml

from sidewise.kinds import NAMES

LIMITS: dict[str, dict[str, Any]] = {
    "count": {"high": 30}, "choice": {"options": ["even", "odd"], "normal": ["even"]},
    "result": {"aspects": ["pain", "lag"], "places": ["above", "below"]},
    "vital": {"unit": "mmHg", "low": 40, "high": 300},
    "sign": {"grades": ["absent", "slight", "marked"], "places": ["here", "there"]},
}  # fmt: skip
REGION = {
    "region": "gate", "label": "gate", "structures": [],
    "stages": [{"id": "look", "patient": "Standing.", "examiner": "In front.",
                "purpose": "To look."}],
    "ladder": ["post", "T7", "beam"], "aspects": ["pain", "lag", "creak"],
    "aspect_words": [["creak", "creaking"]], "views": ["front", "left side"],
}  # fmt: skip


def gate_item(kind: str, **limits: Any) -> dict[str, Any]:
    """An item that takes values of one kind."""
    basis = [{"mark": "our judgement", "source": "invented for a test"}]
    words = "Hold it gently, look twice, and say what you see."
    return {
        "id": f"gate_{kind}", "label": f"gate, {kind}", "stage": "look", "group": "the gate",
        "paired": True, "kinds": [{"kind": kind, **LIMITS.get(kind, {}), **limits}],
        "patient": "Sitting.", "examiner": "In front.", "how": words, "say": "Does it creak?",
        "abnormal": words, "mistakes": ["Not looking."], "seconds": 5, "soreness": 0,
        "role": "essential", "basis": basis,
    }  # fmt: skip


def write_gate(folder: Path, items: Iterable[dict[str, Any]] | None = None) -> None:
    """The region's files in a folder of their own."""
    (folder / "protocol").mkdir(parents=True)
    every = [gate_item(kind) for kind in NAMES] if items is None else list(items)
    files = {
        "region.yaml": REGION,
        "protocol/01.yaml": every,
        "history.yaml": {"questions": [], "vitals": []},
        "readings.yaml": [],
        "red_flags.yaml": {"withhold_groups": {}, "flags": [], "thresholds": []},
        "line_words.yaml": {"names": {}},
    }
    for name, content in files.items():
        (folder / name).write_text(yaml.safe_dump(content), encoding="utf-8")
