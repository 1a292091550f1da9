"""The first page of a note and the line of a referral, against what was written down beforehand."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from sidewise.note import note_text, referral_line
from sidewise.note.text import note_document
from sidewise.reason import interpret
from sidewise.record import read_record
from sidewise.record.model import Conclusion
from tests.builders import found, negative, record, unable
from tests.shoulder import REGIONS, SHOULDER

ROOT = Path(__file__).parents[2]
WANTED: dict[str, Any] = yaml.safe_load((ROOT / "tests/data/note_front.yaml").read_text())
EXAMPLES = sorted(WANTED["examples"])
EVERY = [*sorted(ROOT.glob("examples/*.json")), *sorted(ROOT.glob("examples/visits/*.json"))]
each = pytest.mark.parametrize("name", EXAMPLES)


@lru_cache(maxsize=4)
def told(name: str) -> tuple[Any, Any]:
    one = read_record(ROOT / "examples" / f"{name}.json", REGIONS)
    return one, interpret(one, SHOULDER)


def front(name: str) -> str:
    text = note_text(*told(name), SHOULDER)
    return " ".join(text[: text.index(WANTED["appendix_begins"])].split())


def blocks(name: str) -> dict[str, tuple[Any, ...]]:
    return {b.title: b.entries for b in note_document(*told(name), SHOULDER).front}


@each
def test_the_first_page_keeps_the_order_of_a_handover(name: str) -> None:
    text = front(name)
    places = [text.find(word) for word in WANTED["order"]]
    known = [place for place in places if place >= 0]
    assert known == sorted(known)
    assert len(known) >= 7


@each
def test_what_is_abnormal_stands_there_with_its_other_side(name: str) -> None:
    wanted = WANTED["examples"][name]
    lines = [line for line in blocks(name)["abnormal"] if not isinstance(line, str)]
    for *words, right, left in wanted["abnormal"]:
        label = ", ".join(words)
        line = next(line for line in lines if line.label == label)
        assert right in (line.right or "")
        assert left in (line.left or "")
    assert bool(lines) == bool(wanted["abnormal"])
    for label in wanted.get("not_abnormal", ()):
        assert label not in [line.label for line in lines]


@each
def test_a_movement_has_one_row_of_what_is_abnormal(name: str) -> None:
    lines = [line for line in blocks(name)["abnormal"] if not isinstance(line, str)]
    items = [line.item for line in lines if line.item]
    assert len(items) == len(set(items))


@each
def test_history_flags_and_what_could_not_be_done_are_said(name: str) -> None:
    wanted = WANTED["examples"][name]
    text = front(name)
    for words in (*wanted.get("history", ()), *wanted.get("flags", ())):
        assert words in text
    could_not = text.partition("COULD NOT BE EXAMINED: ")[2]
    for words in wanted.get("could_not", ()):
        assert words in could_not


@each
def test_the_line_of_a_referral_says_what_it_must(name: str) -> None:
    line = referral_line(*told(name), SHOULDER)
    assert "\n" not in line
    for words in WANTED["examples"][name]["line"]:
        assert words.casefold() in line.casefold(), words


def test_the_line_never_passes_over_what_nobody_asked() -> None:
    """ "No red flag raised" of somebody whose temperature nobody took says so beside it."""
    swept = 0
    for path in EVERY:
        one = read_record(path, REGIONS)
        blank = one.model_copy(
            update={"context": one.context.model_copy(update={"history": {}, "vitals": {}})}
        )
        for person in (one, blank):
            result = interpret(person, SHOULDER, draws=20)
            line = referral_line(person, result, SHOULDER)
            told_so = f"Not looked at or asked yet: {next(iter(result.not_looked_at), '')}"
            assert (told_so in line) == bool(result.not_looked_at)
            swept += bool(result.not_looked_at)
        assert result.not_looked_at, path.stem
    assert swept >= len(EVERY) == 17


def test_no_note_uses_words_that_no_clinician_says() -> None:
    swept = 0
    for path in EVERY:
        one = read_record(path, REGIONS)
        result = interpret(one, SHOULDER, draws=20)
        text = note_text(one, result, SHOULDER) + referral_line(one, result, SHOULDER)
        for words in WANTED["words_no_clinician_says"]:
            assert words not in text, (path.stem, words)
        swept += 1
    assert swept == 17


def test_the_clinicians_own_words_come_before_any_criterion() -> None:
    one, result = told("frozen")
    own = Conclusion(impression="frozen shoulder", plan=("film in two views", "see in 6 weeks"))
    text = note_text(one.model_copy(update={"conclusion": own}), result, SHOULDER)
    places = [text.index(w) for w in ("frozen shoulder", "plan 2: see in 6 weeks", "criterion met")]
    assert places == sorted(places)


def test_a_place_in_conflict_is_abnormal_and_never_normal() -> None:
    one = record(negative("neer", "right"), negative("neer", "left"),
                 found("neer", "left", "result", result="positive"))  # fmt: skip
    said = {
        b.title: b.entries for b in note_document(one, interpret(one, SHOULDER), SHOULDER).front
    }
    assert [line.label for line in said["abnormal"]] == ["Neer sign"]
    assert "normal" not in said


def test_a_side_alone_is_said_with_the_side_and_not_as_negative() -> None:
    one = record(negative("neer", "right"), unable("neer", "left"))
    text = " ".join(note_text(one, interpret(one, SHOULDER), SHOULDER).split())
    front_page = text[: text.index(WANTED["appendix_begins"])]
    assert "One side only: Neer sign (right negative)." in front_page
    assert "COULD NOT BE EXAMINED: left Neer sign: too sore." in front_page
    assert not re.search(r"Negative: [^.]*Neer", front_page)


def test_a_variant_on_one_side_does_not_hide_what_is_abnormal_on_the_other() -> None:
    one = record(found("shoulder_height", "right", "choice", choice="lower"),
                 found("shoulder_height", "left", "choice", choice="higher"))  # fmt: skip
    said = {
        b.title: b.entries for b in note_document(one, interpret(one, SHOULDER), SHOULDER).front
    }
    assert [line.label for line in said["abnormal"]] == ["shoulder height"]


def test_every_flag_cut_short_on_the_first_page_is_whole_in_the_appendix() -> None:
    one, result = told("hot-joint")
    text = " ".join(note_text(one, result, SHOULDER).split())
    appendix = text[text.index(WANTED["appendix_begins"]) :]
    cut = [flag for flag in result.red_flags if len(flag.because) > 6]
    assert len(cut) == 2
    for flag in cut:
        assert f"{flag.label}: {'; '.join(flag.because)}." in appendix
