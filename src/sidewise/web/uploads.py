"""Files that are sent: in memory only, and never more than the settings say."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.files.uploadhandler import MemoryFileUploadHandler, StopUpload

TOO_LARGE = "upload_was_too_large"
"""Set on a request whose files were not taken for their size."""


class BoundedUpload(MemoryFileUploadHandler):
    """Takes files into memory; where a request is larger than allowed, none of them."""

    def handle_raw_input(
        self, input_data: Any, META: dict[str, Any], content_length: int, boundary: Any,
        encoding: str | None = None,
    ) -> None:  # fmt: skip
        """As Django's; what is too large is noted on the request, for the view to say."""
        super().handle_raw_input(input_data, META, content_length, boundary, encoding)
        if not self.activated:
            setattr(self.request, TOO_LARGE, True)

    def new_file(self, *args: Any, **more: Any) -> None:
        """As Django's; nothing of a file that is not taken is read on."""
        if not self.activated:
            raise StopUpload(connection_reset=False)
        super().new_file(*args, **more)


def was_too_large(request: Any) -> bool:
    """Whether files came with the request and were not taken for their size."""
    return bool(getattr(request, TOO_LARGE, False))


def most_bytes() -> int:
    """The most that a request with files may hold."""
    return int(settings.FILE_UPLOAD_MAX_MEMORY_SIZE)
