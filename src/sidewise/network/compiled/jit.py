"""How compiled code is compiled, and where the result is kept.

numba keeps what it compiled on disk, but looks only at the file of the function that was called,
not at the files of those it calls: a changed `tables` would go unnoticed. So the folder's name
holds a hash of all files that compiled code is made from. Every compiled module imports this one.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

from numba import config, njit

from sidewise.network import normal

Function = TypeVar("Function", bound=Callable[..., Any])


def _kept_in() -> Path:
    """$NUMBA_CACHE_DIR, or the folder where Python keeps its own compiled files."""
    here = Path(__file__).parent
    digest = hashlib.sha256()
    # `normal` gives compiled code its coefficients, which numba freezes into what it keeps.
    for path in (Path(normal.__file__), *sorted(here.glob("*.py"))):
        digest.update(path.read_bytes())
    base = os.environ.get("NUMBA_CACHE_DIR") or here / "__pycache__"
    return Path(base) / f"compiled-{digest.hexdigest()[:12]}"


config.CACHE_DIR = str(_kept_in())


def compiled(function: Function) -> Function:
    """Compiled when first called, kept on disk; other threads run meanwhile."""
    return cast(Function, njit(**_OPTIONS)(function))


def inlined(function: Function) -> Function:
    """The same, written into its callers, so that their loops become vector instructions."""
    return cast(Function, njit(forceinline=True, **_OPTIONS)(function))


def over_cores(function: Function) -> Function:
    """The same, with `prange` loops on all cores; not for two callers at once."""
    return cast(Function, njit(parallel=True, **_OPTIONS)(function))


# A product and a sum may be rounded once instead of twice; nothing else may be reordered,
# or impossible evidence could not be told from a lost digit.
_OPTIONS: dict[str, Any] = {
    "cache": True,
    "nogil": True,
    "fastmath": {"contract"},
    "error_model": "numpy",
}
