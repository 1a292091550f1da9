"""The page with which a tablet is given the root: served without TLS, because it comes before it.

It holds nothing of any patient and leads to no page that does. What it hands out is compared by
eye with what the laptop shows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from string import Template
from typing import Any

from sidewise.web.tablet.authority import Authority

ROOT_PATH = "/root.crt"
STYLE_PATH = "/steps.css"
PAGE, STYLE = (Path(__file__).with_name(name) for name in ("steps.html", "steps.css"))
POLICY = "default-src 'none'; style-src 'self'; frame-ancestors 'none'"
Start = Callable[[str, list[tuple[str, str]]], Any]


def steps_application(authority: Authority, secured: str) -> Callable[..., Iterable[bytes]]:
    """A WSGI application of three answers: the steps, their style, and the root certificate.

    `secured` is the address of the pages, which the last step leads to.
    """
    page = Template(PAGE.read_text(encoding="utf-8")).substitute(
        fingerprint=authority.fingerprint,
        name=authority.certificate.subject.rfc4514_string().removeprefix("CN="),
        until=f"{authority.until.day} {authority.until:%B %Y}",
        root=ROOT_PATH,
        style=STYLE_PATH,
        secured=secured,
    )
    answers = {
        "/": ("text/html; charset=utf-8", page.encode()),
        STYLE_PATH: ("text/css; charset=utf-8", STYLE.read_bytes()),
        ROOT_PATH: ("application/x-x509-ca-cert", authority.certificate_der),
    }
    return partial(_answer, answers)


def _answer(
    answers: dict[str, tuple[str, bytes]], environ: dict[str, Any], start: Start
) -> Iterable[bytes]:
    known = environ["REQUEST_METHOD"] in ("GET", "HEAD") and environ["PATH_INFO"] in answers
    kind, body = answers[environ["PATH_INFO"] if known else "/"]
    status = "200 OK" if known else "404 Not Found"
    headers = [
        ("Content-Type", kind),
        ("Content-Length", str(len(body))),
        ("Content-Security-Policy", POLICY),
        ("X-Content-Type-Options", "nosniff"),
        ("Cache-Control", "no-store"),
    ]
    start(status, headers)
    return [body]
