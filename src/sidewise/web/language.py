"""In which language a request is answered: what its person chose, else what the machine is set to.

A browser's wish is not enough: a translation that no clinician has reviewed is taken by choice.
"""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation

from sidewise.ground.language import LANGUAGES, is_unreviewed, language, speak

CHOSEN = "language"
"""In the session."""


class ChooseLanguage:
    """Middleware: the words of the pages, and of the rooms below, for the time of one request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        code = request.session.get(CHOSEN) or settings.LANGUAGE
        chosen = code if code in LANGUAGES else settings.LANGUAGE
        with speak(chosen), translation.override(chosen):
            return self.get_response(request)


def language_on_page(_request: HttpRequest) -> dict[str, object]:
    """For every template: the language of the page, and whether it is an unreviewed one."""
    return {"language": language(), "is_unreviewed": is_unreviewed(language())}
