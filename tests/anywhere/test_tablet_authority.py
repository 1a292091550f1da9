"""The root that a tablet is given: what it may vouch for, and that TLS libraries agree."""

from __future__ import annotations

import shutil
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from sidewise.errors import UserError
from sidewise.web.tablet import authority as made
from sidewise.web.tablet.network import chosen_address

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
HERE = IPv4Address("192.168.1.20")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "tablet"


def verified(folder: Path, names: list[x509.GeneralName], tmp_path: Path) -> str:
    """What OpenSSL's own command says of a certificate for these names, signed by the root."""
    root = made.kept_authority(folder)
    key = ec.generate_private_key(ec.SECP256R1())
    builder = made._builder(made._name("x"), root.certificate.subject, key, datetime.now(UTC), 30)
    leaf = builder.add_extension(x509.SubjectAlternativeName(names), critical=False)
    path = tmp_path / "leaf.pem"
    signed = leaf.sign(root.key, made.hashes.SHA256())
    path.write_bytes(signed.public_bytes(serialization.Encoding.PEM))
    command = ["openssl", "verify", "-CAfile", str(folder / "root.crt"), str(path)]
    answer = subprocess.run(command, capture_output=True, text=True, check=False)
    return answer.stdout + answer.stderr


def test_the_root_is_kept_and_read_again(folder: Path) -> None:
    first = made.kept_authority(folder)
    assert made.kept_authority(folder).fingerprint == first.fingerprint
    assert len(first.fingerprint.split()) == 32


@pytest.mark.parametrize("name", ["root.crt", "root.key", "server.pem"])
def test_nobody_else_may_read_what_is_kept(folder: Path, name: str) -> None:
    made.server_context(made.kept_authority(folder), HERE, "island", folder)
    assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@pytest.mark.skipif(shutil.which("openssl") is None, reason="needs the openssl command")
@pytest.mark.parametrize(
    ("name", "accepted"),
    [
        (x509.IPAddress(HERE), True),
        (x509.IPAddress(IPv4Address("10.0.0.3")), True),
        (x509.DNSName("island.local"), True),
        # RFC 5280, 4.2.1.10: a name outside the permitted subtrees is refused.
        (x509.DNSName("bank.example"), False),
        (x509.IPAddress(IPv4Address("203.0.113.9")), False),
        (x509.DNSName("local.example"), False),
    ],
)
def test_openssl_accepts_local_names_alone(
    folder: Path, tmp_path: Path, name: x509.GeneralName, accepted: bool
) -> None:
    said = verified(folder, [name], tmp_path)
    assert ("leaf.pem: OK" in said) is accepted
    assert accepted or "permitted subtree violation" in said


def test_a_damaged_root_is_said_with_what_to_do(folder: Path) -> None:
    made.kept_authority(folder)
    (folder / "root.crt").write_text("-----BEGIN CERTIFICATE-----\nbm8=\n")
    with pytest.raises(UserError, match=r"damaged root.*\n.*new root is made"):
        made.kept_authority(folder)


def test_a_key_of_another_root_is_refused(folder: Path, tmp_path: Path) -> None:
    made.kept_authority(folder)
    made.kept_authority(tmp_path / "other")
    shutil.copy(tmp_path / "other" / "root.key", folder / "root.key")
    with pytest.raises(UserError, match="key of another root"):
        made.kept_authority(folder)


def test_a_root_that_is_over_is_refused(folder: Path) -> None:
    made.kept_authority(folder, now=NOW)
    last = NOW + timedelta(days=made.ROOT_DAYS)
    assert made.kept_authority(folder, now=last - timedelta(seconds=1))
    with pytest.raises(UserError, match="a root that ended on 2028"):
        made.kept_authority(folder, now=last)


@pytest.mark.parametrize("text", ["10.0.0.1", "172.31.255.254", "192.168.0.9", "127.0.0.1"])
def test_addresses_of_local_networks_are_taken(text: str) -> None:
    assert str(chosen_address(text)) == text


@pytest.mark.parametrize("text", ["8.8.8.8", "172.32.0.1", "0.0.0.0", "island", "::1", ""])
def test_any_other_address_is_refused(text: str) -> None:
    with pytest.raises(UserError, match=r"--address: got .*expected an address of a local network"):
        chosen_address(text)


def test_no_network_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sidewise.web.tablet.network._towards", lambda _: None)
    with pytest.raises(UserError, match=r"no local network \(no address\)(.|\n)*Join the network"):
        chosen_address(None)
