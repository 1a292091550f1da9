"""Log lines: UTC, one event a line, and never the values that an error was raised with.

A traceback of a failed fold would print what was found in a patient: only where it happened and
the kind of error are written.
"""

from __future__ import annotations

import logging
import time
import traceback
from types import TracebackType

Raised = tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None]


class OneLine(logging.Formatter):
    """One line an event; control characters cannot start a new one."""

    converter = staticmethod(time.gmtime)
    default_time_format = "%Y-%m-%dT%H:%M:%S"
    default_msec_format = "%s.%03dZ"

    def format(self, record: logging.LogRecord) -> str:
        """As usual, made printable."""
        text = super().format(record)
        return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)

    def formatException(self, ei: Raised) -> str:
        """Places and the class of the error, no values."""
        if ei[0] is None:
            return "no error"
        frames = traceback.extract_tb(ei[2])[-6:]
        where = " < ".join(f"{f.filename.rsplit('/', 1)[-1]}:{f.lineno}" for f in reversed(frames))
        return f"{ei[0].__name__} at {where}"
