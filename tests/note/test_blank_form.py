"""A blank form holds what its kind of visit asks and is typed back without a loss."""

from __future__ import annotations

import re
from typing import Any

import pytest

from sidewise.kinds import kind_of
from sidewise.note.blank_form import BlankRow, form_for_paper
from sidewise.note.blank_page import blank_html
from sidewise.record import Finding, Record, read_record, record_json
from sidewise.record.line import LONGEST, read_line, write_line
from tests.builders import BASE
from tests.shoulder import PROTOCOL, REGIONS, SHOULDER

KINDS = {kind.id: kind for kind in PROTOCOL.visits.kinds}
each = pytest.mark.parametrize("name", sorted(KINDS))


def rows(name: str) -> list[BlankRow]:
    return [row for stage in form_for_paper(SHOULDER, KINDS[name]).stages for row in stage.rows]


def somebodys_findings(name: str) -> list[Finding]:
    """A different entry in every row: each touch of its list in turn, or a number with pain."""
    found = []
    for number, row in enumerate(rows(name)):
        limits = PROTOCOL.item(row.item).offered[0]
        touches = [*kind_of(limits).bedside.touches(limits, {})]
        for turn, side in enumerate(("right", "left") if row.paired else ("midline",)):
            value: Any = {"kind": "angle", "degrees": 20 + number + turn, "pain": bool(turn)}
            if touches:
                value = one_word(touches[(number + turn) % len(touches)].value)
            elif limits.kind != "angle":
                continue
            found.append(Finding(item=row.item, side=side, mode=row.mode, value=value))
    return found


def one_word(value: dict[str, Any]) -> dict[str, Any]:
    """One of a list of several is that one word, as a line writes it."""
    return {key: v[0] if isinstance(v, list) and len(v) == 1 else v for key, v in value.items()}


def written(finding: Finding, row: BlankRow) -> str:
    """What stands in the blank: the entry without its name, side and mode."""
    side = [] if finding.side == "midline" else [finding.side]
    head = " ".join([row.name, *side, *([row.mode] if row.mode else [])])
    entry = write_line(finding, SHOULDER)
    assert entry.startswith(head + " ")
    return entry.removeprefix(head + " ")


@each
def test_a_filled_form_typed_back_is_the_same_record(name: str) -> None:
    by_place = {(row.item, row.mode): row for row in rows(name)}
    findings = somebodys_findings(name)
    # As the form says it: the name, R or L, the mode, and what was written.
    typed = []
    for finding in findings:
        row = by_place[finding.item, finding.mode]
        side = {"right": " R", "left": " L", "midline": ""}[finding.side]
        mode = f" {row.mode}" if row.mode else ""
        typed.append(f"{row.name}{side}{mode} {written(finding, row)}")
    back = read_line("; ".join(typed), SHOULDER)
    assert len("; ".join(typed)) < LONGEST
    assert back.whole
    assert list(back.findings) == findings
    assert len(findings) > len(by_place)


@each
def test_the_rows_are_what_the_kind_of_visit_asks_in_the_protocols_order(name: str) -> None:
    items = list(dict.fromkeys(row.item for row in rows(name)))
    assert items == sorted(items, key=PROTOCOL.order.__getitem__)
    wanted = {item.id for item in PROTOCOL.items if KINDS[name].has(item)}
    assert wanted <= set(items)


@each
def test_nothing_on_it_is_chosen_beforehand_and_both_sides_are_named(name: str) -> None:
    page = blank_html(form_for_paper(SHOULDER, KINDS[name]))
    assert not re.search(r"<(input|select|textarea|option)", page)
    assert page.count("patient's RIGHT") == page.count("patient's LEFT") > 3
    assert KINDS[name].heading in page


def test_every_word_offered_on_a_form_is_read_by_a_line() -> None:
    swept = 0
    for row in rows("full"):
        side = " R" if row.paired else ""
        mode = f" {row.mode}" if row.mode else ""
        for word in row.words:
            if word in UNITS:
                continue
            back = read_line(f"{row.name}{side}{mode} {word}", SHOULDER)
            assert back.whole or back.questions, (row.name, word)
            swept += 1
    assert swept > 250


UNITS = ("degrees", "newtons", "levels", "cm", "in words")


def test_the_questions_that_are_always_asked_stand_on_every_form() -> None:
    core = [entry.label for entry in PROTOCOL.history if entry.core]
    assert len(core) == 10
    for kind in KINDS.values():
        assert list(form_for_paper(SHOULDER, kind).questions) == core


def test_what_was_typed_back_is_a_record_like_any_other(tmp_path: Any) -> None:
    found = somebodys_findings("short")
    data = {"id": "r1", "region": "shoulder", "context": {**BASE, "visit": "short"}}
    kept = [f.model_dump(mode="json", by_alias=True, exclude_none=True) for f in found]
    one = Record.model_validate({**data, "findings": kept})
    place = tmp_path / "typed.json"
    place.write_text(record_json(one))
    assert read_record(place, REGIONS).findings == tuple(found)
