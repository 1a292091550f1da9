"""A small certificate authority of this machine, whose root is put on a tablet once.

It can vouch for addresses of local networks and for names ending in `.local`, and for nothing else
(RFC 5280, section 4.2.1.10): a root that somebody stole opens no bank to them. The key of the root
never leaves the data folder.
"""

from __future__ import annotations

import os
import secrets
import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from sidewise.errors import UserError

LOCAL_NETWORKS = tuple(
    ip_network(text)
    for text in (
        "10.0.0.0/8",
        "172.16.0.0/12",
        "192.168.0.0/16",
        "169.254.0.0/16",
        "127.0.0.0/8",
    )
)
"""Private use (RFC 1918), link-local (RFC 3927) and this machine."""
LOCAL_NAME = "local"
ROOT_DAYS = 2 * 365
SERVER_DAYS = 90
"""Made anew at each start. Tablets refuse what is valid for longer than 825 days (from memory)."""
BACK_DAYS = 1
"""A tablet's clock may be behind."""
AGAIN = (
    "Move the folder away and start again: a new root is made, which every tablet has to be "
    "given once more."
)


@dataclass(frozen=True, slots=True)
class Authority:
    """The root certificate with its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def certificate_der(self) -> bytes:
        """What is put on a tablet."""
        return self.certificate.public_bytes(serialization.Encoding.DER)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the root, in pairs, to be compared by eye."""
        return self.certificate.fingerprint(hashes.SHA256()).hex(" ").upper()

    @property
    def until(self) -> datetime:
        """When the root ends."""
        return self.certificate.not_valid_after_utc


def is_local(address: IPv4Address) -> bool:
    """Whether an address belongs to a local network or this machine."""
    return any(address in network for network in LOCAL_NETWORKS)


def kept_authority(folder: Path, *, now: datetime | None = None) -> Authority:
    """The authority kept in `folder`, made if there is none. UserError if damaged or over."""
    now = now or datetime.now(UTC)
    if not (folder / "root.key").exists():
        _keep(folder, _new_authority(now))
    found = _read(folder)
    if found.until <= now:
        got = f"a root that ended on {found.until:%Y-%m-%d}"
        raise UserError(str(folder), got, "one that is valid", AGAIN)
    return found


def server_context(
    authority: Authority, address: IPv4Address, host: str, folder: Path
) -> ssl.SSLContext:
    """TLS for this address and `host`.local: a certificate made now, kept in `folder`."""
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = _server_certificate(authority, key, address, host, datetime.now(UTC))
    chain = certificate.public_bytes(serialization.Encoding.PEM)
    path = folder / "server.pem"
    _write(path, _key_text(key) + chain)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(path)
    return context


def _new_authority(now: datetime) -> Authority:
    key = ec.generate_private_key(ec.SECP256R1())
    # A number in the name: two laptops of one clinic are told apart in a tablet's list.
    name = _name(f"sidewise tablet root {secrets.token_hex(2)}")
    permitted = [*(x509.IPAddress(network) for network in LOCAL_NETWORKS), x509.DNSName(LOCAL_NAME)]
    builder = (
        _builder(name, name, key, now, ROOT_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
    )
    return Authority(builder.sign(key, hashes.SHA256()), key)


def _server_certificate(
    authority: Authority,
    key: ec.EllipticCurvePrivateKey,
    address: IPv4Address,
    host: str,
    now: datetime,
) -> x509.Certificate:
    names = [x509.IPAddress(address), x509.DNSName(f"{host}.{LOCAL_NAME}")]
    issuer = authority.certificate.subject
    builder = (
        _builder(_name("sidewise"), issuer, key, now, SERVER_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.key.public_key()),
            critical=False,
        )
    )
    return builder.sign(authority.key, hashes.SHA256())


def _builder(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePrivateKey,
    now: datetime,
    days: int,
) -> x509.CertificateBuilder:
    public = key.public_key()
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=BACK_DAYS))
        .not_valid_after(now + timedelta(days=days))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _key_text(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _keep(folder: Path, authority: Authority) -> None:
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _write(folder / "root.crt", authority.certificate.public_bytes(serialization.Encoding.PEM))
    # The key last: without it the pair is made anew.
    _write(folder / "root.key", _key_text(authority.key))


def _read(folder: Path) -> Authority:
    try:
        certificate = x509.load_pem_x509_certificate((folder / "root.crt").read_bytes())
        key = serialization.load_pem_private_key((folder / "root.key").read_bytes(), None)
    except (OSError, ValueError, TypeError):
        raise UserError(str(folder), "a damaged root", "root.crt and root.key", AGAIN) from None
    paired = certificate.public_key() == key.public_key()
    if not isinstance(key, ec.EllipticCurvePrivateKey) or not paired:
        raise UserError(str(folder), "a key of another root", "root.crt and its key", AGAIN)
    return Authority(certificate, key)


def _write(path: Path, data: bytes) -> None:
    # Readable by nobody else at any moment, whatever stood there before.
    path.unlink(missing_ok=True)
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
