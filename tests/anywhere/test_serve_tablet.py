"""A laptop serves a tablet: refused, agreed to, encrypted, and ended with the command."""

from __future__ import annotations

import http.client
import ssl
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization

from tests.anywhere.served_tablet import ADDRESS, Laptop, add_owner, laptop, run_once

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def home(tmp_path_factory: Any) -> Path:
    folder: Path = tmp_path_factory.mktemp("laptop")
    add_owner(folder)
    return folder


@pytest.fixture(scope="module")
def served(home: Path) -> Iterator[Laptop]:
    with laptop(home) as one:
        yield one


def root_of(served: Laptop) -> bytes:
    with urllib.request.urlopen(f"{served.steps}root.crt") as answer:
        assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
        return bytes(answer.read())


def trusting(served: Laptop) -> ssl.SSLContext:
    certificate = x509.load_der_x509_certificate(root_of(served))
    text = certificate.public_bytes(serialization.Encoding.PEM).decode()
    return ssl.create_default_context(cadata=text)


def test_without_a_password_it_is_refused(tmp_path: Path) -> None:
    done = run_once(tmp_path, "--address", ADDRESS, "--yes")
    assert done.returncode == 2
    assert "no password" in done.stderr
    assert "Ready" not in done.stdout


@pytest.mark.parametrize("answer", ["", "no\n"])
def test_without_a_yes_nothing_is_served(home: Path, answer: str) -> None:
    done = run_once(home, "--address", ADDRESS, answer=answer)
    assert done.returncode == 2
    assert "can reach the sign-in page of this machine" in done.stdout
    assert "Stop it with Ctrl-C" in done.stdout
    assert "Nothing was served" in done.stderr


def test_an_address_of_the_internet_is_refused(home: Path) -> None:
    done = run_once(home, "--address", "203.0.113.9", "--yes")
    assert (done.returncode, done.stdout) == (2, "")
    assert "local network" in done.stderr


def test_the_root_has_the_fingerprint_that_the_laptop_shows(served: Laptop) -> None:
    root = x509.load_der_x509_certificate(root_of(served))
    assert root.fingerprint(hashes.SHA256()).hex(" ").upper() == served.fingerprint
    page = urllib.request.urlopen(served.steps).read().decode()
    assert served.fingerprint in page
    assert served.pages in page


def test_who_trusts_the_root_reaches_the_sign_in_with_secure_cookies(served: Laptop) -> None:
    with urllib.request.urlopen(f"{served.pages}sign-in/", context=trusting(served)) as answer:
        cookies = answer.headers.get_all("Set-Cookie")
    assert cookies
    assert all("__Host-" in cookie and "Secure" in cookie for cookie in cookies)


def test_who_does_not_trust_it_is_stopped_by_tls(served: Laptop) -> None:
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        urllib.request.urlopen(served.pages, context=ssl.create_default_context())


def test_pages_are_never_served_without_tls(served: Laptop) -> None:
    """Neither by the steps' address nor by plain HTTP to the secured port."""
    with pytest.raises(urllib.error.HTTPError, match="404"):
        urllib.request.urlopen(f"{served.steps}sign-in/")
    plain = http.client.HTTPConnection(served.pages.removeprefix("https://").strip("/"))
    plain.request("GET", "/sign-in/")
    with pytest.raises((http.client.BadStatusLine, ConnectionError)):
        plain.getresponse()


def test_a_forwarded_scheme_or_host_is_not_believed(served: Laptop) -> None:
    headers = {"Host": "bank.example", "X-Forwarded-Proto": "https"}
    request = urllib.request.Request(f"{served.pages}sign-in/", headers=headers)
    with pytest.raises(urllib.error.HTTPError, match="400"):
        urllib.request.urlopen(request, context=trusting(served))
