"""The list of stolen passwords, searched on this machine (ASVS 5.0.0, 6.2.12)."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from sidewise.web.accounts.breached_passwords import BreachedPasswordValidator, listed


def sha(word: str) -> str:
    return hashlib.sha1(word.encode()).hexdigest().upper()


@pytest.fixture(scope="module")
def words(tmp_path_factory: Any) -> tuple[Path, list[str]]:
    path = tmp_path_factory.mktemp("list") / "list.txt"
    known = [f"word {number}" for number in range(300)]
    path.write_text("".join(f"{h}:{n}\n" for n, h in enumerate(sorted(map(sha, known)))))
    return path, known


def test_every_listed_word_is_found(words: tuple[Path, list[str]]) -> None:
    path, known = words
    assert sum(listed(path, sha(word)) for word in known) == 300


@given(word=st.text(max_size=30))
def test_no_other_word_is_found(words: tuple[Path, list[str]], word: str) -> None:
    path, known = words
    assert listed(path, sha(word)) is (word in known)


def test_a_listed_password_is_refused(words: tuple[Path, list[str]], settings: Any) -> None:
    settings.BREACHED_PASSWORDS = str(words[0])
    with pytest.raises(ValidationError, match="stolen passwords"):
        BreachedPasswordValidator().validate("word 17")


def test_without_a_list_nothing_is_refused(settings: Any) -> None:
    settings.BREACHED_PASSWORDS = ""
    BreachedPasswordValidator().validate("word 17")
