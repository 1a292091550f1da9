"""The language in which words are said: English as written, or a catalogue's translation of it.

Files, the typed line and the names in data are English in every language; what is shown to a person
goes through here. `say_text` is for sentences of the program, `term` for words that come from data
(an item's label, a choice, a technique). What has no translation is said in English, never guessed.

The language holds for the running context: `with speak("de"): ...`. What is kept for others to
read (a record, a result, an audit) is made where nothing was chosen, so it is English.
"""

from __future__ import annotations

import gettext
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from functools import lru_cache, wraps
from pathlib import Path
from typing import ParamSpec, TypeVar

from sidewise.errors import UserError

ENGLISH = "en"
LANGUAGES = {ENGLISH: "English", "de": "Deutsch"}
"""The languages there are, each in its own name."""
LOCALE = Path(__file__).resolve().parent.parent / "locale"
REVIEWER = "x-reviewed-by"
"""The head of a catalogue that names the clinician who reviewed it."""
DECIMAL_POINTS = {ENGLISH: ".", "de": ","}
DATES = {ENGLISH: "%d %b %Y", "de": "%d.%m.%Y"}
UNREVIEWED = {
    "de": "von keiner Klinikerin und keinem Kliniker geprüft; not reviewed by a clinician"
}
"""Said beside each language until every catalogue of it names who reviewed it."""

P = ParamSpec("P")
Made = TypeVar("Made")
_spoken: ContextVar[str] = ContextVar("language", default=ENGLISH)
_folders: list[Path] = []


def language() -> str:
    """The code of the language that is spoken here, such as "de"."""
    return _spoken.get()


def chosen_language(code: str, where: str = "--language") -> str:
    """The code if there is such a language; UserError with those there are."""
    if code not in LANGUAGES:
        known = ", ".join(f"{name} ({own})" for name, own in LANGUAGES.items())
        raise UserError(where, code, f"one of {known}")
    return code


@contextmanager
def speak(code: str) -> Iterator[None]:
    """Say everything in this language from here to the end of the block."""
    before = _spoken.set(chosen_language(code, "language"))
    try:
        yield
    finally:
        _spoken.reset(before)


def in_english(work: Callable[P, Made]) -> Callable[P, Made]:
    """For what is made in English whatever is spoken; not for a generator, which runs later."""

    @wraps(work)
    def made(*args: P.args, **kwargs: P.kwargs) -> Made:
        with speak(ENGLISH):
            return work(*args, **kwargs)

    return made


def add_words_of(folder: Path) -> None:
    """Also take terms from the catalogues `<language>.mo` of a folder, as a region has one."""
    if folder not in _folders:
        _folders.append(folder)
        _terms.cache_clear()


def say_text(text: str, /, **values: object) -> str:
    """A sentence of the program in the language spoken, with its values filled in.

    `text` holds names in braces as `str.format` takes them; a number is written as the language
    writes it.
    """
    found = text if language() == ENGLISH else _sentences(language()).gettext(text)
    return found.format(**{name: _written(one) for name, one in values.items()})


def say_count(one: str, many: str, count: int, /, **values: object) -> str:
    """The same where a number decides the form; it stands in the text as {count}."""
    found = _sentences(language()).ngettext(one, many, count)
    return found.format(count=count, **{name: _written(value) for name, value in values.items()})


def mark_text(text: str) -> str:
    """The text as it is: marks a word for the catalogue that is said elsewhere, by `term`."""
    return text


def term(text: str) -> str:
    """A word or text of the knowledge in the language spoken; as it is where it has none."""
    if language() == ENGLISH or not text:
        return text
    for words in _terms(language()):
        found = words.gettext(text)
        if found != text:
            return found
    return text


def say_number(number: float, form: str = "g") -> str:
    """A number as the language writes it: 12.5 in English, 12,5 in German."""
    written = f"{number:{form}}"
    return written.replace(".", DECIMAL_POINTS[language()])


def say_degrees(degrees: float) -> str:
    """An angle with its sign: 12.5°."""
    return f"{say_number(degrees)}°"


def say_date(day: date) -> str:
    """A day, with the time of day where there is one: 4 May 2026, or 04.05.2026."""
    form = DATES[language()]
    written = day.strftime(f"{form} %H:%M" if isinstance(day, datetime) else form)
    return written.lstrip("0") if language() == ENGLISH else written


def reviewer_of(code: str) -> str:
    """The clinician who reviewed every catalogue of a language; "" where there is none yet."""
    if code == ENGLISH:
        return ""
    with speak(code):
        heads = [_sentences(code).info(), *(words.info() for words in _terms(code)[1:])]
    named = [head.get(REVIEWER, "") for head in heads]
    return named[0] if all(named) else ""


def is_unreviewed(code: str) -> bool:
    """Whether what is said in this language is a translation that no clinician has reviewed."""
    return code != ENGLISH and not reviewer_of(code)


def _written(value: object) -> object:
    return say_number(value) if isinstance(value, float) else value


@lru_cache(maxsize=8)
def _sentences(code: str) -> gettext.NullTranslations:
    return gettext.translation("sidewise", LOCALE, [code], fallback=True)


@lru_cache(maxsize=8)
def _terms(code: str) -> tuple[gettext.NullTranslations, ...]:
    return (_sentences(code), *(_read(folder / f"{code}.mo") for folder in _folders))


def _read(path: Path) -> gettext.NullTranslations:
    try:
        with path.open("rb") as file:
            return gettext.GNUTranslations(file)
    except FileNotFoundError:
        return gettext.NullTranslations()
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise UserError(str(path), str(error), "a compiled catalogue",
                        "Make it again from the .po file beside it.") from error  # fmt: skip


def offered_languages() -> list[tuple[str, str]]:
    """What a person can choose from: each code, and the language's own name with its caution."""
    return [
        (code, f"{own} ({UNREVIEWED[code]})" if is_unreviewed(code) else own)
        for code, own in LANGUAGES.items()
    ]
