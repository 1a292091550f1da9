"""The tables of promises and of ASVS items: every test they name exists, every patch fits."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

from tests.mutate import mutations
from tests.safe.stores import ROOT

DOCS = ROOT / "docs"
PAGES = ("safekeeping-promises.md", "security.md")
NAMED = re.compile(r"(tests/[\w/]+\.py)::(\w+)")


def functions(path: Path) -> set[str]:
    """The test functions of a file."""
    tree = ast.parse(path.read_text())
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize("page", PAGES)
def test_every_test_that_a_page_names_exists(page: str) -> None:
    found = set(NAMED.findall((DOCS / page).read_text()))
    for path, name in sorted(found):
        assert name in functions(ROOT / path), f"{path}::{name}"
    assert len(found) >= 35


def test_every_patch_stands_in_the_table_with_its_promise_and_test() -> None:
    page = "\n".join((DOCS / name).read_text() for name in (*PAGES, "marks-promises.md"))
    for mutation in mutations():
        row = next((r for r in page.splitlines() if f"| `{mutation.name}` |" in r), "")
        assert mutation.promise in row, mutation.name
        assert f"`{mutation.test}`" in row, mutation.name
    assert len(mutations()) >= 30


def test_every_patch_still_fits() -> None:
    for mutation in mutations():
        command = ["patch", "--strip=1", "--forward", "--dry-run", "--fuzz=0", "--silent"]
        with mutation.path.open() as file:
            done = subprocess.run(command, stdin=file, cwd=ROOT, capture_output=True, check=False)
        assert done.returncode == 0, mutation.name


def test_every_asvs_item_is_met_with_a_test_or_says_why_not() -> None:
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in (DOCS / "security.md").read_text().splitlines()
        if re.match(r"\| \d+\.\d+\.\d+", line)
    ]
    for number, _, state, where, test in rows:
        assert state in ("met", "partly", "not met", "operator"), number
        assert where, number
        if state == "met":
            assert NAMED.search(test), f"{number}: met without a test"
    assert len(rows) >= 70
