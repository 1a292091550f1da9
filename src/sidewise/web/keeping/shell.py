"""Makes the web project's database usable from the command line."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

from sidewise.errors import UserError


def ready() -> None:
    """Set Django up, and bring the database up to date; in a new folder it is made."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
    import django

    django.setup()
    from sidewise.web.keeping.upkeep import bring_up_to_date

    bring_up_to_date()


@contextmanager
def store(what: str, *, alone: bool = False) -> Iterator[None]:
    """The database made ready; whatever it or the disk fails with is said in words.

    `what` is told to a restore that finds the folder in use; `alone` is how a restore asks for it.
    """
    with said_in_words():
        from sidewise.web.keeping import place

        with place.held(what, alone=alone):
            ready()
            yield


@contextmanager
def said_in_words() -> Iterator[None]:
    """What the store or the disk fails with in this block becomes a `UserError`."""
    # Known before Django is: a folder that cannot be written must not end in a traceback.
    from django.db import DatabaseError

    try:
        yield
    except (DatabaseError, OSError, UnicodeDecodeError) as error:
        raise in_words(error) from error


def in_words(error: Exception) -> UserError:
    """What failed and what to do about it; never a value of a row."""
    from sidewise.web.storage import trouble_in

    text = str(error).splitlines()[0] if str(error) else type(error).__name__
    trouble = trouble_in(error)
    do = trouble.do if trouble else "Look at the disk and at the service log; nothing was changed."
    return UserError("the store", text, "a database and a data folder that can be used", do)
