"""Done, planned, shown by tests and scores stand in the note, in text and page alike."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from sidewise.note import note_html, note_text
from sidewise.note.care import care_phrase
from sidewise.reason import interpret
from sidewise.record import Record
from tests.builders import BASE, found
from tests.record.test_care import ADAPTER, INJECTED
from tests.shoulder import SHOULDER

CARE: tuple[dict[str, Any], ...] = (
    {"kind": "investigation", "name": "radiograph", "outcome": "normal", "side": "left",
     "taken_on": "2026-03-01", "report": "no fracture <seen>"},
    {"kind": "step", "state": "done", "name": "exercises", "detail": "pendulum, twice a day"},
    {"kind": "step", "state": "planned", "name": "referral", "to": "the surgeons",
     "how_fast": "within two weeks", "side": "left"},
    {"kind": "step", "state": "planned", "name": "next visit", "in_weeks": 6},
    {**INJECTED, "guided_by": "ultrasound",
     "response": {"relief": "half or more", "after_minutes": 10, "movement": "abduction",
                  "degrees_before": 80, "degrees_after": 150}},
    {"kind": "score", "name": "an instability total", "total": 31, "low": 0, "high": 48},
)  # fmt: skip


def record_with(*care: dict[str, Any], **context: Any) -> Record:
    data = {"id": "r1", "region": "shoulder", "context": {**BASE, **context}, "care": care}
    return Record.model_validate(data)


def plain(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_every_entry_is_said_in_text_and_page_alike() -> None:
    one = record_with(*CARE, scales={"pain_night_0_10": 7})
    result = interpret(one, SHOULDER, draws=20)
    text = " ".join(note_text(one, result, SHOULDER).split())
    page = plain(note_html(one, result, SHOULDER))
    for words in (
        "tests radiograph (left) normal, taken 1 Mar 2026: no fracture <seen>.",
        "exercises: pendulum, twice a day",
        "injection of triamcinolone 40 mg and lidocaine 1% 4 ml, the patient's LEFT side, below "
        "the acromion, guided by ultrasound; consent given; asked before: no to allergy and blood "
        "thinner and infection, yes to diabetes; after 10 minutes half or more of the pain gone, "
        "abduction 80° before and 150° after.",
        "referral (left), to the surgeons, within two weeks",
        "next visit, in 6 weeks",
        "pain at night 7 (of 0 to 10), an instability total 31 (of 0 to 48)",
    ):
        assert words.casefold() in text.casefold()
        assert words.casefold() in page.casefold()
    assert "film ......" not in text


def test_what_is_planned_stands_in_the_plan_and_what_was_done_does_not() -> None:
    one = record_with(*CARE)
    text = " ".join(note_text(one, interpret(one, SHOULDER, draws=20), SHOULDER).split())
    assert "plan 1: referral" in text
    assert "plan 2: next visit" in text
    assert "DONE: exercises: pendulum" in text
    assert "plan 3" not in text


def test_a_record_without_any_of_it_reads_as_before() -> None:
    one = record_with()
    text = note_text(one, interpret(one, SHOULDER, draws=20), SHOULDER)
    assert "TESTS" not in text.replace("SPECIAL TESTS", "")
    assert "  DONE:" not in text
    assert "scores" not in text


def test_an_injection_against_a_raised_flag_is_said_in_the_note() -> None:
    hot = [found("warmth", "left", "choice", choice="hot"),
           found("gh_swelling", "left", "sign", grade="marked"),
           found("global_passive_pain", "left", "sign", grade="present")]  # fmt: skip
    one = record_with(INJECTED, history={"fever": "yes"}).model_copy(
        update={"findings": tuple(hot)}
    )
    text = " ".join(note_text(one, interpret(one, SHOULDER, draws=20), SHOULDER).split())
    assert "INJECTED AGAINST A RAISED FLAG, not acknowledged by name: hot, swollen joint" in text


@pytest.mark.parametrize("place", range(len(CARE)))
def test_a_phrase_says_no_more_than_was_stated(place: int) -> None:
    words = care_phrase(ADAPTER.validate_python(CARE[place]), SHOULDER)
    assert "None" not in words
    assert "not stated" not in words
