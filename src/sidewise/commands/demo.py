"""`sidewise demo`: the invented island clinic, printed or opened as pages."""

from __future__ import annotations

from pathlib import Path

import typer

EXAMPLES = Path(__file__).resolve().parents[3] / "examples"


def demo(
    to_print: bool = typer.Option(False, "--print", help="Print the examples' results and stop."),
    port: int = typer.Option(8790, help="Port to serve on; the next free one if it is taken."),
    browser: bool = typer.Option(True, "--browser/--no-browser", help="Open a browser."),
) -> None:
    """Load the invented clinic and open it; or print what the program says of its patients."""
    from sidewise.errors import UserError

    if not EXAMPLES.is_dir():
        do = "The invented clinic is kept in the repository's examples folder."
        raise UserError("demo", "no examples folder", "a clone of the repository", do)
    if to_print:
        print_examples()
        return
    from sidewise.web.demo import serve_clinic

    serve_clinic(EXAMPLES, port=port, open_browser=browser)


def print_examples() -> None:
    """Check, interpretation and note of every example, one after the other."""
    from sidewise.note import completeness, note_text
    from sidewise.note.meaning import meaning_text
    from sidewise.reason import interpret
    from sidewise.record import read_record

    for path in sorted(EXAMPLES.glob("*.json")):
        record = read_record(path)
        result = interpret(record)
        typer.echo(f"\n{'=' * 100}\n{completeness(record).text(path.name)}")
        typer.echo(f"{'-' * 100}\n{meaning_text(result)}")
        typer.echo(f"{'-' * 100}\n{note_text(record, result)}")
