"""A paper as PDF: PDF/A-2b, to be kept for years, and PDF/UA-1, to be read with a screen reader.

Typst checks both while it writes and refuses what would break them (a picture without a text, a
paper without a title or a language). Only the fonts that it carries are used; nothing is fetched.
What stands in a paper is data, never text of a template: no word of a patient is read as markup.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sidewise.ground.extras import require_extra

TEMPLATES = Path(__file__).parent / "templates"
STANDARDS = ["a-2b", "ua-1"]
PAPERS = ("note", "letter", "leaflet")


class PaperError(RuntimeError):
    """A paper could not be set: a fault of ours, with what the typesetter said."""


def print_pdf(paper: str, data: Mapping[str, Any], *, made: datetime | None = None) -> bytes:
    """The paper as PDF. made: the moment that stands in the file; the same gives the same bytes.

    UserError where the typesetter is not installed.
    """
    require_extra("documents", "a PDF")
    compiler = _compiler(paper, data)
    moment = (made or datetime.now(UTC)).astimezone(UTC).replace(microsecond=0)
    return _checked(compiler, format="pdf", pdf_standards=STANDARDS, timestamp=moment)


def count_pages(paper: str, data: Mapping[str, Any]) -> int:
    """How many pages the paper has."""
    require_extra("documents", "a PDF")
    found = json.loads(_compiler(paper, data).query("<pages>", field="value", one=True))
    return int(found)


def _compiler(paper: str, data: Mapping[str, Any]) -> Any:
    import typst

    assert paper in PAPERS
    inputs = {"data": json.dumps(data, ensure_ascii=False)}
    template = TEMPLATES / f"{paper}.typ"
    return typst.Compiler(
        template, root=TEMPLATES, font_paths=[], ignore_system_fonts=True, sys_inputs=inputs
    )


def _checked(compiler: Any, **wanted: Any) -> bytes:
    import typst

    try:
        made, warnings = compiler.compile_with_warnings(**wanted)
    except typst.TypstError as error:
        raise PaperError(f"{error.message} {' '.join(error.hints)}") from error
    if warnings:
        raise PaperError("; ".join(warning.message for warning in warnings))
    return bytes(made)
