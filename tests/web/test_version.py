"""The page that says what runs here."""

from __future__ import annotations

from typing import Any

from sidewise import __version__
from sidewise.evidence.fit.fitted import fitted_of
from sidewise.regions import regions
from sidewise.web.keeping import former_copy


def test_it_names_program_knowledge_fit_and_what_is_new(cast: Any) -> None:
    page = cast.client("owner").get("/version/").content.decode()
    assert f"sidewise {__version__}" in page
    region = regions()["shoulder"]
    assert region.fingerprint[:12] in page
    assert fitted_of(region).fingerprint[:12] in page
    assert "sidewise-examination/1" in page
    assert "not reviewed by a clinician" in page
    assert "What is new" in page


def test_a_copy_is_made_once_and_goes_when_something_is_erased(
    tmp_path: Any, monkeypatch: Any
) -> None:
    monkeypatch.setattr(former_copy, "home", lambda: tmp_path)
    monkeypatch.setattr(former_copy, "_copy", lambda target: target.write_bytes(b"copy"))
    monkeypatch.setattr(former_copy.connection, "vendor", "sqlite", raising=False)
    first = former_copy.keep_copy()
    second = former_copy.keep_copy()
    assert first != second
    assert former_copy.copies() == [second]
    former_copy.discard_copies()
    assert former_copy.copies() == []
