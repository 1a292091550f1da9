"""The words of a note: what is not there is said so, and text and HTML say the same."""

from __future__ import annotations

import re
from functools import lru_cache
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from sidewise.kinds import kind_of
from sidewise.note import note_html, note_text
from sidewise.note.meaning import effect_words, meaning_text, together_words
from sidewise.note.phrases import normal_phrase
from sidewise.reason import interpret
from sidewise.reason.result import Interpretation
from sidewise.record import Record, read_record
from tests.builders import angle, found, negative, positive, record
from tests.shoulder import PROTOCOL, REGIONS, SHOULDER

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(ROOT.glob("examples/*.json"))
VISITS = sorted(ROOT.glob("examples/visits/*.json"))
each = pytest.mark.parametrize("name", [path.stem for path in EXAMPLES])


@lru_cache(maxsize=32)
def told(name: str) -> tuple[Record, Interpretation]:
    one = read_record(ROOT / "examples" / f"{name}.json", REGIONS)
    return one, interpret(one, SHOULDER)


def text_of(name: str) -> str:
    one, result = told(name)
    return " ".join(note_text(one, result, SHOULDER).split())


def html_words(name: str) -> str:
    one, result = told(name)
    body = note_html(one, result, SHOULDER).split("</style>")[1]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


class Read(HTMLParser):
    """A note as a reader of the page takes it in: a sentence an element, a row compared."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.said: list[str] = []
        self.cells: list[str] = []
        self.within: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        known = dict(attrs)
        if tag not in ("br", "meta"):
            self.within.append("skip" if tag in SKIPPED or "quiet" in known.values() else tag)
        if tag == "tr":
            self.cells = []
        elif tag in ("td", "th"):
            self.cells.append("")
        elif tag in ("h1", "h2", "h3", "p", "li", "figcaption"):
            self.said.append("")
        elif tag in ("br", "span"):
            self.handle_data(". " if tag == "br" else " ")

    def handle_data(self, data: str) -> None:
        if "skip" in self.within:
            return
        if "tr" in self.within:
            self.cells[-1] += data
        elif self.said:
            self.said[-1] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "tr" and "thead" not in self.within:
            right, item, left = self.cells
            label, _, remark = item.partition(". ")
            both = f"{label}: {right}" if right == left else f"{label}: right {right}; left {left}"
            self.said.append(f"{both}. {remark}")
        if tag in ("p", "li", "h1"):
            self.said[-1] += " "
        if self.within:
            self.within.pop()


SKIPPED = ("svg", "style", "thead", "title")


def plain_words(text: str) -> list[str]:
    return re.findall(r"[a-z0-9<>/%+'-]+", text.casefold())


def test_page_and_text_say_the_same_word_by_word_in_the_same_order() -> None:
    compared = 0
    for path in (*EXAMPLES, *VISITS):
        one = read_record(path, REGIONS)
        result = interpret(one, SHOULDER)
        page = Read(note_html(one, result, SHOULDER).split("<main")[1].partition(">")[2])
        words = plain_words(" ".join(page.said))
        text = plain_words(note_text(one, result, SHOULDER))
        assert words == text, path.stem
        compared += len(words)
    assert compared > 10_000


@each
def test_the_html_has_history_vital_signs_and_what_is_not_more_likely(name: str) -> None:
    one, _ = told(name)
    page, text = html_words(name), text_of(name)
    for phrase in ("not made more likely", "NOT EXAMINED", "WITHHELD", "not estimated", "CONFLICT"):
        assert page.count(phrase) == text.count(phrase), phrase
    asked = [q.label for q in PROTOCOL.history if one.context.answer(q.id) != "not asked"]
    vitals = [f"{PROTOCOL.vitals_by_id[v].label} {n:g}" for v, n in one.context.vitals.items()]
    for word in (*asked, *vitals):
        assert word in page


@each
def test_no_bits_no_factor_of_one_and_no_negated_threshold(name: str) -> None:
    for text in (text_of(name), meaning_text(told(name)[1])):
        assert not re.search(r"\bbits\b|odds x1\.0\b|error of -", text)


def test_no_effect_at_all_is_said_to_move_the_odds_by_one() -> None:
    words = [
        effect_words(because)
        for path in EXAMPLES
        for group in (*told(path.stem)[1].sides.values(), told(path.stem)[1].whole_person)
        for condition in group.conditions
        for because in condition.because
    ]
    assert len(words) > 1000
    assert [text for text in words if "x1.0" in text] == []
    assert any("hardly moves the odds" in text for text in words)


BAD = {
    "global_passive_pain": "no agonising pain on passive movement",
    "skin_threatened": "no skin tented, blanched or broken over a bone",
    "arm_swollen": "arm neither swollen nor blue",
    "winging_rest": "no winging at rest",
    "hoffmann": "Hoffmann negative",
    "breast_lump": "no lump in the breast or its armpit tail",
}


@pytest.mark.parametrize(("item", "words"), BAD.items())
def test_a_fault_that_is_not_there_reads_as_no(item: str, words: str) -> None:
    normal = [found(item, side, "sign", grade="absent") for side in ("left", "right")]
    one = record(*normal)
    assert words in " ".join(note_text(one, interpret(one, SHOULDER), SHOULDER).split())


def test_every_sign_and_result_says_its_normal_as_no_or_negative() -> None:
    swept = 0
    for item in PROTOCOL.items:
        said = {kind_of(limits).normal_said(limits) for limits in item.kinds} - {"plain"}
        if not said or item.normal_words or item.kinds[0].kind not in ("sign", "result"):
            continue
        limits = item.kinds[0]
        value = {"grade": limits.grades[0]} if limits.kind == "sign" else {"result": "negative"}
        sides = ("left", "right") if item.paired else ("midline",)
        one = record(*(found(item.id, side, limits.kind, **value) for side in sides))
        words, negated = normal_phrase(one, item)
        if kind_of(limits).normal_said(limits) != "plain":
            assert negated or re.search(r"(^|: )no ", words), item.id
            swept += 1
    assert swept > 90


def test_a_negative_manoeuvre_stands_under_negative() -> None:
    one = record(negative("neer", "left"), negative("neer", "right"))
    text = note_text(one, interpret(one, SHOULDER), SHOULDER)
    assert "SPECIAL TESTS  negative: Neer sign." in text


def test_not_examined_names_the_side() -> None:
    one = record(negative("neer", "right"))
    text = " ".join(note_text(one, interpret(one, SHOULDER), SHOULDER).split())
    assert "Neer sign (left)" in text.split("NOT EXAMINED (essential):")[1]
    assert "Both sides, unless one is named." in text


def test_an_item_that_a_flag_withholds_is_not_called_not_examined() -> None:
    hot = found("warmth", "left", "choice", choice="hot")
    one = record(hot, positive("neer", "right"), history={"fever": "yes"})
    text = " ".join(note_text(one, interpret(one, SHOULDER), SHOULDER).split())
    assert re.search(r"Neer sign: right positive; left withheld: hot, swollen joint", text)
    assert "Neer sign" not in text.split("NOT EXAMINED (essential):")[1].split("WITHHELD:")[0]


def test_a_finding_within_error_is_perhaps_and_not_found() -> None:
    losses = [
        angle("external_rotation_at_side", "left", 36, instrument="eye"),
        angle("external_rotation_at_side", "right", 60, instrument="eye"),
        angle("flexion", "left", 135, instrument="eye"),
        angle("flexion", "right", 170, instrument="eye"),
    ]
    result = interpret(record(*losses), SHOULDER)
    groups = [t for c in result.sides["left"].conditions for t in c.together]
    soft = [group for group in groups if group.perhaps]
    assert soft
    assert all(group.found + group.perhaps <= len(group.readings) for group in soft)
    assert all(f", {group.perhaps} perhaps: " in together_words(group) for group in soft)
