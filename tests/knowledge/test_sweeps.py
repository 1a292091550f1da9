"""Sweeps over all knowledge: a source and exactly one mark for every figure, and how many."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from sidewise.evidence.fit.inputs import inputs_of
from sidewise.ground.provenance import MARKS
from sidewise.ground.tables import FIRST_LINE
from sidewise.knowledge.manifest import PARTS
from sidewise.knowledge.region import SHIPPED as KNOWLEDGE
from sidewise.knowledge.region import shipped_folders
from sidewise.protocol import protocol_of
from sidewise.reason.judging.flags import flag_book_of
from sidewise.reason.judging.rules import leaves
from tests.regions.shelf import SWEPT, region_called

# Tables of figures, each row with one mark; and how many rows there are at least, by region.
TABLES = {
    "accuracy": {"shoulder": 480, "lantern": 4},
    "combinations": {"shoulder": 8, "lantern": 1},
    "pretest": {"shoulder": 150, "lantern": 19},
    "links": {"shoulder": 100, "lantern": 8},
    "norms": {"shoulder": 170, "lantern": 2},
    "strength_norms": {"shoulder": 50, "lantern": 1},
    "error": {"shoulder": 100, "lantern": 1},
    "side_difference": {"shoulder": 30, "lantern": 2},
    "change": {"shoulder": 40, "lantern": 2},
    "agreement": {"shoulder": 30, "lantern": 1},
    "codes": {"shoulder": 5, "lantern": 1},
}
NO_FIGURES = {"manoeuvres"}
BASES = {"shoulder": 700, "lantern": 25}
WHOLE = {"shoulder": (240, 115, 150, 10), "lantern": (9, 2, 5, 5)}
"""At least so many items, questions and readings; and so many stages."""


def bases(data: Any) -> list[dict[str, str]]:
    """Every basis in plain data, however deep."""
    if isinstance(data, list):
        return [basis for part in data for basis in bases(part)]
    if not isinstance(data, dict):
        return []
    own = list(data["basis"]) if isinstance(data.get("basis"), list) else []
    return own + [b for key, part in data.items() if key != "basis" for b in bases(part)]


def test_every_region_is_swept() -> None:
    assert set(SWEPT) == {*shipped_folders(), "lantern"} == set(BASES) == set(WHOLE)
    assert len(SWEPT) == 2


@pytest.mark.parametrize("name", SWEPT)
@pytest.mark.parametrize("table", TABLES)
def test_every_row_of_figures_has_a_source_and_one_mark(table: str, name: str) -> None:
    found = region_called(name).part(table)
    column = next(c for c in ("source", "study") if c in found[0])
    assert len(found) >= TABLES[table][name]
    assert {row["mark"] for row in found} <= MARKS
    assert [place for place, row in enumerate(found, FIRST_LINE) if not row[column]] == []


@pytest.mark.parametrize("name", SWEPT)
def test_every_table_of_a_region_is_swept(name: str) -> None:
    tables = {part.name for part in PARTS if part.file.endswith(".csv")}
    assert tables == set(TABLES) | NO_FIGURES
    assert tables <= set(region_called(name).parts)


@pytest.mark.parametrize("name", SWEPT)
def test_every_basis_has_a_source_and_one_mark(name: str) -> None:
    found = bases(list(region_called(name).parts.values()))
    assert {basis["mark"] for basis in found} <= MARKS
    assert all(basis["source"].strip() for basis in found)
    assert len(found) > BASES[name]


@pytest.mark.parametrize("name", SWEPT)
def test_every_accuracy_row_attaches_to_a_reading_or_says_why_not(name: str) -> None:
    region = region_called(name)
    known = set(protocol_of(region).readings_by_id)
    found = region.part("accuracy")
    lost = [row["row"] for row in found if row["reading"] not in known and not row["why_not"]]
    unused = [row for row in found if row["use"] != "fit"]
    assert lost == []
    assert [row["row"] for row in unused if not row["why_not"]] == []
    assert len(found) == TABLES["accuracy"][name]


@pytest.mark.parametrize("name", SWEPT)
def test_the_whole_examination_is_there(name: str) -> None:
    protocol = protocol_of(region_called(name))
    stages = [item.stage for item in protocol.items]
    assert stages == sorted(stages, key=list(protocol.stages_by_id).index)
    items, questions, readings, count = WHOLE[name]
    assert len(protocol.items) >= items
    assert len(protocol.history) >= questions
    assert len(protocol.readings) >= readings
    assert len(protocol.stages) == count
    assert protocol.stages[0].sets_up
    assert sum(stage.reads_angles for stage in protocol.stages) == 1


@pytest.mark.parametrize("name", SWEPT)
def test_every_reading_has_a_prior_and_every_flag_asks_for_something(name: str) -> None:
    region = region_called(name)
    inputs = inputs_of(region)
    assert [prior.reading for prior in inputs.priors] == [
        reading.id for reading in protocol_of(region).readings
    ]
    book = flag_book_of(region)
    assert all(list(leaves(flag.when)) for flag in book.flags)
    assert len(book.flags) >= 1


@pytest.mark.parametrize("name", SWEPT)
def test_what_moves_the_pre_test_has_factors(name: str) -> None:
    region = region_called(name)
    factors = {row["when"] for row in region.part("pretest") if row["kind"] == "modifier"}
    questions = protocol_of(region).pretest_questions
    named = {word for q in questions for word in (q.yes, q.no, q.unless) if word}
    assert named <= factors
    assert len(questions) >= 1


def test_no_region_is_named_in_code() -> None:
    source = KNOWLEDGE.parent
    files = [p for p in source.rglob("*.py") if p.parent.parent != KNOWLEDGE]
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
