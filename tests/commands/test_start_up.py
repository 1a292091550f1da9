"""What a command imports: what it needs, and not what the others need."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from sidewise.commands import NAMES, command, wanted_commands
from sidewise.start_up import THREADS

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
        assert command(name).__name__ == name.replace("-", "_")
        assert wanted_commands([name, "--help"]) == (name,)
    assert len(NAMES) == 18
    for words in ([], ["--help"], ["chek"], ["--version"]):
        assert wanted_commands(words) == NAMES
