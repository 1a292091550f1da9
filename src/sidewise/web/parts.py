"""A part of the program: a Django app that says for whom it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from django.apps import AppConfig


@dataclass(frozen=True, slots=True)
class Door:
    """Where a part is entered: for the bar of pages and for the first page after signing in."""

    page: str
    """The name of the page."""
    label: str
    """The word in the bar."""
    roles: frozenset[str]
    """To whom it is shown; who sees it may open it."""
    title: str
    """On the first page."""
    says: str
    """What is there, in a sentence."""


class Part(AppConfig):
    """One of our own apps. Who says nothing lets nobody in.

    Import the module, not the class: Django takes the one AppConfig that stands in an `apps.py`,
    and none where there are two.
    """

    roles: ClassVar[frozenset[str] | None] = frozenset()
    """The roles that may open its pages at all; None for whoever has an account."""
    doors: ClassVar[tuple[Door, ...]] = ()
    """Where it is entered, in the order in which they are shown."""
    at_an_examination: ClassVar[tuple[Door, ...]] = ()
    """Where it is entered from one examination, for who may write into it; the page takes `pk`."""
