"""What a view says of itself to the rooms below it, which must not know it by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

View = TypeVar("View", bound=Callable[..., Any])


class Mark:
    """A decorator that only notes which views carry it, and tells whether one does.

    Views are noted by module and name: whatever is wrapped around one afterwards keeps both.
    """

    def __init__(self) -> None:
        self.views: set[str] = set()

    def __call__(self, view: View) -> View:
        self.views.add(_name_of(view))
        return view

    def __contains__(self, view: object) -> bool:
        return _name_of(view) in self.views


def _name_of(view: Any) -> str:
    # What is no function (a partial, an object that is called) goes by its class.
    return f"{view.__module__}.{getattr(view, '__qualname__', type(view).__qualname__)}"
