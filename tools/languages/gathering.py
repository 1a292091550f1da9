"""The texts of the program that can be translated, with where each stands.

`django` for the pages (templates and the Python of the web), `sidewise` for what is said by
`sidewise.ground.language`, and one for the texts of each region, called as the region. Templates
are turned into Python-like source by Django itself, and read by Babel.
"""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract_python

from sidewise.knowledge.region import open_region, shipped_folders
from tools.languages.region_texts import region_texts

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "sidewise"
PROGRAM = ("django", "sidewise")
PAGES = {**DEFAULT_KEYWORDS, "gettext_lazy": None, "ngettext_lazy": (1, 2),
         "gettext_noop": None, "pgettext_lazy": ((1, "c"), 2)}  # fmt: skip
WORDS = {"say_text": None, "say_count": (1, 2), "mark_text": None}
"""The functions of `sidewise.ground.language`."""


def domains() -> tuple[str, ...]:
    """The program's two, and the regions that come with it."""
    return (*PROGRAM, *shipped_folders())


def gathered(domain: str) -> Catalog:
    """The catalogue of one domain without translations, in the order of the files."""
    catalog = Catalog(domain=domain, project="sidewise", charset="utf-8")
    if domain not in PROGRAM:
        for place, text in region_texts(open_region(shipped_folders()[domain]).parts):
            catalog.add(text, auto_comments=[place])
        return catalog
    for path in sources(domain):
        for line, text, context in _texts(path, domain):
            where = (path.relative_to(ROOT).as_posix(), line)
            flags = ("python-format",) if _is_format(text) else ()
            catalog.add(text, locations=[where], context=context, flags=flags)
    return catalog


def sources(domain: str) -> list[Path]:
    """The files whose texts stand in this catalogue."""
    web = SOURCE / "web"
    if domain == "django":
        return sorted([*web.rglob("*.html"), *web.rglob("*.py")])
    return sorted(SOURCE.rglob("*.py"))


Text = str | tuple[str, ...]


def _texts(path: Path, domain: str) -> Iterator[tuple[int, Text, str | None]]:
    keywords = PAGES if domain == "django" else WORDS
    source = path.read_text(encoding="utf-8")
    if path.suffix == ".html":
        source = _as_python(source)
    found = extract_python(BytesIO(source.encode()), list(keywords), [], {"encoding": "utf-8"})
    for line, function, messages, _ in found:
        yield from _one(line, function, messages, keywords)


def _one(
    line: int, function: str, messages: object, keywords: dict[str, object]
) -> Iterator[tuple[int, Text, str | None]]:
    given = messages if isinstance(messages, tuple) else (messages,)
    if not given or not isinstance(given[0], str) or not given[0]:
        # A text that is named elsewhere, and marked there.
        return
    texts = tuple(one for one in given if isinstance(one, str))
    if function.startswith("pgettext"):
        yield line, texts[1], texts[0]
    elif isinstance(keywords.get(function), tuple) and len(texts) > 1:
        yield line, texts[:2], None
    else:
        yield line, texts[0], None


def _as_python(template: str) -> str:
    from django.utils.translation.template import templatize

    turned: str = templatize(template)
    return turned


def _is_format(text: Text) -> bool:
    return any("%(" in one for one in ((text,) if isinstance(text, str) else text))
