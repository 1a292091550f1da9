"""A form or a script's request whose anti-forgery token does not fit the session any more.

Mostly the page is from before somebody signed in again in another tab: a new session has a new
token. It may be another person's session, so nothing of the request is done.
"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from sidewise.web.accounts.sessions import asked_by_page, signed_out_answer


def refuse_former_page(request: HttpRequest, reason: str = "") -> HttpResponse:
    """To a script as if nobody were signed in: it keeps what it has and blanks the page."""
    if asked_by_page(request):
        return signed_out_answer()
    return render(request, "accounts/former_page.html", status=403)
