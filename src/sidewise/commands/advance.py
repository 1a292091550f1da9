"""How far long work has come, on a terminal; nothing where nobody looks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def show_progress(what: str, total: int | None) -> Iterator[Callable[[int], None]]:
    """A function to call with how many are done. total: None where it is not known."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    shown = console.is_terminal
    with Progress(*columns, console=console, disable=not shown, transient=True) as progress:
        task = progress.add_task(what, total=total)
        yield lambda done: progress.update(task, completed=done)
