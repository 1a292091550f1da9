"""The form of the expectations alone: no rule is run on them here.

Their content has its sources beside each entry.
"""

from __future__ import annotations

import re
from collections import Counter

import pytest

from sidewise.reason.judging.flags import FlagRule, Threshold
from sidewise.record.check import check_record
from tests.flags.reading import HERE, Presentation, presentations, read, record_of
from tests.shoulder import BOOK, PROTOCOL

EVERYDAY = presentations("everyday_and_missed")
CITED = presentations("cited")
EVERY = presentations()
OWN = tuple(one for one in EVERY if one not in EVERYDAY and one not in CITED)
NEEDS: dict[str, list[dict[str, str]]] = read("needs.yaml")
NEEDED = {one["id"] for part in NEEDS.values() for one in part}
WORDS = {*PROTOCOL.by_id, *PROTOCOL.history_by_id, *PROTOCOL.vitals_by_id}
URGENCY = {
    **{one["id"]: one["urgency"] for one in read("new_flags.yaml")},
    **{flag.id: flag.urgency for flag in BOOK.flags},
}
THRESHOLDS = {threshold.id for threshold in BOOK.thresholds}


def named(group: tuple[Presentation, ...]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("one", group, ids=[one.id for one in group])


def test_twenty_two_everyday_presentations_are_numbered() -> None:
    numbers = {one.id for one in EVERYDAY if re.fullmatch(r"f\d\d", one.id)}
    assert numbers == {f"f{number:02}" for number in range(1, 23)}


def test_at_least_sixty_more_stand_beside_them() -> None:
    assert len(OWN) >= 60


def test_every_id_is_used_once() -> None:
    assert [name for name, times in Counter(one.id for one in EVERY).items() if times > 1] == []
    assert len(EVERY) == len(EVERYDAY) + len(CITED) + len(OWN)


def test_every_file_of_presentations_is_read() -> None:
    files = sorted(path.stem for path in (HERE / "presentations").glob("*.yaml"))
    assert sum(len(presentations(name)) for name in files) == len(EVERY) >= 220


def test_what_is_needed_is_defined_once_and_has_words_of_its_own() -> None:
    ids = [one["id"] for part in NEEDS.values() for one in part]
    assert len(ids) == len(set(ids)) >= 50
    questions = NEEDS["questions"]
    assert all(one["say"].rstrip().endswith(("?", '?"')) for one in questions)
    # One question, one sentence, one question mark.
    assert all(one["say"].count("?") == 1 for one in questions)


def test_nothing_is_asked_for_that_no_presentation_needs() -> None:
    assert {need for one in EVERY for need in one.needs} == NEEDED


def test_every_flag_is_expected_raised_somewhere_and_quiet_somewhere() -> None:
    loud = {flag for one in EVERY for flag in one.expect.must_raise}
    quiet = {flag for one in EVERY for flag in one.expect.silent}
    assert set(URGENCY) - loud == set()
    assert set(URGENCY) - quiet == set()


@named(EVERY)
def test_it_uses_only_words_that_exist_or_are_needed(one: Presentation) -> None:
    assert one.words - WORDS <= set(one.needs)
    assert set(one.needs) <= NEEDED


@named(EVERY)
def test_what_it_needs_it_uses(one: Presentation) -> None:
    used = one.words | ({"disputed_context"} if one.disputed else set())
    assert set(one.needs) <= used


@named(EVERY)
def test_it_names_flags_that_exist_or_are_new(one: Presentation) -> None:
    assert set(one.expect.flags) <= set(URGENCY)
    for raised in one.expect.raised:
        if not isinstance(raised, str) and raised.urgency is not None:
            assert raised.urgency == URGENCY[raised.flag]


@named(EVERY)
def test_it_does_not_contradict_itself(one: Presentation) -> None:
    expect = one.expect
    loud, quiet = set(expect.must_raise), set(expect.silent)
    assert not loud & quiet
    assert not loud & set(expect.not_excluded)
    assert expect.flags or expect.nothing_else


@named(EVERY)
def test_what_is_withheld_is_an_item(one: Presentation) -> None:
    assert set(one.withheld) <= set(PROTOCOL.by_id)


@named(tuple(one for one in EVERY if not set(one.needs) - WORDS))
def test_it_can_be_recorded_today(one: Presentation) -> None:
    check_record(record_of(one, PROTOCOL), PROTOCOL)


def test_every_rule_with_a_cited_source_has_its_presentation() -> None:
    practice = "common practice, no source"
    rules: list[FlagRule | Threshold] = [*BOOK.flags, *BOOK.thresholds]
    cited = {rule.id for rule in rules if any(basis.source != practice for basis in rule.basis)}
    told = {
        name
        for one in EVERY
        if one.source.mark != "common practice"
        for name in (*one.basis_of, *one.expect.flags)
    }
    assert told <= set(URGENCY) | THRESHOLDS
    assert cited - told == set()


@named(CITED)
def test_a_cited_presentation_says_of_what_it_is_the_basis(one: Presentation) -> None:
    assert one.basis_of
    assert one.source.mark != "common practice"


def test_two_published_lists_answer_each_entry() -> None:
    lists = read("published_lists.yaml")["lists"]
    assert len(lists) >= 2
    for one in lists:
        assert one["cite"]
        assert one["mark"] in ("read", "memory")
        for entry in one["entries"]:
            assert entry["decision"] in ("taken", "taken in part", "refused")
            assert entry["why"]
            assert set(entry.get("by", ())) <= set(URGENCY) | THRESHOLDS
            assert (entry["decision"] == "refused") == (not entry.get("by"))


def test_the_page_of_published_lists_shows_every_entry() -> None:
    page = (HERE.parents[1] / "docs" / "flags-lists.md").read_text(encoding="utf-8")
    entries = [entry for one in read("published_lists.yaml")["lists"] for entry in one["entries"]]
    assert len(entries) >= 30
    assert [e["says"] for e in entries if f"| {e['says']} | {e['mark']} |" not in page] == []


KNOWN_BY = {
    "compartment syndrome": "962449020", "British Orthopaedic": "BOAST", "Orthop Rev": "77875",
    "Stiell": "Stiell", "BMJ Case Rep": "bcr.2007", "aortic dissection guideline": "CCDHB",
    "face, arm": "FAST", "NICE NG234": "001559", "series of 15": "15 neoplasms",
    "earlier NICE": "nuh.nhs.uk", "Emergency and urgent": "Borders", "National Early": "NEWS2",
    "Practical Neurology": "Pract Neurol", "Emergency Radiology": "Emergency Radiology",
    "regional pathway 35": "pathway 35", "regional pathway def": "Sheffield",
    "case note": "case note", "NHS England": "001559", "exetershoulder": "article 65",
    "Practical": "Pract Neurol", "rcemlearning": "rcemlearning", "BMC Musculoskelet": "BMC",
}  # fmt: skip
"""Sources that the presentations name by another word than the rule's first."""


def _known_by(source: str) -> str:
    other = (word for start, word in KNOWN_BY.items() if source.startswith(start))
    return next(other, re.split(r"[ ,&]", source)[0])


def test_every_source_of_a_flag_is_told_by_a_presentation_of_that_flag() -> None:
    sources = [
        (flag.id, basis.source)
        for flag in BOOK.flags
        for basis in flag.basis
        if not basis.source.startswith("common practice")
    ]
    untold = [
        (name, source)
        for name, source in sources
        if not any(
            _known_by(source).lower() in one.source.cite.lower()
            and name in (*one.basis_of, *one.expect.flags)
            for one in EVERY
        )
    ]
    assert untold == []
    assert len(sources) >= 90
