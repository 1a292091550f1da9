"""What a command imports: what it needs, and not what the others need."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from sidewise.commands import NAMES, command, wanted_commands
from sidewise.start_up import ANSWERS, THREADS, end_at_once

ROOT = Path(__file__).parents[2]
WEEK = "examples/marks/teaching_week_marks.csv"
CODE = """
import contextlib, io, sys
sys.argv = ["sidewise", *sys.argv[1:]]
from sidewise.cli import main
with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
    main()
import os
print(*(name for name in ("numpy", "scipy.stats", "pandas", "pyarrow", "yaml", "pydantic",
                          "django", "sidewise.commands.demo") if name in sys.modules))
print(*(os.environ.get(name) for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")))
"""


def after(*words: str, **more: str) -> list[str]:
    """Which heavy modules are imported once the command is done, and the threads set."""
    env = {**environment(), **more}
    done = subprocess.run([sys.executable, "-c", CODE, *words], cwd=ROOT, check=True,
                          capture_output=True, text=True, env=env)  # fmt: skip
    return done.stdout.split("\n")[:2]


def environment() -> dict[str, str]:
    import os

    return {name: text for name, text in os.environ.items() if name not in THREADS}


@pytest.mark.parametrize(
    ("words", "imported"),
    [
        (("--help",), "sidewise.commands.demo"),
        (("check", "examples/frozen.json"), "pydantic"),
        (("interpret", "examples/frozen.json", "--draws", "100"), "numpy pydantic"),
        (("marks", WEEK, "--draws", "0"), "numpy pandas yaml pydantic"),
    ],
)  # fmt: skip
def test_a_command_imports_what_it_needs(words: tuple[str, ...], imported: str) -> None:
    # The first run of a region may have to pack it, and reads YAML for that.
    after("check", "examples/frozen.json")
    assert after(*words)[0] == imported


@pytest.mark.parametrize("name", ["week.parquet", "really.csv"])
def test_a_parquet_table_gets_the_library_that_reads_it(tmp_path: Path, name: str) -> None:
    table = tmp_path / name
    pandas = pytest.importorskip("pandas")
    pandas.read_csv(ROOT / WEEK, dtype=str).to_parquet(table)
    assert "pyarrow" in after("marks", str(table), "--draws", "0")[0].split()


def test_the_report_is_the_same_with_and_without_columns_of_pyarrow() -> None:
    words = [sys.executable, "-c", "", "marks", WEEK, "--json", "--draws", "100"]
    printed = []
    for first in ("", "import pandas, sys; assert 'pyarrow' in sys.modules; "):
        words[2] = f"{first}from sidewise.cli import main; main()"
        done = subprocess.run(words, cwd=ROOT, check=True, capture_output=True, text=True,
                              env=environment())  # fmt: skip
        printed.append(done.stdout)
    assert printed[0] == printed[1]
    assert len(printed[0]) > 100_000


def test_small_matrices_get_one_thread_unless_somebody_wants_more() -> None:
    assert after("--help")[1] == "1 1"
    assert after("--help", OPENBLAS_NUM_THREADS="2")[1] == "2 1"


def test_each_command_has_its_module_and_only_it_is_wanted() -> None:
    for name in NAMES:
        assert command(name).__name__.rstrip("_") == name.replace("-", "_")
        assert wanted_commands([name, "--help"]) == (name,)
    assert len(NAMES) == 24
    for words in ([], ["--help"], ["chek"], ["--version"]):
        assert wanted_commands(words) == NAMES


def run_program(*words: str) -> subprocess.CompletedProcess[str]:
    """The installed program with these words; an end that takes everything down says so."""
    code = (
        "import atexit, sys; atexit.register(print, 'taken down');"
        "sys.argv = ['sidewise', *sys.argv[1:]];"
        "from sidewise.cli import program; program()"
    )
    return subprocess.run([sys.executable, "-c", code, *words], cwd=ROOT, check=False,
                          capture_output=True, text=True, env=environment())  # fmt: skip


def test_an_answer_is_whole_before_its_process_ends_at_once() -> None:
    done = run_program("interpret", "examples/frozen.json", "--json", "--draws", "100")
    assert done.returncode == 0
    assert json.loads(done.stdout)["record"]  # All of it, through a pipe, and nothing after.
    assert done.stderr == ""


def test_the_status_survives_an_end_at_once() -> None:
    incomplete = run_program("check", "examples/frozen.json")
    assert incomplete.returncode == 1
    assert "taken down" not in incomplete.stdout
    broken = run_program("check", "examples/marks/broken_marks_not_there.csv")
    assert broken.returncode == 2
    assert broken.stderr


def test_a_command_that_may_start_others_ends_as_usual() -> None:
    assert "taken down" in run_program("--version").stdout


def test_nothing_ends_at_once_while_other_threads_work(monkeypatch: pytest.MonkeyPatch) -> None:
    ends: list[int] = []
    monkeypatch.setattr(os, "_exit", ends.append)
    release = threading.Event()
    worker = threading.Thread(target=release.wait)
    worker.start()
    end_at_once("check", 0)
    release.set()
    worker.join()
    assert ends == []
    # Whatever threads an earlier test of this process left behind.
    monkeypatch.setattr(threading, "active_count", lambda: 1)
    for word, status in (("demo", 0), ("check", "a text"), ("backup", None)):
        end_at_once(word, status)
    assert ends == []
    end_at_once("check", 1)
    end_at_once("marks", None)
    assert ends == [1, 0]
    assert set(ANSWERS) - {"--help"} <= set(NAMES)
