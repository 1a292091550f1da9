"""The page of an unexpected error: in words where the store has failed, else saying nothing."""

from __future__ import annotations

import sys

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.views.defaults import server_error

from sidewise.web import storage

PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<title>Not saved - sidewise</title></head><body><main id="main"><h1>Not saved</h1>
<p role="alert">{words} What you just entered was not saved; everything confirmed before is kept.
Tell whoever runs the service, then try again.</p></main></body></html>"""


def failed(request: HttpRequest) -> HttpResponse:
    """503 in words for a store that has failed: a tablet keeps what it sent and tries again."""
    error = sys.exc_info()[1]
    known = isinstance(error, DatabaseError | OSError)
    trouble = storage.trouble_in(error) if error is not None and known else None
    if trouble is None:
        return server_error(request)
    storage.note(trouble)
    return HttpResponse(PAGE.format(words=trouble.page), status=503, headers={"Retry-After": "30"})
