"""`sidewise blank-form`: a form for paper, to be typed back."""

from __future__ import annotations

from pathlib import Path

import typer

from sidewise.ground.language import ENGLISH, LANGUAGES, chosen_language, speak


def blank_form(
    visit: str = typer.Option("", help="The kind of visit, such as short; the full one if none."),
    region: str = typer.Option("", help="The region; may be left out where there is one."),
    language: str = typer.Option(ENGLISH, help=f"One of {', '.join(LANGUAGES)}."),
    out: Path | None = typer.Option(None, "-o", "--out", help="Write to this file."),
) -> None:
    """A blank form of a kind of visit as HTML, to print for when there is no tablet."""
    from sidewise.commands.writing import write_out
    from sidewise.note.blank_form import form_for_paper
    from sidewise.note.blank_page import blank_html
    from sidewise.protocol import protocol_of
    from sidewise.regions import regions

    chosen = regions().chosen(region)
    kind = protocol_of(chosen).visits.kind(visit or None)
    with speak(chosen_language(language)):
        write_out(blank_html(form_for_paper(chosen, kind)), out)
