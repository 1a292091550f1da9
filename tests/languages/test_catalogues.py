"""A translation says what the English says: the same places to fill in, and never the other side.

What is declared complete is complete, and no clinician is named as its reviewer who is none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from io import BytesIO
from string import Formatter
from typing import get_args

import pytest
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from tools.languages.__main__ import languages, po_path, read_catalogue, untranslated, updated
from tools.languages.gathering import domains
from tools.languages.region_texts import region_texts

from sidewise.ground.language import (
    LANGUAGES,
    is_unreviewed,
    offered_languages,
    reviewer_of,
    say_count,
    say_date,
    say_number,
    say_text,
    speak,
    term,
)
from sidewise.kinds.angle import EndFeel
from sidewise.kinds.common.numbers import Instrument
from sidewise.kinds.common.said_words import MARKED
from sidewise.protocol.criteria import Mode
from sidewise.record.care import DOSE_UNITS, INVESTIGATIONS, OUTCOMES, RELIEFS, SPEEDS, STEPS
from sidewise.record.care import SAID as CARE_SAID
from sidewise.record.model import Answer, Side, Status
from sidewise.regions import regions
from tests.shoulder import PROTOCOL

COMPLETE = {"django", "sidewise"}
"""Catalogues in which nothing may be untranslated; of a region, the fields named below."""
COMPLETE_FIELDS = ("label", "group", "say", "patient", "examiner")
NAMED = re.compile(r"%\((\w+)\)s|<[^>]+>")
SIDES = {
    "en": {
        "left": r"(?<!what is )\bleft\b(?! (?:out|open|blank|is)\b)",
        "right": r"(?<!all )(?<!put )(?<!person's )\bright\b(?! (?:angles?|size|at the tip)\b)",
    },
    "de": {
        "left": r"\blinks\b|\blinke[nrms]?\b|linksh",
        "right": r"\brechts\b|\brechte[nrms]?\b|rechtsh",
    },
}
"""Forms of the two words where they name a side ("at a right angle" does not)."""
EACH = [(language, domain) for language in languages() for domain in domains()]


def messages(language: str, domain: str) -> Iterator[tuple[str, str]]:
    """Each English text with its translation; of a plural, each form with its own."""
    for message in updated(language, domain):
        ids = message.id if isinstance(message.id, tuple) else (message.id,)
        texts = message.string if isinstance(message.string, tuple) else (message.string,)
        if message.id and all(texts):
            yield from zip(ids, texts, strict=True)


def test_the_languages_offered_have_their_catalogues() -> None:
    assert set(languages()) == set(LANGUAGES) - {"en"}
    assert len(EACH) >= 3


@pytest.mark.parametrize(("language", "domain"), EACH)
def test_what_is_compiled_is_what_stands_in_the_catalogue(language: str, domain: str) -> None:
    made = BytesIO()
    write_mo(made, read_catalogue(language, domain))
    assert po_path(language, domain).with_suffix(".mo").read_bytes() == made.getvalue()


@pytest.mark.parametrize(("language", "domain"), EACH)
def test_a_catalogue_holds_the_texts_of_today(language: str, domain: str) -> None:
    """Else: `python -m tools.languages`."""
    with po_path(language, domain).open("rb") as file:
        kept = {str(m.id) for m in read_po(file) if m.id}
    assert kept == {str(m.id) for m in updated(language, domain) if m.id}


@pytest.mark.parametrize(("language", "domain"), [e for e in EACH if e[1] in COMPLETE])
def test_nothing_is_missing_where_it_is_declared_complete(language: str, domain: str) -> None:
    assert untranslated(updated(language, domain)) == []


def test_every_item_has_what_is_named_and_said_in_each_language() -> None:
    regions()["shoulder"]
    for language in languages():
        with speak(language):
            bare = {
                (item.id, name)
                for item in PROTOCOL.items
                for name in COMPLETE_FIELDS
                if not (text := getattr(item, name)) or term(text) == text
            }
        # Names that are the same in both: of persons, or of no language.
        assert {name for _, name in bare} <= {"label", "group"}
        assert len(bare) < 60


@pytest.mark.parametrize(("language", "domain"), EACH)
def test_places_to_fill_in_are_the_same(language: str, domain: str) -> None:
    wrong = {text for text, said in messages(language, domain) if places(text) != places(said)}
    assert wrong == set()


def places(text: str) -> list[str]:
    """Names in braces or in percent signs, and marks of HTML."""
    try:
        braces = [name for _, name, _, _ in Formatter().parse(text) if name is not None]
    except ValueError:
        braces = []
    return sorted([*braces, *(found[0] for found in NAMED.finditer(text))])


@pytest.mark.parametrize(("language", "domain"), EACH)
def test_left_and_right_are_never_exchanged(language: str, domain: str) -> None:
    """A text that names one side names that one alone in the other language."""
    told = [(text, sides_of(text, "en"), sides_of(said, language))
            for text, said in messages(language, domain)]  # fmt: skip
    one = [(text, here, there) for text, here, there in told if here in ({"left"}, {"right"})]
    assert [text for text, here, there in one if there and there != here] == []
    assert [text for text, here, there in one if not there and text not in NO_SIDE] == []
    if domain != "django":
        both = [text for text, here, there in told if here and len(here) == 2 and len(there) != 2]
        assert both == []
    assert len(one) >= {"django": 8, "sidewise": 10}.get(domain, 3)


NO_SIDE = frozenset(
    {
        "Is this right?",
        "This is right: settle it",
        "Nothing is left here that may be recorded together. Looks that screen a flag, movements "
        "of the joint, measurements and optional items are always recorded one by one.",
    }
)
"""Texts in which "right" or "left" is no side of a patient."""


def sides_of(text: str, language: str) -> set[str]:
    """The sides that a text names."""
    return {side for side, form in SIDES[language].items() if re.search(form, text, re.IGNORECASE)}


@pytest.mark.parametrize(
    ("text", "language", "found"),
    [
        ("patient's RIGHT", "en", {"right"}),
        ("at a right angle", "en", set()),
        ("LINKS am Patienten", "de", {"left"}),
        ("rechtwinklig", "de", set()),
        ("Rechtshänder/in", "de", {"right"}),
    ],
)
def test_a_side_is_recognised(text: str, language: str, found: set[str]) -> None:
    assert sides_of(text, language) == found


def test_every_word_of_a_closed_list_is_marked() -> None:
    words = {*get_args(EndFeel), *get_args(Instrument), *get_args(Mode), *get_args(Side),
             *get_args(Answer), *get_args(Status)}  # fmt: skip
    assert words <= set(MARKED)
    care = {*INVESTIGATIONS, *OUTCOMES, *STEPS, *SPEEDS, *RELIEFS, *DOSE_UNITS} - {"mg", "ml"}
    assert care <= set(CARE_SAID)


def test_no_red_flag_and_no_caution_is_translated_before_a_reviewer_is_recorded() -> None:
    region = regions()["shoulder"]
    flags = [flag["label"] for flag in region.part("red_flags")["flags"]]
    # A sign may be called as the flag it raises.
    named = {text for where, text in region_texts(region.parts) if where.startswith("protocol")}
    cautions = [*flags, *(flag["do"] for flag in region.part("red_flags")["flags"]),
                *region.part("region").get("cautions", ())]  # fmt: skip
    assert len(flags) > 20
    for language in languages():
        assert is_unreviewed(language)
        assert reviewer_of(language) == ""
        with speak(language):
            said = [text for text in cautions if term(text) != text and text not in named]
        assert said == []


def test_numbers_dates_and_plurals_are_those_of_the_language() -> None:
    from datetime import UTC, datetime

    when = datetime(2026, 3, 2, 9, 40, tzinfo=UTC)
    assert (say_number(12.5), say_date(when), say_date(when.date())) == (
        "12.5", "2 Mar 2026 09:40", "2 Mar 2026")  # fmt: skip
    with speak("de"):
        assert (say_number(12.5), say_date(when)) == ("12,5", "02.03.2026 09:40")
        assert say_count("{count} day", "{count} days", 1) == "1 Tag"
        assert say_count("{count} day", "{count} days", 3) == "3 Tage"
        assert say_text("in {weeks} weeks", weeks=2.5) == "in 2,5 Wochen"
        assert term("a word that nobody translated") == "a word that nobody translated"


def test_an_unreviewed_language_says_so_where_it_is_chosen() -> None:
    assert dict(offered_languages())["en"] == "English"
    assert "not reviewed by a clinician" in dict(offered_languages())["de"]
