"""The page of hazards: no control without a test, no promise without a hazard."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tests.safe.stores import ROOT
from tests.safe.test_promises import NAMED, functions

DOCS = ROOT / "docs"
PAGES = sorted(path.name.removesuffix("-promises.md") for path in DOCS.glob("*-promises.md"))
HEADS = {"promise", "input"}


@dataclass
class Hazard:
    """One section of the page."""

    title: str
    says: dict[str, str]
    controls: list[tuple[str, str]]


def cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip().strip("|").split("|")]


def hazards() -> list[Hazard]:
    found = []
    for section in (DOCS / "hazards.md").read_text().split("\n### ")[1:]:
        lines = section.splitlines()
        says = dict(re.findall(r"^- \*\*([\w ]+)\.\*\* (.+)$", section, re.M))
        rows = [cells(line) for line in lines if line.startswith("| ")]
        controls = [(row[0], row[1]) for row in rows if row[0] not in ("control", "---")]
        found.append(Hazard(lines[0], says, controls))
    return found


def promises(page: str) -> list[str]:
    """The first cell of each row of a table of promises; an empty one belongs to the row before.

    Tables with another head (counts of visits, faults of a review) promise nothing.
    """
    found, head = [], ""
    for line in (DOCS / f"{page}-promises.md").read_text().splitlines():
        if not line.startswith("|"):
            head = ""
            continue
        first = cells(line)[0]
        head = head or first.lower()
        if head in HEADS and first.strip("-: ") and first.lower() not in HEADS:
            found.append(first)
    return found


def test_each_hazard_has_cause_harm_controls_and_what_remains() -> None:
    for hazard in hazards():
        assert set(hazard.says) == {"Cause", "Harm", "What remains"}, hazard.title
        assert all(hazard.says.values()), hazard.title
        assert hazard.controls, hazard.title
    numbers = [hazard.title.partition(".")[0] for hazard in hazards()]
    assert numbers == [f"H{n}" for n in range(1, len(numbers) + 1)]
    areas = {hazard.title.rpartition("(")[2].rstrip(")") for hazard in hazards()}
    assert areas == {"bedside", "teaching", "marks"}


def test_no_control_is_without_a_test() -> None:
    for hazard in hazards():
        for control, where in hazard.controls:
            if where in PAGES:
                assert [p for p in promises(where) if p.startswith(control)], control
                continue
            named = NAMED.findall(where)
            assert named, f"{hazard.title}: {control} names no test"
            for path, name in named:
                assert name in functions(ROOT / path), f"{path}::{name}"


def test_every_promise_belongs_to_one_hazard() -> None:
    controls = [pair for hazard in hazards() for pair in hazard.controls]
    for page in PAGES:
        made = promises(page)
        assert len(made) >= 40, page
        for promise in made:
            under = [c for c, where in controls if where == page and promise.startswith(c)]
            # One promise may begin as another does: the longer is meant.
            closest = [c for c in under if len(c) == max(map(len, under))]
            assert len(closest) == 1, f"{page}: {promise[:70]!r} belongs to {under or 'no hazard'}"
