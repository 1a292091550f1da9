"""Sweeps over all knowledge: a source and exactly one mark for every figure, and how many."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from sidewise.protocol import Mark, load_protocol
from sidewise.protocol.loader import KNOWLEDGE

REGION = KNOWLEDGE / "shoulder"
MARKS = {mark.value for mark in Mark}
# Tables of figures, each row with one mark; and how many rows there are at least.
TABLES = {
    "accuracy.csv": 477,
    "combinations.csv": 13,
    "pretest.csv": 150,
    "links.csv": 100,
    "norms.csv": 170,
    "strength_norms.csv": 50,
    "error.csv": 100,
    "side_difference.csv": 30,
    "change.csv": 40,
}


def rows(name: str) -> list[dict[str, str]]:
    with (REGION / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def bases(data: Any) -> list[dict[str, str]]:
    """Every basis in a YAML document, however deep."""
    if isinstance(data, list):
        return [basis for part in data for basis in bases(part)]
    if not isinstance(data, dict):
        return []
    own = list(data["basis"]) if isinstance(data.get("basis"), list) else []
    return own + [b for key, part in data.items() if key != "basis" for b in bases(part)]


@pytest.mark.parametrize("name", TABLES)
def test_every_row_of_figures_has_a_source_and_one_mark(name: str) -> None:
    found = rows(name)
    column = next(c for c in ("source", "study") if c in found[0])
    assert len(found) >= TABLES[name]
    assert {row["mark"] for row in found} <= MARKS
    assert [row for row in found if not row[column].strip()] == []


def test_every_table_of_the_region_is_swept() -> None:
    others = {"manoeuvres.csv"}  # names, no figures
    assert {path.name for path in REGION.glob("*.csv")} == set(TABLES) | others


def test_every_basis_in_the_yaml_files_has_a_source_and_one_mark() -> None:
    paths = sorted(KNOWLEDGE.rglob("*.yaml"))
    found = [b for path in paths for b in bases(yaml.safe_load(path.read_text(encoding="utf-8")))]
    assert {basis["mark"] for basis in found} <= MARKS
    assert all(basis["source"].strip() for basis in found)
    assert len(paths) >= 18
    assert len(found) > 700


def test_every_accuracy_row_attaches_to_a_reading_or_says_why_not() -> None:
    known = set(load_protocol("shoulder").readings_by_id)
    found = rows("accuracy.csv")
    lost = [
        row["row"] for row in found if row["reading"] not in known and not row["why_not"].strip()
    ]
    unused = [row for row in found if row["use"] != "fit"]
    assert lost == []
    assert [row["row"] for row in unused if not row["why_not"].strip()] == []
    assert len(found) == 477


def test_the_whole_examination_is_there() -> None:
    protocol = load_protocol("shoulder")
    stages = [item.stage for item in protocol.items]
    assert stages == sorted(stages, key=list(type(stages[0])).index)
    assert len(protocol.items) >= 240
    assert len(protocol.history) >= 115
    assert len(protocol.readings) >= 150


def test_no_region_is_named_in_code() -> None:
    source = KNOWLEDGE.parent
    files = [p for p in source.rglob("*.py") if "knowledge" not in p.parts]
    named = [
        path.relative_to(source).as_posix()
        for path in files
        if re.search(r"shoulder|scapul|humer|glenoh", path.read_text(encoding="utf-8"), re.I)
    ]
    # Names of published coordinate frames and of a published clinic setting are not regions.
    allowed = [name for name in named if name.startswith("measure/")]
    assert sorted(set(named) - set(allowed)) == []
    assert len(files) > 80


def test_texts_cite_no_page_registry_or_path() -> None:
    words = re.compile(r"(^|[^A-Za-z0-9_.])/(root|home|farm)/|pypi\.org|npmjs", re.I)
    paths = [p for p in Path(KNOWLEDGE.parent).rglob("*") if p.suffix in (".py", ".yaml", ".csv")]
    bad = [path.name for path in paths if words.search(path.read_text(encoding="utf-8"))]
    assert bad == []
    assert len(paths) > 100
