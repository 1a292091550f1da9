"""The site is built without a warning, holds every document, and nothing on it leads elsewhere."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from tools.site import __main__ as site
from tools.site import sources
from tools.site.reference import pages

import sidewise
from sidewise.commands import NAMES
from sidewise.schemas import FORMATS

ELSEWHERE = re.compile(r"<(?:script|link|img)[^>]+(?:src|href)=\"(?:https?:)?//")


@pytest.fixture(scope="module")
def built(tmp_path_factory: Any) -> Path:
    folder: Path = tmp_path_factory.mktemp("build")
    assert site.main(folder) == 0
    return folder / "site"


def test_every_document_is_a_page_and_found_by_the_search(built: Path) -> None:
    names = {
        path.relative_to(sources.ROOT / "docs") for path in (sources.ROOT / "docs").rglob("*.md")
    }
    assert len(names) > 50
    missing = [name for name in names if not (built / name.with_suffix(".html")).exists()]
    assert missing == []
    index = json.loads((built / "search" / "search_index.json").read_text())
    found = {entry["location"].split("#")[0] for entry in index["docs"]}
    assert {name.with_suffix(".html").as_posix() for name in names} <= found


def test_nothing_is_fetched_from_elsewhere(built: Path) -> None:
    looked_at = sorted(built.rglob("*.html"))
    fetching = [path.name for path in looked_at if ELSEWHERE.search(path.read_text())]
    assert fetching == []
    assert len(looked_at) > 60


def test_a_link_that_leads_nowhere_ends_the_build(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = sources.write_sources

    def broken(to: Path) -> int:
        count = real(to)
        (to / "index.md").write_text("# x\n\n[nowhere](no-such-page.md)\n")
        return count

    monkeypatch.setattr(site, "write_sources", broken)
    assert site.main(tmp_path) == 1


def test_the_reference_has_every_command_function_and_format() -> None:
    written = pages()
    commands = re.findall(r"^## (\S+)", written["reference-commands.md"], re.M)
    assert commands == list(NAMES)
    functions = re.findall(r"^## (\S+)", written["reference-python.md"], re.M)
    assert set(functions) == {name for name in sidewise.__all__ if not name.startswith("_")}
    assert re.findall(r"^## (\S+)", written["reference-formats.md"], re.M) == list(FORMATS)


def test_the_reference_has_every_setting_with_its_words() -> None:
    page = pages()["reference-settings.md"]
    rows = re.findall(r"^\| `(SIDEWISE_[^`]+)` \| (\S.*) \|$", page, re.M)
    # SIDEWISE_OIDC_ISSUER, _CLIENT, _SECRET stand in one row.
    named = {name for names, _ in rows for name in names.split(", ")}
    text = Path(sidewise.__file__).parent.joinpath("web/settings.py").read_text(encoding="utf-8")
    read = set(re.findall(r"[\"'](SIDEWISE_\w+)[\"']", text))
    assert len(read) >= 15
    assert {name for name in read if name not in named} <= {
        "SIDEWISE_OIDC_CLIENT", "SIDEWISE_OIDC_SECRET", "SIDEWISE_OIDC_SECOND_FACTOR",
    }  # fmt: skip
    assert "_CLIENT" in named
    assert "SIDEWISE_OIDC_SECOND_FACTOR" in page
