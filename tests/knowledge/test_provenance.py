"""The page of how figures are known is what the knowledge says."""

from __future__ import annotations

import csv

import pytest

from sidewise.ground.provenance import MARKS
from sidewise.note.provenance import provenance_of_files, recalled_figures
from tests.knowledge.provenance_page import DOCUMENT, page
from tests.shoulder import FOLDER, SHOULDER


def test_the_page_is_what_the_knowledge_says() -> None:
    assert DOCUMENT.read_text(encoding="utf-8") == page()


def test_every_mark_of_every_file_is_one_of_the_five() -> None:
    files = provenance_of_files(SHOULDER)
    assert len(files) >= 17
    assert {mark for file in files for mark in file.marks} <= MARKS


@pytest.mark.parametrize("name", ["links", "pretest"])
def test_marks_are_counted_as_they_stand_in_the_table(name: str) -> None:
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
        marks = [row["mark"] for row in csv.DictReader(handle)]
    found = next(file for file in provenance_of_files(SHOULDER) if file.file == f"{name}.csv")
    assert found.marks == {mark: marks.count(mark) for mark in set(marks)}


def test_recalled_figures_that_bring_most_patients_come_first() -> None:
    found = recalled_figures(SHOULDER)
    assert len(found) > 50
    assert found[0].share == 1
    assert all(0 < one.share <= 1 and one.which for one in found)
