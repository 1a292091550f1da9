"""What a command of seconds is spared at its start; nothing here changes a result.

Called before anything heavy is imported, by commands alone: a program that imports `sidewise`
keeps its own settings.
"""

from __future__ import annotations

import gc
import os

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
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
