"""What a command of seconds is spared at its start and its end; nothing here changes a result.

Called by commands alone: a program that imports `sidewise` keeps its own settings.
"""

from __future__ import annotations

import gc
import os
import sys
import threading
from collections.abc import Iterable
from pathlib import Path

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
COMPLETING = "_SIDEWISE_COMPLETE"
"""Set by a shell that asks what the words typed so far may go on with."""
YOUNG = 50_000
"""New objects between two searches for circles of garbage; Python's own is 700.

A start makes hundreds of thousands of objects that all stay: searching among them finds nothing.
"""


def settle() -> None:
    """One thread for tiny matrices, no plugins of pydantic, fewer searches for garbage."""
    # The matrices here have tens of rows: two threads wait for each other longer than they work.
    for name in THREADS:
        os.environ.setdefault(name, "1")
    # Looking for plugins reads the entry points of every library that is installed.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    gc.set_threshold(YOUNG, 20, 20)


def load_tables_library(files: Iterable[Path | None]) -> None:
    """Import pandas, without the columns of pyarrow unless one of these files may need them.

    pandas imports pyarrow wherever it is installed, and does without where it is not: texts are
    then kept as objects of Python. Both are the same to whoever reads them; of a table of a day
    the import is most of the time. Parquet needs pyarrow, and standard input ("-") may be Parquet.
    """
    if "pandas" in sys.modules or "pyarrow" in sys.modules or any(map(_may_need_arrow, files)):
        return
    # What stands here as None counts as not installed, for as long as the import takes.
    sys.modules["pyarrow"] = None  # type: ignore[assignment]
    try:
        import pandas  # noqa: F401
    finally:
        del sys.modules["pyarrow"]


def _may_need_arrow(file: Path | None) -> bool:
    # By content, as tables are opened: a Parquet file may be called anything.
    try:
        return file is not None and (not file.is_file() or _begins_as_parquet(file))
    except OSError:
        return True


def _begins_as_parquet(file: Path) -> bool:
    with file.open("rb") as opened:
        return opened.read(4) == b"PAR1"


ANSWERS = (
    "--help",
    "agree",
    "check",
    "follow",
    "interpret",
    "marks",
    "note",
    "plan",
    "read-line",
    "sources",
)
"""Commands that read, reckon and print, and start neither a server nor other processes."""


def end_at_once(word: str, status: object) -> None:
    """End the process of an answer with its status, once all that it printed has been sent.

    word: the first of the command line. To take down hundreds of thousands of objects one by one
    costs time, and the system frees them all the same. Returns, for an ordinary end, after any
    other command, while other threads run, and where a stream complains or the status is not a
    number.
    """
    code = 0 if status is None else status
    if word not in ANSWERS or not isinstance(code, int) or threading.active_count() > 1:
        return
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except (OSError, ValueError):
        return
    os._exit(code)
