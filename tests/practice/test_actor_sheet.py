"""The actor's sheet: all there is to show, nothing of the truth, marked as simulated."""

from __future__ import annotations

import pytest

from sidewise.evidence.conditions import conditions_of
from sidewise.practice import CaseWishes, practice_case
from sidewise.practice.actor_sheet import ActorSheet, actor_page, actor_sheet, actor_text
from sidewise.practice.case_file import NOTICE, CaseFile, case_file
from sidewise.protocol import protocol_of
from tests.shoulder import SHOULDER


@pytest.fixture(scope="module")
def file() -> CaseFile:
    return case_file(practice_case(SHOULDER, 14, CaseWishes(present=("frozen",))))


@pytest.fixture(scope="module")
def sheet(file: CaseFile) -> ActorSheet:
    return actor_sheet(file, SHOULDER)


def test_every_painful_or_positive_finding_is_shown_or_handed_over_on_its_side(
    file: CaseFile, sheet: ActorSheet
) -> None:
    told = {(one.item, one.side) for one in (*sheet.show, *sheet.cards)}
    for finding in file.record.findings:
        value = finding.value
        positive = getattr(value, "result", "") == "positive"
        if positive or getattr(value, "pain", False) or getattr(value, "grade", 0) in (2, 3):
            side = finding.side if finding.side in ("left", "right") else ""
            assert (finding.item, side) in told, finding


def test_a_movement_short_of_the_healthy_stops_there_even_without_pain(
    file: CaseFile, sheet: ActorSheet
) -> None:
    """Common practice, no source: two standard deviations below the mean are short."""
    shown = " ".join(one.words for one in sheet.show)
    angles = [f.value for f in file.record.findings if getattr(f.value, "kind", "") == "angle"]
    short = [one for one in angles if getattr(one, "degrees", 999) < 30]
    assert short, "a frozen shoulder is short of something"
    for one in short:
        assert f"{one.degrees:g}°" in shown  # type: ignore[union-attr]


def test_what_nobody_can_act_is_handed_over_and_not_shown(
    file: CaseFile, sheet: ActorSheet
) -> None:
    shown = {(one.item, one.side) for one in sheet.show}
    for finding in file.record.findings:
        if getattr(finding.value, "kind", "") in ("sign", "reflex", "pulse"):
            assert (finding.item, finding.side) not in shown


def test_questions_have_the_answers_of_the_case(file: CaseFile, sheet: ActorSheet) -> None:
    protocol = protocol_of(SHOULDER)
    for name, answer in file.record.context.history.items():
        says = protocol.history_by_id[name].say
        assert (says in sheet.yes) == (answer == "yes")
        assert (says in sheet.no) == (answer == "no")


def test_the_sheet_names_no_condition_and_says_that_it_is_simulated(sheet: ActorSheet) -> None:
    text, page = actor_text(sheet), actor_page(sheet)
    for one in conditions_of(SHOULDER).network:
        assert one.label.lower() not in text.lower()
    assert NOTICE in text
    assert page.count(NOTICE) >= 2, "at the head and at the foot"
    assert "<script" not in page
    assert "http" not in page, "nothing is fetched"


def test_words_of_a_story_cannot_become_markup(file: CaseFile, sheet: ActorSheet) -> None:
    from dataclasses import replace

    page = actor_page(replace(sheet, opening="<b>ouch</b>"))
    assert "<b>ouch" not in page
    assert "&lt;b&gt;ouch" in page
