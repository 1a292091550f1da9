"""The `sidewise` command: a thin table of commands.

Each command lives in its own module under `sidewise.commands`, imports only Typer at the top and
does its heavy imports inside the function; the modules of the others are not imported at all.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Any

import typer

from sidewise import __version__
from sidewise.commands import NAMES, command, wanted_commands
from sidewise.errors import UserError
from sidewise.start_up import COMPLETING, end_at_once, settle


def root(
    version: bool = typer.Option(False, "--version", help="Print the version and stop."),
) -> None:
    """Supports a licensed clinician or a supervised learner; it does not diagnose."""
    if version:
        typer.echo(f"sidewise {__version__}")
        raise typer.Exit


def command_line(names: Sequence[str] = NAMES) -> typer.Typer:
    """The command line with these of the commands."""
    made = typer.Typer(
        name="sidewise",
        help="Both sides examined in order, compared, weighed, written down and followed.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
    )
    made.callback(invoke_without_command=True)(root)
    for name in names:
        made.command(name)(command(name))
    return made


def __getattr__(name: str) -> Any:
    """`app`: the whole command line, made when somebody asks for it."""
    if name != "app":
        raise AttributeError(name)
    return command_line()


def main() -> None:
    """Run the command line; people's errors end with status 2 and no traceback."""
    settle()
    if COMPLETING in os.environ:
        from typer.completion import completion_init  # type: ignore[attr-defined]

        completion_init()
    try:
        command_line(wanted_commands(sys.argv[1:]))()
    except UserError as error:
        print(error.message, file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        # The reader of a pipe has gone; nothing more to say to it.
        sys.stderr.close()
        sys.exit(0)


def program() -> None:
    """The installed program: `main`, and then an end at once where the command allows it."""
    try:
        main()
    except SystemExit as end:
        end_at_once(next(iter(sys.argv[1:]), ""), end.code)
        raise
