"""The `sidewise` command: a thin table of commands.

Each command lives in its own module under `sidewise.commands`, imports only Typer at the top and
does its heavy imports inside the function, so that `sidewise --help` stays quick.
"""

from __future__ import annotations

import sys

import typer

from sidewise import __version__
from sidewise.commands import REGISTER
from sidewise.errors import UserError

app = typer.Typer(
    name="sidewise",
    help="Both sides examined in order, compared, weighed, written down and followed.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


@app.callback(invoke_without_command=True)
def root(
    version: bool = typer.Option(False, "--version", help="Print the version and stop."),
) -> None:
    """Supports a licensed clinician or a supervised learner; it does not diagnose."""
    if version:
        typer.echo(f"sidewise {__version__}")
        raise typer.Exit


for _name, _function in REGISTER.items():
    app.command(_name)(_function)


def main() -> None:
    """Run the command line; people's errors end with status 2 and no traceback."""
    try:
        app()
    except UserError as error:
        print(error.message, file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        # The reader of a pipe has gone; nothing more to say to it.
        sys.stderr.close()
        sys.exit(0)
