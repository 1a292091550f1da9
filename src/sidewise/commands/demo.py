"""`sidewise demo`: the invented island clinic, printed or opened as pages."""

from __future__ import annotations

import shutil
from pathlib import Path

import typer

from sidewise.errors import UserError

PACKAGE = Path(__file__).resolve().parents[1]


def examples_folder() -> Path:
    """The invented clinic's files: in the installed package, or at the top of a clone."""
    installed = PACKAGE / "examples"
    return installed if installed.is_dir() else PACKAGE.parents[1] / "examples"


def demo(
    files: Path | None = typer.Option(
        None, "--files", metavar="FOLDER", help="Copy the example files to a new folder and stop."
    ),
    to_print: bool = typer.Option(False, "--print", help="Print the examples' results and stop."),
    port: int = typer.Option(8790, help="Port to serve on; the next free one if it is taken."),
    browser: bool = typer.Option(True, "--browser/--no-browser", help="Open a browser."),
) -> None:
    """Load the invented clinic and open it; or print the results for its patients."""
    examples = examples_folder()
    if not examples.is_dir():
        do = "Install the package again; its examples are missing."
        raise UserError("demo", "no examples folder", str(examples), do)
    if files is not None:
        copy_examples(examples, files)
        return
    if to_print:
        print_examples(examples)
        return
    from sidewise.web.demo import serve_clinic

    serve_clinic(examples, port=port, open_browser=browser)


def copy_examples(examples: Path, to: Path) -> None:
    """The example files copied into a new folder, to try the commands on."""
    if to.exists():
        raise UserError("--files", str(to), "a folder that does not exist yet", "Name another.")
    shutil.copytree(examples, to)
    typer.echo(f"The examples were copied to {to}. Try: sidewise interpret {to / 'frozen.json'}")


def print_examples(examples: Path) -> None:
    """Check, interpretation and note of every example, one after the other."""
    from sidewise.note import completeness, note_text
    from sidewise.note.meaning import meaning_text
    from sidewise.reason import interpret
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions

    for path in sorted(examples.glob("*.json")):
        record = read_record(path, regions())
        region = region_of_record(record)
        result = interpret(record, region)
        typer.echo(f"\n{'=' * 100}\n{completeness(record, region).text(path.name)}")
        typer.echo(f"{'-' * 100}\n{meaning_text(result)}")
        typer.echo(f"{'-' * 100}\n{note_text(record, result, region)}")
