"""The invented lantern joint: its folder with a fit, copies with parts absent, and its records."""

from __future__ import annotations

import json
import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from sidewise.evidence.build import build
from sidewise.knowledge.manifest import FIT, OPTIONAL, PACK, WEIGHING, RegionPart
from sidewise.knowledge.region import Region, open_region, shipped_folders
from sidewise.regions import load_region

LANTERN = Path(__file__).with_name("lantern")
NAME = LANTERN.name
SWEPT = (*shipped_folders(), NAME)
"""Every region that sweeps over knowledge go through."""
FINDINGS: list[dict[str, Any]] = [
    {"item": "leave_given", "value": {"kind": "choice", "choice": "given"}},
    {"item": "wick_swelling", "side": "left", "value": {"kind": "sign", "grade": "marked"}},
    {"item": "wick_swelling", "side": "right", "value": {"kind": "sign", "grade": "absent"}},
    {"item": "glass_tenderness", "side": "left", "value": {"kind": "tenderness", "grade": 1}},
    {"item": "glass_tenderness", "side": "right", "value": {"kind": "tenderness", "grade": 1}},
    *(
        {"item": "swing_out", "side": side, "mode": "passive",
         "value": {"kind": "angle", "degrees": degrees, "instrument": "goniometer"}}
        for side, degrees in (("left", 41), ("right", 72))
    ),
    {"item": "shake", "side": "left", "value": {"kind": "result", "result": "positive",
                                                "pain": True}},
    {"item": "tap", "side": "left", "status": "unable", "reason": "too windy"},
]  # fmt: skip


def examination(day: str = "2026-03-02", **context: Any) -> dict[str, Any]:
    """An examination of DUNLIN-4's lantern joint, as a document."""
    return {
        "format": "sidewise-examination/1",
        "id": f"lantern-{day}",
        "region": NAME,
        "context": {
            "patient": "DUNLIN-4", "examiner": "E1", "examined_at": f"{day}T09:40:00+00:00",
            "setting": "primary", "age": 61, "sex": "female", "dominant": "right",
            "complaint": ["left"], "pain_0_10": 5,
            "history": {"glows_at_night": "no", "dropped": "yes"}, **context,
        },
        "findings": FINDINGS,
    }  # fmt: skip


@cache
def fitted() -> Path:
    """A copy of the lantern joint with its fit, made once for a process."""
    folder = Path(tempfile.mkdtemp(prefix="sidewise-lantern-")) / NAME
    shutil.copytree(LANTERN, folder)
    build(open_region(folder))
    return folder


@cache
def region_called(name: str) -> Region:
    """A region of the sweeps by its name, read and checked once for a process."""
    return load_region(shipped_folders().get(name) or fitted(), name)


def put(home: Path, without: tuple[RegionPart, ...] = ()) -> Path:
    """The lantern joint in a data folder, some of its parts absent; the folder of the region."""
    folder = home / "knowledge" / NAME
    shutil.copytree(fitted(), folder, ignore=shutil.ignore_patterns(PACK))
    for part in without:
        (folder / part.file).unlink()
    if set(without) & set(WEIGHING):
        for name in FIT:
            (folder / name).unlink()
    elif any(part.name == "combinations" for part in without):
        build(open_region(folder))
    return folder


def absent_groups() -> dict[str, tuple[RegionPart, ...]]:
    """What may be absent: each optional part by itself, all that weighing needs, and everything."""
    alone = {part.name: (part,) for part in OPTIONAL if part not in WEIGHING}
    combined = next(part for part in OPTIONAL if part.name == "combinations")
    return {"nothing": (), **alone, "weighing": (*WEIGHING, combined), "every optional": OPTIONAL}


def write_examination(folder: Path, name: str = "lantern.json", **more: Any) -> Path:
    """An examination as a file."""
    path = folder / name
    path.write_text(json.dumps(examination(**more)), encoding="utf-8")
    return path
