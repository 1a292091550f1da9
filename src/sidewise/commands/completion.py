"""`sidewise completion`: what makes a shell complete this program's commands and options."""

from __future__ import annotations

from enum import StrEnum

import typer


class Shell(StrEnum):
    """The shells there is a script for."""

    BASH = "bash"
    ZSH = "zsh"
    FISH = "fish"


def completion(
    shell: Shell = typer.Argument(..., help="The shell that is to complete."),
) -> None:
    """Print the script of a shell: eval "$(sidewise completion bash)" in its start file."""
    from typer.completion import get_completion_script  # type: ignore[attr-defined]

    from sidewise.start_up import COMPLETING

    typer.echo(
        get_completion_script(prog_name="sidewise", complete_var=COMPLETING, shell=shell.value)
    )
