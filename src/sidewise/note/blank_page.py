"""The blank form as HTML for paper; every word escaped, nothing fetched."""

from __future__ import annotations

from html import escape
from pathlib import Path

from sidewise.note.blank_form import HOW_TO_TYPE, BlankForm, BlankRow, BlankStage

BLANK_STYLE = Path(__file__).parent / "static" / "sidewise" / "blank.css"
PAGE_STYLE = "body { font: 1rem/1.4 system-ui, sans-serif; margin: 1rem auto; max-width: 52rem }"


def blank_html(form: BlankForm) -> str:
    """The form as a page of its own."""
    style = PAGE_STYLE + BLANK_STYLE.read_text(encoding="utf-8")
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(form.title)}</title>"
        f'<meta name="viewport" content="width=device-width"><style>{style}</style></head>'
        f'<body><main class="blank">{blank_body(form)}</main></body></html>'
    )


def blank_body(form: BlankForm) -> str:
    """The form without page and style, for a page that has its own."""
    said = (words for words in (form.heading, form.before, HOW_TO_TYPE) if words)
    questions = "".join(_question(label) for label in form.questions)
    return (
        f"<h1>{escape(form.title)}</h1>{''.join(f'<p>{escape(words)}</p>' for words in said)}"
        f"{_blanks(form.head)}"
        f'<section><h2>history: circle one</h2><ul class="asked">{questions}</ul></section>'
        f"<section><h2>vital signs</h2>{_blanks(form.vitals)}</section>"
        f"{''.join(_stage(stage) for stage in form.stages)}"
        '<section class="own"><h2>impression, plan, next visit</h2></section>'
    )


def _blanks(labels: tuple[str, ...]) -> str:
    cells = "".join(f"<li><span>{escape(label)}</span></li>" for label in labels)
    return f'<ul class="blanks">{cells}</ul>' if cells else ""


def _question(label: str) -> str:
    return f"<li><span>{escape(label)}</span> <b>yes</b> <b>no</b> <b>unsure</b></li>"


def _stage(stage: BlankStage) -> str:
    head = (
        "<tr><th scope=col>patient's RIGHT</th><th scope=col>item</th>"
        "<th scope=col>patient's LEFT</th></tr>"
    )
    where = f"Patient: {stage.patient} You: {stage.examiner}"
    rows = "".join(_row(row) for row in stage.rows)
    return (
        f"<section><h2>{escape(stage.title)}</h2><p>{escape(where)}</p>"
        f"<table><thead>{head}</thead><tbody>{rows}</tbody></table></section>"
    )


def _row(row: BlankRow) -> str:
    mode = f", {escape(row.mode)}" if row.mode else ""
    typed = f"{row.name} {row.mode}" if row.mode else row.name
    words = " | ".join(row.words)
    name = "" if row.name == row.label and not row.mode else f"<b>{escape(typed)}</b> "
    item = f"{escape(row.label)}{mode} <span>{name}{escape(words)}</span>"
    if not row.paired:
        # The whole person: under neither side, so that it is read as of neither.
        return f"<tr><th scope=row colspan=3 class=whole>{item}</th></tr>"
    return f"<tr><td></td><th scope=row>{item}</th><td></td></tr>"
