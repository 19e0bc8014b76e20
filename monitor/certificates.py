"""The site's own certificate authority and the certificate of its server, for the broker and the pages alike.

Elliptic curve P-256 and SHA-256, which small devices speak too. The authority signs servers only and no other authority
(RFC 5280, 4.2.1.9). Renewing makes a new server certificate under the same authority, so that nothing at a client changes.
"""

import datetime as dt
import ipaddress
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_DAYS: Final = 3650
SERVER_DAYS: Final = 397
"""What browsers still accept of a server (CA/Browser Forum ballot SC-31: 398 days; from memory)."""

SOON_DAYS: Final = 30
EARLIER: Final = dt.timedelta(days=1)
"""Certificates are valid from a day earlier: a device whose clock is a little behind must not refuse a new one."""

_NAME: Final = re.compile(
    r"(?=.{1,253}$)[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?)*"
)


class CertificateError(Exception):
    """A certificate cannot be made or used; the text says which file, what was found and what to do."""


@dataclass(frozen=True, slots=True)
class Made:
    """The files of a folder. ``authority_is_new`` is False where only the server's certificate was renewed."""

    authority: Path
    certificate: Path
    key: Path
    authority_is_new: bool
    until: dt.datetime


def make(
    folder: Path, hosts: Sequence[str], now: dt.datetime, *, days: int = SERVER_DAYS, group: int | None = None
) -> Made:
    """Make the authority where there is none yet, and a server certificate for ``hosts`` under it.

    Args:
        folder: Takes ``ca.crt``, ``ca.key``, ``server.crt`` and ``server.key``; made if need be.
        hosts: Names and addresses that clients call this server by.
        now: The time, aware.
        days: How long the server's certificate is good.
        group: Id of a group that may read ``server.key`` (the broker's); None leaves it as it was, at first to this user.

    Raises:
        CertificateError: A host is none, or the authority's files are broken, expired or lack one of them.
        OSError: A file cannot be read or written.
    """
    names = [_san(host) for host in hosts]
    if group is None:
        group = _reading_group(folder / "server.key")
    folder.mkdir(mode=0o755, parents=True, exist_ok=True)
    certificate_path, key_path = folder / "ca.crt", folder / "ca.key"
    is_new = not certificate_path.exists() and not key_path.exists()
    if is_new:
        _write_authority(certificate_path, key_path, now)
    authority, authority_key = _read_authority(certificate_path, key_path, now)
    key = ec.generate_private_key(ec.SECP256R1())
    until = min(now + dt.timedelta(days=days), authority.not_valid_after_utc)
    usage = [ExtendedKeyUsageOID.SERVER_AUTH]
    certificate = (
        _builder(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, hosts[0][:64])]), key.public_key(), now, until)
        .issuer_name(authority.subject)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage(usage), critical=False)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    # The key first: whoever loads both in between finds a pair that does not fit, says so and goes on with the old one.
    _put(folder / "server.key", _pem(key), 0o640 if group is not None else 0o600, group)
    _put(folder / "server.crt", certificate.public_bytes(serialization.Encoding.PEM), 0o644)
    return Made(certificate_path, folder / "server.crt", folder / "server.key", is_new, until)


def check_pair(certificate_path: Path, key_path: Path, now: dt.datetime) -> str:
    """Check a server's certificate and key before anything starts; a word about its end where that is near.

    Raises:
        CertificateError: One cannot be read, they do not belong together, or the certificate is not valid now.
    """
    certificate = _read_certificate(certificate_path)
    key = _read_key(key_path)
    if _public(key) != _public(certificate):
        raise CertificateError(f"{key_path} is not the key of {certificate_path}; make both anew, or name its own key.")
    _check_valid(certificate, certificate_path, now)
    left = certificate.not_valid_after_utc - now
    if left < dt.timedelta(days=SOON_DAYS):
        return f"{certificate_path} ends in {left.days} days, on {certificate.not_valid_after_utc:%Y-%m-%d}: renew it."
    return ""


def names_of(certificate_path: Path) -> list[str]:
    """The host names a certificate is made for, addresses left out.

    Raises:
        CertificateError: It cannot be read.
    """
    try:
        found = _read_certificate(certificate_path).extensions.get_extension_for_class(x509.SubjectAlternativeName)
    except x509.ExtensionNotFound:
        return []
    return found.value.get_values_for_type(x509.DNSName)


def _reading_group(key_path: Path) -> int | None:
    """The group that may read the key there is, so that a renewal does not lock the broker out."""
    if not key_path.exists():
        return None
    stat = key_path.stat()
    return stat.st_gid if stat.st_mode & 0o040 else None


def _san(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        pass
    if not _NAME.fullmatch(host):
        raise CertificateError(
            f"{host!r} is no host; give a name such as site-box.local, or an address such as 192.168.1.20."
        )
    return x509.DNSName(host)


def _write_authority(certificate_path: Path, key_path: Path, now: dt.datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    # Each authority has a name of its own, so that a new one is never taken for the old one.
    name = x509.Name(
        [x509.NameAttribute(NameOID.COMMON_NAME, f"Holdwatch site authority {x509.random_serial_number() % 10**8:08d}")]
    )
    certificate = (
        _builder(name, key.public_key(), now, now + dt.timedelta(days=AUTHORITY_DAYS))
        .issuer_name(name)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .sign(key, hashes.SHA256())
    )
    _put(key_path, _pem(key), 0o600)
    _put(certificate_path, certificate.public_bytes(serialization.Encoding.PEM), 0o644)


def _builder(
    name: x509.Name, key: ec.EllipticCurvePublicKey, now: dt.datetime, until: dt.datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - EARLIER)
        .not_valid_after(until)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _read_authority(
    certificate_path: Path, key_path: Path, now: dt.datetime
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    certificate, key = _read_certificate(certificate_path), _read_key(key_path)
    if _public(key) != _public(certificate) or not isinstance(key, ec.EllipticCurvePrivateKey):
        raise CertificateError(
            f"{key_path} is not the key of {certificate_path}; put back the pair that was made together."
        )
    _check_valid(certificate, certificate_path, now)
    return certificate, key


def _check_valid(certificate: x509.Certificate, path: Path, now: dt.datetime) -> None:
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if now > ends:
        raise CertificateError(f"{path} ended on {ends:%Y-%m-%d}. Make a new one: holdwatch certificates.")
    if now < begins:
        raise CertificateError(
            f"{path} begins on {begins:%Y-%m-%d} only, and it is {now:%Y-%m-%d} here. Is this clock right?"
        )


def _read_certificate(path: Path) -> x509.Certificate:
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except OSError as error:
        raise CertificateError(f"{path} cannot be read: {error.strerror}.") from None
    except ValueError:
        raise CertificateError(f"{path} is no certificate in PEM form.") from None


def _read_key(path: Path) -> Any:
    try:
        return serialization.load_pem_private_key(path.read_bytes(), password=None)
    except OSError as error:
        raise CertificateError(f"{path} cannot be read: {error.strerror}.") from None
    except (ValueError, TypeError):  # TypeError: it has a password
        raise CertificateError(f"{path} is no private key in PEM form without a password.") from None


def _public(holder: Any) -> bytes:
    found: bytes = holder.public_key().public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    return found


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    # TraditionalOpenSSL: the form that small TLS libraries read too.
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.TraditionalOpenSSL, serialization.NoEncryption()
    )


def _put(path: Path, content: bytes, mode: int, group: int | None = None) -> None:
    """Write a file whole: under its name stands the old one or the new one, never half of it."""
    draft = path.with_name(f".{path.name}.new")
    draft.unlink(missing_ok=True)
    with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:  # noqa: PTH123 - a mode
        file.write(content)
        if group is not None:
            os.fchown(file.fileno(), -1, group)
        os.fchmod(file.fileno(), mode)
        os.fsync(file.fileno())
    draft.replace(path)
