"""Scripts and style sheets go compressed where nothing was collected beforehand, as on a laptop."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware


class CompressStatic(GZipMiddleware):
    """Of static files alone: they hold no secret that a length could tell."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        """As Django's; what is collected in a department is there compressed already."""
        if not request.path.startswith(f"/{settings.STATIC_URL.lstrip('/')}"):
            return response
        return super().process_response(request, response)
