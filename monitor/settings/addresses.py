"""Addresses as a site file and the command line write them."""

import ipaddress
from urllib.parse import urlsplit


def split_listen(text: str) -> tuple[str, int]:
    """Take ``HOST:PORT`` apart; port 0 means any free one, an IPv6 host stands in brackets.

    Raises:
        ValueError: The text has another form; the message says what is allowed.

    Check: "[::1]:8050" gives ("::1", 8050).
    """
    host, colon, port = text.rpartition(":")
    if host.startswith("[") and host.endswith("]"):
        host = host[1:-1]
    elif ":" in host:
        host = ""
    if not (colon and host and host.isprintable() and " " not in host and _is_port(port)):
        raise ValueError("it must be HOST:PORT, for example 127.0.0.1:8050, with a port of 0 (any free one) to 65535")
    return host, int(port)


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach what listens there. Check: localhost, ::1 and all of 127.0.0.0/8."""
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def check_broker_url(text: str) -> None:
    """Check a broker's address.

    Raises:
        ValueError: It is no ``mqtt://HOST`` or ``mqtts://HOST`` with an optional port, or holds a password (which the
            message never repeats).
    """
    if "@" in text:
        raise ValueError(
            "user and password do not belong in the file: set HOLDWATCH_BROKER_USER and HOLDWATCH_BROKER_PASSWORD"
        )
    try:
        parts = urlsplit(text)
        fits = bool(parts.hostname) and parts.port != 0 and parts.scheme in ("mqtt", "mqtts")
    except ValueError:
        fits = False
    if not fits or parts.path.strip("/") or parts.query or parts.fragment or not text.isprintable() or " " in text:
        raise ValueError("it must be mqtt://HOST:PORT or mqtts://HOST:PORT")


def check_store_url(text: str) -> None:
    """Check the address of a database.

    Raises:
        ValueError: It is no ``postgresql://`` URL with a host and a database, or holds a password (which the message never
            repeats).
    """
    try:
        parts = urlsplit(text)
        secret = parts.password is not None or "password" in parts.query
        fits = parts.scheme == "postgresql" and bool(parts.hostname) and len(parts.path) > 1 and parts.port != 0
    except ValueError:
        secret = fits = False
    if secret:
        raise ValueError("a password does not belong in the file: set PGPASSWORD, or HOLDWATCH_STORE_URL as a whole")
    if not fits or not text.isprintable() or " " in text:
        raise ValueError("it must be postgresql://USER@HOST:PORT/DATABASE")


def _is_port(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) <= 5 and int(text) <= 65_535
