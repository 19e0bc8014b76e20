"""Short secrets kept as hashes, and files that are this user's alone: for the broker's passwords and the roles' PINs.

scrypt (RFC 7914) from Python's own library, N = 2^14, r = 8, p = 1: about 50 ms a guess and 16 MiB (OWASP's lesser set,
from memory), here and for a thief.
"""

import base64
import hashlib
import hmac
import os
import re
import secrets
from pathlib import Path
from typing import Final

_N: Final = 2**14
_FORM: Final = re.compile(r"scrypt\$[A-Za-z0-9+/]{10,60}={0,2}\$[A-Za-z0-9+/]{43}=")

NOBODYS: Final = f"scrypt${base64.b64encode(bytes(16)).decode()}${base64.b64encode(bytes(32)).decode()}"
"""A hash nothing fits: to be asked for a name that is not there, so that it takes as long as one that is."""


def hashed(secret: bytes) -> str:
    """``scrypt$SALT$HASH`` in base64, with a fresh salt."""
    salt = secrets.token_bytes(16)
    return f"scrypt${base64.b64encode(salt).decode()}${base64.b64encode(_scrypt(secret, salt)).decode()}"


def matches(secret: bytes, kept: str) -> bool:
    """Whether ``kept`` was made from ``secret``; the time taken tells nothing about where they differ."""
    if not is_hash(kept):
        return False
    _, salt, expected = kept.split("$")
    return hmac.compare_digest(_scrypt(secret, base64.b64decode(salt)), base64.b64decode(expected))


def is_hash(kept: object) -> bool:
    """Whether this is one of ours."""
    return isinstance(kept, str) and _FORM.fullmatch(kept) is not None


def write_private(path: Path, text: str) -> None:
    """Replace a file as a whole, readable by this user alone."""
    draft = path.with_name(f".{path.name}.new")
    draft.unlink(missing_ok=True)
    with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:  # noqa: PTH123 - a mode
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)


def _scrypt(secret: bytes, salt: bytes) -> bytes:
    return hashlib.scrypt(secret, salt=salt, n=_N, r=8, p=1, maxmem=64 * 1024 * 1024, dklen=32)
