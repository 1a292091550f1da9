"""Parts that are installed only where somebody wants them; their absence is said in words.

The bedside needs none of them. `pyproject.toml` names the same extras; a test holds the two lists
together.
"""

from __future__ import annotations

from importlib.util import find_spec

from sidewise.errors import UserError

EXTRAS: dict[str, tuple[str, ...]] = {
    "marks": ("pandas", "openpyxl", "pyarrow"),
    "batch": ("pandas", "pyarrow"),
    "tables": ("openpyxl", "pyarrow"),
    "documents": ("typst",),
    "cluster": ("distributed",),
    "pictures": ("matplotlib",),
    "motion": ("ezc3d",),
    "compiled": ("numba",),
    "department": ("psycopg", "gunicorn"),
    "single-sign-on": ("authlib", "requests"),
    "planning": ("ortools", "icalendar"),
    "practice": ("fsrs",),
}
"""The modules of each extra that are imported."""


def missing_modules(extra: str) -> tuple[str, ...]:
    """The modules of an extra that are not installed here."""
    return tuple(name for name in EXTRAS[extra] if not _is_there(name))


def _is_there(name: str) -> bool:
    try:
        return find_spec(name) is not None
    except ModuleNotFoundError:  # of a module inside a package that is not there
        return False


def require_extra(extra: str, purpose: str) -> None:
    """UserError with the command that adds an extra, where it is not installed.

    purpose: what was asked for, in words, such as "a table of marks".
    """
    absent = missing_modules(extra)
    if absent:
        raise UserError(
            purpose,
            f"not installed here: {', '.join(absent)}",
            f"the extra `{extra}`",
            f"Add it with: python -m pip install 'sidewise[{extra}]'",
        )
