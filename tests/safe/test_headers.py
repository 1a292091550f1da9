"""Headers, cookies, hosts and limits; item numbers are those of OWASP ASVS 5.0.0."""

from __future__ import annotations

import json
import logging
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from tests.safe.conftest import PASSWORD, Clinic, make_person
from tests.safe.stores import ROOT, Store
from tests.safe.test_access import arguments, views

pytestmark = pytest.mark.django_db
WEB = ROOT / "src" / "sidewise" / "web"


def test_every_answer_carries_the_security_headers(clinic: Clinic) -> None:
    """3.4.3 to 3.4.6 and 14.3.2, swept over every view, answered or refused."""
    swept = 0
    for name, names in sorted({(n, tuple(a)) for n, a in views()}):
        url = reverse(name, kwargs=arguments(list(names), clinic))
        for who in ("nobody", "owner"):
            response = clinic.client(who).get(url)
            policy = response["Content-Security-Policy"]
            for part in ("object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"):
                assert part in policy, name
            assert "unsafe-inline" not in policy
            assert "unsafe-eval" not in policy
            assert response["X-Content-Type-Options"] == "nosniff"
            assert response["Referrer-Policy"] == "same-origin"
            # A drawing of the anatomy is everybody's and stands at the digest of what it is.
            drawing = name == "sheet" and response.status_code == 200
            kept = "private, max-age=31536000, immutable" if drawing else "no-store"
            assert response["Cache-Control"] == kept, name
            assert "Access-Control-Allow-Origin" not in response
            swept += 1
    assert swept >= 80


def test_no_template_holds_inline_script_or_style() -> None:
    """3.4.3: what the policy would refuse is not written in the first place."""
    swept = 0
    for path in WEB.rglob("*.html"):
        text = path.read_text()
        assert not re.search(r"<script(?![^>]*\bsrc=)(?![^>]*json)", text), path.name
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=\"", text), path.name
        assert "|safe" not in text, path.name
        swept += 1
    assert swept >= 25


def test_no_page_loads_anything_from_elsewhere() -> None:
    """14.2.3: no third party is told of anything."""
    swept = 0
    for path in [*WEB.rglob("*.html"), *WEB.rglob("*.js"), *WEB.rglob("*.css")]:
        found = re.findall(
            r"(?:src|href|url\(|fetch\(|import)\s*[=(]?\s*[\"'](?:https?:)?//", path.read_text()
        )
        assert not found, path.name
        swept += 1
    assert swept >= 30


def test_a_post_without_its_token_is_refused_at_every_view(clinic: Clinic) -> None:
    """3.5.1, swept over every view that answers a POST."""
    client, swept = Client(enforce_csrf_checks=True), 0
    client.force_login(clinic.owner)
    for name, names in sorted({(n, tuple(a)) for n, a in views()}):
        url = reverse(name, kwargs=arguments(list(names), clinic))
        assert client.post(url, {}).status_code == 403, name
        swept += 1
    assert swept >= 40


def test_an_unknown_host_is_refused(settings: Any) -> None:
    settings.ALLOWED_HOSTS = ["clinic.example"]
    assert Client().get("/sign-in/", headers={"host": "elsewhere.example"}).status_code == 400


def test_text_of_a_person_is_shown_as_text(clinic: Clinic) -> None:
    """3.2.2."""
    make_person("<script>alert(1)</script>", "student")
    page = clinic.client("administrator").get(reverse("people")).content.decode()
    assert "<script>alert(1)" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_an_upload_beyond_the_limit_is_refused(clinic: Clinic, settings: Any) -> None:
    """5.2.1."""
    url = reverse("queue", args=[clinic.examination.pk])
    body = json.dumps({"entries": [{"id": "x" * settings.DATA_UPLOAD_MAX_MEMORY_SIZE}]})
    answer = clinic.client("owner").post(url, body, content_type="application/json")
    assert answer.status_code in (400, 413)


def test_an_unexpected_error_tells_nothing_of_itself(clinic: Clinic, monkeypatch: Any) -> None:
    """16.5.1."""

    def broken(*_: object) -> None:
        raise RuntimeError("zanzibarite")

    monkeypatch.setattr("sidewise.web.keeping.views.export.patient_export", broken)
    url = reverse("patient-export", args=[clinic.patient.key])
    answer = clinic.client("owner").get(url)
    assert answer.status_code == 500
    assert b"zanzibarite" not in answer.content
    assert b"Traceback" not in answer.content


def test_a_logged_error_has_its_place_and_not_its_value() -> None:
    """16.2.5, 16.4.1: a value that broke something may be a finding; a line stays one line."""
    from sidewise.web.log_lines import OneLine

    try:
        raise ValueError("zanzibarite\n2026-01-01 forged line")
    except ValueError:
        record = logging.LogRecord("x", 40, "f", 1, "a\nb", (), sys.exc_info())
    line = OneLine("%(asctime)s %(message)s").format(record)
    assert "ValueError at test_headers.py:" in line
    assert "zanzibarite" not in line
    assert "\n" not in line
    assert re.match(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z ", line)


SHOW = """
import json
from django.conf import settings as s
names = ['SESSION_COOKIE_NAME', 'CSRF_COOKIE_NAME', 'SESSION_COOKIE_SECURE', 'CSRF_COOKIE_SECURE',
 'SECURE_HSTS_SECONDS', 'SECURE_HSTS_INCLUDE_SUBDOMAINS', 'SECURE_SSL_REDIRECT', 'DEBUG',
 'SESSION_COOKIE_HTTPONLY', 'SESSION_COOKIE_SAMESITE', 'SECOND_FACTOR', 'PROXIES']
print(json.dumps({n: getattr(s, n) for n in names}))
"""


def shown(tmp_path: Path, **more: str) -> dict[str, Any]:
    environment = {**Store(tmp_path).environment, **more}
    done = subprocess.run(
        [sys.executable, "-c", SHOW], env=environment, capture_output=True, text=True, check=True
    )
    return dict(json.loads(done.stdout))


def test_behind_tls_cookies_transport_and_second_factor_are_strict(tmp_path: Path) -> None:
    """3.3.1 to 3.3.4, 3.4.1, 6.3.3, 12.2.1, 13.4.2."""
    got = shown(tmp_path, SIDEWISE_TLS="1")
    assert got == {
        "SESSION_COOKIE_NAME": "__Host-sidewise", "CSRF_COOKIE_NAME": "__Host-csrf",
        "SESSION_COOKIE_SECURE": True, "CSRF_COOKIE_SECURE": True,
        "SECURE_HSTS_SECONDS": 31536000, "SECURE_HSTS_INCLUDE_SUBDOMAINS": True,
        "SECURE_SSL_REDIRECT": True, "DEBUG": False, "SESSION_COOKIE_HTTPONLY": True,
        "SESSION_COOKIE_SAMESITE": "Lax", "SECOND_FACTOR": "required", "PROXIES": 1,
    }  # fmt: skip


def test_plain_http_is_sent_to_tls_and_hsts_is_set(settings: Any) -> None:
    settings.SECURE_SSL_REDIRECT = True
    settings.SECURE_HSTS_SECONDS = 31536000
    settings.SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    plain = Client().get("/sign-in/")
    assert (plain.status_code, plain["Location"]) == (301, "https://testserver/sign-in/")
    safe = Client().get("/sign-in/", secure=True)
    assert safe["Strict-Transport-Security"] == "max-age=31536000; includeSubDomains"


def test_the_device_cookie_is_hidden_from_scripts_and_bound_to_the_host() -> None:
    make_person("dunlin", "clinician")
    data = {"username": "dunlin", "password": PASSWORD}
    cookie = Client().post("/sign-in/", data, secure=True).cookies["__Host-device"]
    assert cookie["httponly"]
    assert cookie["secure"]
    assert (cookie["samesite"], cookie["path"], cookie["domain"]) == ("Strict", "/", "")


def test_health_tells_nothing_but_that_it_works() -> None:
    assert Client().get("/health/").content == b"ok\n"


def test_trace_is_not_answered(clinic: Clinic) -> None:
    """13.4.4."""
    answer = clinic.client("owner").generic("TRACE", "/", secure=False)
    assert answer.status_code == 405


@pytest.mark.parametrize("path", ["/.git/config", "/static/../settings.py", "/static/"])
def test_nothing_beside_the_pages_is_served(clinic: Clinic, path: str) -> None:
    """13.4.1, 13.4.3."""
    assert clinic.client("owner").get(path).status_code == 404


def test_every_setting_is_explained_at_the_top_and_in_operations() -> None:
    text = (WEB / "settings.py").read_text()
    head, body = text.split('"""', 2)[1:]
    page = (ROOT / "docs" / "operations.md").read_text()
    names = set(re.findall(r'"(SIDEWISE_[A-Z_]+)"', body + (WEB / "home.py").read_text()))
    for name in names:
        short = name.replace("SIDEWISE_OIDC", "")
        assert name in head or short in head, name
        assert name in page, name
    assert len(names) >= 15
