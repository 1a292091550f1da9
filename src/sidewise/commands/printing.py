"""How a command prints a document for other programs."""

from __future__ import annotations

import json
from typing import Any

import typer


def print_document(format_name: str, found: Any) -> None:
    """A result as JSON that names its format."""
    from sidewise.schemas.documents import document

    typer.echo(json.dumps(document(format_name, found), indent=1, ensure_ascii=False))
