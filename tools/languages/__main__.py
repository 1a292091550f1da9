"""`python -m tools.languages`: brings every catalogue up to date with the sources, and compiles it.

A text that is new stands there untranslated, one that is gone is left out; a translation whose
English was changed is not kept by likeness, because a clinician reads it as it stands.
`--open` counts what is not translated yet. Needs no gettext programs: Babel reads and writes.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from sidewise.knowledge.manifest import TRANSLATIONS
from sidewise.knowledge.region import shipped_folders
from tools.languages.gathering import PROGRAM, SOURCE, domains, gathered

LOCALE = SOURCE / "locale"
HEAD = "# Translation of sidewise. Not reviewed by a clinician: see docs/languages.md."


def po_path(language: str, domain: str) -> Path:
    """The catalogue that a translator edits."""
    if domain in PROGRAM:
        return LOCALE / language / "LC_MESSAGES" / f"{domain}.po"
    return shipped_folders()[domain] / TRANSLATIONS / f"{language}.po"


def languages() -> list[str]:
    """The languages that have a folder of catalogues."""
    return sorted(path.name for path in LOCALE.iterdir() if (path / "LC_MESSAGES").is_dir())


def read_catalogue(language: str, domain: str) -> Catalog:
    """A catalogue as it is kept; an empty one where there is none yet."""
    path = po_path(language, domain)
    if not path.exists():
        return Catalog(locale=language, domain=domain)
    with path.open("rb") as file:
        return read_po(file, locale=language, domain=domain)


def updated(language: str, domain: str) -> Catalog:
    """The texts of today with the translations that are kept for them."""
    kept = read_catalogue(language, domain)
    fresh = gathered(domain)
    fresh.locale = language
    fresh.header_comment = HEAD
    fresh.fuzzy = False
    # The same bytes from the same texts, whenever they are written.
    fresh.creation_date = fresh.revision_date = kept.creation_date
    for message in fresh:
        before = kept.get(message.id, context=message.context) if message.id else None
        if before is not None:
            message.string = before.string
            message.user_comments = before.user_comments
    return fresh


def untranslated(catalog: Catalog) -> list[str]:
    """The texts without a translation."""
    return [str(message.id) for message in catalog if message.id and not _whole(message.string)]


def _whole(string: object) -> bool:
    return all(string) if isinstance(string, (tuple, list)) else bool(string)


def write(language: str, domain: str) -> int:
    """Write and compile one catalogue; how many of its texts are not translated."""
    catalog = updated(language, domain)
    path = po_path(language, domain)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        write_po(file, catalog, width=100, include_lineno=False)
    with path.with_suffix(".mo").open("wb") as file:
        write_mo(file, catalog)
    return len(untranslated(catalog))


def main() -> None:
    """Every language that has a folder, or those named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("languages", nargs="*", help="such as de; default all that are there")
    parser.add_argument("--open", action="store_true", help="end with 1 if a text is untranslated")
    given = parser.parse_args()
    left = 0
    for language in given.languages or languages():
        for domain in domains():
            count = write(language, domain)
            left += count
            print(f"{language} {domain}: {count} texts not translated")
    sys.exit(1 if given.open and left else 0)


if __name__ == "__main__":
    main()
