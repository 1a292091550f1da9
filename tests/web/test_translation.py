"""A catalogue put in its place turns the words of a page, and leaves what is data as it is."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import pytest
from django.utils import translation
from django.utils.translation import trans_real

WORDS = {
    "patient's RIGHT": "DESTRA del paziente",
    "undo": "annulla",
    "Dominant hand": "Mano dominante",
}


def catalogue(words: dict[str, str]) -> bytes:
    """A compiled catalogue, laid out as the GNU gettext manual describes it ("MO Files")."""
    pairs = {"": "Content-Type: text/plain; charset=UTF-8\n", **words}
    keys = sorted(pairs, key=str.encode)
    texts = [k.encode() for k in keys], [pairs[k].encode() for k in keys]
    start, tables, body = 28 + 16 * len(keys), b"", b""
    for column in texts:
        for text in column:
            tables += struct.pack("<II", len(text), start + len(body))
            body += text + b"\0"
    head = struct.pack("<7I", 0x950412DE, 0, len(keys), 28, 28 + 8 * len(keys), 0, 0)
    return head + tables + body


@pytest.fixture
def other_words(tmp_path: Path, settings: Any) -> Any:
    """A few words of another language, as a translator would add them."""
    folder = tmp_path / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    (folder / "django.mo").write_bytes(catalogue(WORDS))
    settings.LOCALE_PATHS = [tmp_path]
    settings.LANGUAGE = "de"
    kept = dict(trans_real._translations)
    trans_real._translations.clear()
    with translation.override("de"):
        yield
    trans_real._translations.clear()
    trans_real._translations.update(kept)


def test_a_page_is_shown_in_the_words_of_its_catalogue(cast: Any, other_words: Any) -> None:
    address = f"/examinations/{cast.examination.pk}/"
    stage = cast.client("owner").get(f"{address}stage/look/").content.decode()
    assert "DESTRA del paziente" in stage
    assert "patient's RIGHT" not in stage
    about = cast.client("owner").get(f"{address}about/").content.decode()
    assert "Mano dominante" in about
    # What has no word in the catalogue stays as it was, and no mark is left in the page.
    assert "patient's LEFT" in stage
    assert "{%" not in stage + about
