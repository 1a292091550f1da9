"""Commands as people expect them: completed by the shell, as wide as the window, as JSON."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from sidewise.schemas import schema_of

ROOT = Path(__file__).parents[2]
FROZEN = ROOT / "examples" / "frozen.json"
RUN = "import sys; sys.argv[0] = 'sidewise'; from sidewise.cli import program; program()"


def run(*words: str, **env: str) -> subprocess.CompletedProcess[str]:
    """A command with more of an environment."""
    return subprocess.run([sys.executable, "-c", RUN, *words], capture_output=True, text=True,
                          check=False, env={**os.environ, **env})  # fmt: skip


@pytest.fixture(scope="module")
def programs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the program as a shell finds it."""
    folder = tmp_path_factory.mktemp("bin")
    program = folder / "sidewise"
    program.write_text(f'#!{sys.executable}\nimport sys\nsys.argv[0] = "sidewise"\n'
                       "from sidewise.cli import program\nprogram()\n")  # fmt: skip
    program.chmod(0o755)
    return folder


@pytest.mark.parametrize(
    ("typed", "offered"),
    [("bl", {"blank-form"}), ("check --ca", {"--case"}), ("completion ", {"bash", "zsh", "fish"})],
)
def test_bash_completes_commands_options_and_choices(
    programs: Path, typed: str, offered: set[str]
) -> None:
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("needs bash")
    words = ["sidewise", *typed.split(" ")]
    asked = (
        'eval "$(sidewise completion bash)"; '
        f"COMP_WORDS=({' '.join(words)} ''); COMP_CWORD={len(words) - 1}; "
        '_sidewise_completion sidewise; printf "%s\\n" "${COMPREPLY[@]}"'
    )
    env = {**os.environ, "PATH": f"{programs}{os.pathsep}{os.environ['PATH']}"}
    done = subprocess.run([bash, "--norc", "-c", asked], capture_output=True, text=True,
                          check=False, env=env)  # fmt: skip
    assert set(done.stdout.split()) == offered, done.stderr


def test_an_unknown_shell_is_refused_with_those_there_are() -> None:
    done = run("completion", "tcsh")
    assert done.returncode == 2
    assert "bash" in done.stderr


@pytest.mark.parametrize("columns", [60, 80])
def test_a_note_is_as_wide_as_the_window(columns: int) -> None:
    done = run("note", str(FROZEN), COLUMNS=str(columns))
    long = [line.strip() for line in done.stdout.splitlines() if len(line) > columns]
    # One word that is longer than a line, an address, is not broken.
    assert [line for line in long if " " in line] == []
    assert "\x1b" not in done.stdout


def test_columns_that_are_no_number_are_ignored() -> None:
    wide = max(map(len, run("note", str(FROZEN), COLUMNS="wide").stdout.splitlines()))
    assert 80 < wide <= 100


def test_no_colour_where_none_is_wanted() -> None:
    done = run("--help", NO_COLOR="1", TERM="xterm-256color", FORCE_COLOR="1")
    assert done.returncode == 0
    assert "\x1b" not in done.stdout


def test_verify_says_what_it_found_as_json(tmp_path: Path) -> None:
    done = run("verify", "--json", SIDEWISE_HOME=str(tmp_path / "home"))
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    Draft202012Validator(schema_of("sidewise-verification/1")).validate(found)
    assert (found["whole"], found["records"], found["problems"]) == (True, 0, [])


def test_a_note_in_german_and_a_language_there_is_not() -> None:
    done = run("note", str(FROZEN), "--as", "line", "--language", "de")
    assert "Schulter links" in done.stdout
    wrong = run("note", str(FROZEN), "--language", "xx")
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert "--language" in wrong.stderr
    assert "en (English), de (Deutsch)" in wrong.stderr
