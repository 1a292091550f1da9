"""Writing a file in one go: the old one stays until the new one is whole."""

from __future__ import annotations

import os
from pathlib import Path

from sidewise.errors import UserError


def write_text(path: Path, text: str) -> None:
    """Write `text` beside `path` and move it there; `UserError` if it cannot be written."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, content: bytes) -> None:
    """The same for what is no text."""
    # Here and not above: most starts write nothing.
    import tempfile

    try:
        handle, name = tempfile.mkstemp(dir=path.parent or Path("."), prefix=f".{path.name}")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except OSError as error:
        raise UserError(
            str(path), error.strerror or "no such place", "a place that can be written", ""
        ) from error
