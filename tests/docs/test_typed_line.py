"""The examples of docs/typed-line.md are run as they stand."""

from __future__ import annotations

import doctest
import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sidewise.cli import app

PAGE = Path(__file__).parents[2] / "docs" / "typed-line.md"
TEXT = PAGE.read_text(encoding="utf-8")
CONSOLE = re.findall(r"```console\n\$ sidewise (.+?)\n(.*?)```", TEXT, re.S)


@pytest.mark.parametrize(("command", "shown"), CONSOLE)
def test_the_page_shows_what_the_command_prints(command: str, shown: str) -> None:
    assert CliRunner().invoke(app, shlex.split(command)).output == shown


def test_the_page_has_its_examples() -> None:
    assert len(CONSOLE) == 4


def test_the_python_examples_run() -> None:
    code = re.search(r"```python\n(.*?)```", TEXT, re.S)
    assert code is not None
    test = doctest.DocTestParser().get_doctest(code.group(1), {}, PAGE.name, str(PAGE), 0)
    result = doctest.DocTestRunner(optionflags=doctest.REPORT_NDIFF).run(test)
    assert (result.failed, result.attempted) == (0, 8)
