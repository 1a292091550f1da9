"""Sheets of paper as one HTML page that needs nothing else: each section is a page of its own."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from importlib.resources import files


def sheets_page(title: str, sections: Iterable[str]) -> str:
    """The sections below a title. sections: HTML, already escaped."""
    style = files("sidewise.teaching.report").joinpath("printed_sheets.css")
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style.read_text(encoding='utf-8')}</style></head>"
        f"<body><main><h1>{escape(title)}</h1>{''.join(sections)}</main></body></html>\n"
    )


def sheet_section(heading: str, whom: str, body: str) -> str:
    """One sheet: its heading, for whom it is, and its body in HTML."""
    return f'<section><h2>{escape(heading)}</h2><p class="for">{escape(whom)}</p>{body}</section>'
