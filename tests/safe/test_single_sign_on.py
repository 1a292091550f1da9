"""OpenID Connect against a small provider of our own in another thread, with real signatures.

The provider follows OpenID Connect Core 1.0: discovery, key set, code flow. It can be told to
misbehave.
"""

from __future__ import annotations

import hashlib
import json
import threading
import time
from base64 import urlsafe_b64encode
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from sidewise.web.accounts import single_sign_on
from sidewise.web.accounts.models import Identity
from tests.safe.conftest import Clinic, make_person

pytest.importorskip("authlib", reason="the extra single-sign-on is not installed")
jose = pytest.importorskip("joserfc")

pytestmark = pytest.mark.django_db


class Provider:
    """What the provider knows, and how it misbehaves."""

    def __init__(self) -> None:
        from joserfc.jwk import RSAKey

        self.key = RSAKey.generate_key(2048, {"kid": "one"})
        self.other = RSAKey.generate_key(2048, {"kid": "one"})
        self.issuer = ""
        self.asked: dict[str, str] = {}
        self.wrong: dict[str, Any] = {}

    def token(self) -> str:
        from joserfc import jwt

        now = int(time.time())
        claims = {"iss": self.issuer, "sub": "dunlin-1", "aud": "sidewise", "iat": now,
                  "exp": now + 60, "nonce": self.asked.get("nonce")}  # fmt: skip
        claims |= {k: v for k, v in self.wrong.items() if k != "key"}
        key = self.other if "key" in self.wrong else self.key
        return jwt.encode({"alg": "RS256", "kid": "one"}, claims, key)


def handler(provider: Provider) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            here = provider.issuer
            if self.path.endswith("openid-configuration"):
                self.answer({
                    "issuer": here, "authorization_endpoint": f"{here}/authorize",
                    "token_endpoint": f"{here}/token", "jwks_uri": f"{here}/keys",
                    "id_token_signing_alg_values_supported": ["RS256"],
                })  # fmt: skip
            else:
                self.answer({"keys": [provider.key.as_dict(private=False)]})

        def do_POST(self) -> None:
            length = int(self.headers["Content-Length"])
            form = parse_qs(self.rfile.read(length).decode())
            proof = hashlib.sha256(form["code_verifier"][0].encode()).digest()
            challenge = urlsafe_b64encode(proof).rstrip(b"=").decode()
            assert challenge == provider.asked["code_challenge"]
            self.answer({"access_token": "a", "token_type": "Bearer", "expires_in": 60,
                         "id_token": provider.token()})  # fmt: skip

        def answer(self, data: dict[str, Any]) -> None:
            body = json.dumps(data).encode()
            self.send_response(200)
            self.send_header("Content-Type", "application/json")
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: Any) -> None:
            """Quiet."""

    return Handler


@pytest.fixture
def provider(settings: Any) -> Iterator[Provider]:
    """Running on the loopback address, known to the settings."""
    known = Provider()
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler(known))
    known.issuer = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    settings.OIDC = {"issuer": known.issuer, "client": "sidewise", "secret": "s"}
    single_sign_on.provider.cache_clear()
    yield known
    single_sign_on.provider.cache_clear()
    server.shutdown()
    server.server_close()
    thread.join()


def go(provider: Provider) -> tuple[Client, Any]:
    """There and back; the browser's part."""
    client = Client()
    away = client.get(reverse("single-sign-on"))
    asked = parse_qs(urlsplit(away["Location"]).query)
    provider.asked = {name: values[0] for name, values in asked.items()}
    data = {"code": "c", "state": provider.asked["state"]}
    return client, client.get(reverse("single-sign-on-back"), data)


def tied(provider: Provider, **more: Any) -> Any:
    user = make_person("dunlin", "clinician", **more)
    Identity.objects.create(user=user, issuer=provider.issuer, subject="dunlin-1")
    return user


def test_a_tied_identity_signs_in_with_proof_of_the_code(provider: Provider) -> None:
    tied(provider)
    client, answer = go(provider)
    assert answer.status_code == 302
    assert client.get(reverse("today")).status_code == 200
    assert provider.asked["code_challenge_method"] == "S256"


def test_an_identity_that_nobody_tied_gets_no_account(provider: Provider) -> None:
    client, answer = go(provider)
    assert answer.status_code == 403
    assert client.get(reverse("today")).status_code == 302


def test_a_stopped_account_is_not_entered(provider: Provider) -> None:
    tied(provider, is_active=False)
    assert go(provider)[1].status_code == 403


@pytest.mark.parametrize(
    "wrong",
    [{"nonce": "another"}, {"aud": "another"}, {"iss": "https://elsewhere.example"},
     {"exp": 1}, {"key": "another"}, {"sub": "knot-1"}],
)  # fmt: skip
def test_an_answer_that_is_not_for_us_signs_nobody_in(provider: Provider, wrong: Any) -> None:
    tied(provider)
    provider.wrong = wrong
    client, answer = go(provider)
    assert answer.status_code == 403
    assert client.get(reverse("today")).status_code == 302


def test_an_answer_that_was_not_asked_for_signs_nobody_in(provider: Provider) -> None:
    tied(provider)
    answer = Client().get(reverse("single-sign-on-back"), {"code": "c", "state": "x"})
    assert answer.status_code == 403


def test_our_second_factor_is_still_asked_for(provider: Provider) -> None:
    from tests.safe.test_factor import with_factor

    with_factor(tied(provider))
    client, answer = go(provider)
    assert answer["Location"] == reverse("sign-in-code")
    assert client.get(reverse("today")).status_code == 302


def test_an_administrator_ties_and_unties_an_identity(provider: Provider, clinic: Clinic) -> None:
    client, url = clinic.client("administrator"), reverse("tie-identity", args=[clinic.owner.pk])
    client.post(url, {"subject": "dunlin-1"})
    assert go(provider)[1].status_code == 302
    taken = reverse("tie-identity", args=[clinic.reader.pk])
    assert client.post(taken, {"subject": "dunlin-1"}).status_code == 422
    client.post(url, {"subject": ""})
    assert go(provider)[1].status_code == 403
