"""`sidewise note`: the note of one examination, for a colleague to act on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from sidewise.ground.language import ENGLISH, LANGUAGES, chosen_language, speak
from sidewise.ground.settings import SETTINGS

if TYPE_CHECKING:
    from sidewise.knowledge.region import Region
    from sidewise.record import Record

FORMS = ("text", "html", "line", "pdf", "letter", "leaflet", "fhir", "evidence")
DRAWS = 500
"""As `sidewise interpret` takes them."""


def note(
    exam: Path = typer.Argument(..., help="An examination (JSON), or - for standard input."),
    form: str = typer.Option("text", "--as", help=f"{', '.join(FORMS)}."),
    out: Path | None = typer.Option(None, "-o", "--out", help="Write to this file."),
    setting: str = typer.Option("", help=f"One of {', '.join(SETTINGS)}."),
    language: str = typer.Option(ENGLISH, help=f"One of {', '.join(LANGUAGES)}."),
    earlier: list[Path] = typer.Option(
        [], "--after", help="An earlier visit (JSON), for the course; may be repeated."
    ),
    edited: Path | None = typer.Option(
        None, help="A leaflet's text as you have edited it, to be printed."
    ),
    codes: Path | None = typer.Option(
        None, help="Your own codes for FHIR (CSV: item, side, mode, system, code)."
    ),
) -> None:
    """Write the note: one page to act on, then everything; or a line, a letter, a leaflet."""
    from sidewise.commands.writing import write_out
    from sidewise.errors import UserError
    from sidewise.note import note_html, note_text, referral_line
    from sidewise.reason import interpret
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions

    writers = {"text": note_text, "html": note_html, "line": referral_line}
    if form not in FORMS:
        raise UserError("--as", form, " or ".join(FORMS))
    spoken = chosen_language(language)
    if spoken != ENGLISH and form not in writers:
        raise UserError("--language", language, f"{ENGLISH}, for {form}",
                        f"Other languages: --as {', '.join(writers)}.")  # fmt: skip
    record = read_record(exam, regions())
    region = region_of_record(record)
    visits = [read_record(one, regions()) for one in earlier]
    if form == "leaflet":
        _write_leaflet(record, region, visits, out, edited)
        return
    if form in writers:
        result = interpret(record, region, setting=setting or None)
        with speak(spoken):
            write_out(writers[form](record, result, region), out)
        return
    if form == "evidence":
        _write_evidence(record, region, out, setting)
        return
    if form == "fhir":
        from sidewise.exchange.fhir.bundle import bundle_json
        from sidewise.protocol.outside_codes import read_outside_codes

        own = read_outside_codes(codes, region) if codes else ()
        write_out(bundle_json(record, interpret(record, region, setting=setting or None), region,
                              own), out)  # fmt: skip
        return
    _write_paper(form, record, region, visits, out, setting)


def _write_paper(
    form: str, record: Record, region: Region, visits: list[Record], out: Path | None, setting: str
) -> None:
    from sidewise.commands.writing import write_bytes_out
    from sidewise.documents.papers import letter_pdf, note_pdf
    from sidewise.ground.extras import require_extra
    from sidewise.reason import interpret

    require_extra("documents", "a PDF")
    result = interpret(record, region, setting=setting or None)
    if form == "letter":
        write_bytes_out(letter_pdf(record, result, region), out, ".pdf")
    else:
        write_bytes_out(note_pdf(record, result, region, visits), out, ".pdf")


def _write_evidence(record: Record, region: Region, out: Path | None, setting: str) -> None:
    """As text or PDF to be read, or as JSON, from which the interpretation can be made again."""
    from sidewise.commands.writing import write_bytes_out, write_out
    from sidewise.documents.papers import evidence_pdf
    from sidewise.note.evidence import evidence_document
    from sidewise.note.text import document_text
    from sidewise.reason import interpret
    from sidewise.reason.reproduction import evidence_file

    result = interpret(record, region, setting=setting or None, draws=DRAWS)
    suffix = out.suffix.lower() if out else ""
    if suffix == ".pdf":
        write_bytes_out(evidence_pdf(record, result, region), out, ".pdf")
    elif suffix == ".json":
        write_out(evidence_file(record, result, DRAWS, setting or None), out)
    else:
        write_out(document_text(evidence_document(record, result, region)), out)


def _write_leaflet(
    record: Record, region: Region, visits: list[Record], out: Path | None, edited: Path | None
) -> None:
    """The draft as text to be edited, or as PDF; an edited text as PDF without the draft's head."""
    from sidewise.commands.writing import read_text, write_bytes_out, write_out
    from sidewise.documents.leaflet import draft_leaflet, leaflet_pdf, parse_leaflet
    from sidewise.documents.readability import reading_age
    from sidewise.reason import interpret

    leaflet = parse_leaflet(read_text(edited)) if edited else draft_leaflet(record, region, visits)
    if out is not None and out.suffix == ".pdf":
        write_bytes_out(leaflet_pdf(leaflet, record, draft=edited is None), out, ".pdf")
    else:
        write_out(leaflet.text.rstrip(), out)
    raised = [f for f in interpret(record, region).red_flags if f.status == "raised"]
    for flag in raised:
        typer.echo(f"RAISED: {flag.label} ({flag.urgency}). {flag.do}", err=True)
    if edited is None:
        typer.echo(
            "A draft: read it, edit it, then print it with --edited FILE -o x.pdf.", err=True
        )
    age = reading_age(leaflet.text)
    typer.echo(f"Reading age about {age:.0f} (Flesch-Kincaid grade plus 5; aim: 12).", err=True)
