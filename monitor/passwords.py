"""Passwords of the embedded broker's clients, as hashes in a file of the data folder.

scrypt (RFC 7914) from Python's own library, N = 2^14, r = 8, p = 1: about 50 ms a guess and 16 MiB (OWASP's lesser set,
from memory). The file is read again whenever it changed, so that a password counts at once.
"""

import base64
import hashlib
import hmac
import json
import os
import re
import secrets
from pathlib import Path
from typing import Final

PASSWORDS_FILE: Final = "broker-passwords.json"
LEAST_CHARS: Final = 8
MOST_CHARS: Final = 200
NAME: Final = re.compile(r"[A-Za-z0-9_.@-]{1,64}")
_N: Final = 2**14
_NO_ONE: Final = "scrypt$AAAAAAAAAAAAAAAAAAAAAA==$" + base64.b64encode(bytes(32)).decode()


class PasswordError(ValueError):
    """A name or password that cannot be used, or a file that is none of ours."""


class Passwords:
    """The file as it is now."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._stamp: tuple[int, int] | None = None
        self._hashes: dict[str, str] = {}

    def any(self) -> bool:
        """Whether there is any client with a password.

        Raises:
            PasswordError: The file is there but cannot be read.
        """
        return bool(self._read())

    def fits(self, name: str, password: bytes) -> bool:
        """Whether this is the client's password. Takes as long for a name that is not there.

        Raises:
            PasswordError: The file is there but cannot be read.
        """
        kept = self._read().get(name)
        return _fits(kept or _NO_ONE, password) and kept is not None

    def _read(self) -> dict[str, str]:
        try:
            stat = self._path.stat()
        except FileNotFoundError:
            return {}
        stamp = (stat.st_mtime_ns, stat.st_ino)
        if stamp != self._stamp:
            self._hashes, self._stamp = _load(self._path), stamp
        return self._hashes


def set_password(path: Path, name: str, password: str) -> None:
    """Keep the hash of a client's password.

    Raises:
        PasswordError: The name or the password cannot be used, or the file is none of ours.
        OSError: The file cannot be written.
    """
    if not NAME.fullmatch(name):
        raise PasswordError(f"the name is {name!r}; it must be 1 to 64 letters, digits, and . _ @ -")
    if not LEAST_CHARS <= len(password) <= MOST_CHARS:
        raise PasswordError(f"the password has {len(password)} characters; it must have {LEAST_CHARS} to {MOST_CHARS}.")
    salt = secrets.token_bytes(16)
    kept = f"scrypt${base64.b64encode(salt).decode()}${base64.b64encode(_hash(password.encode(), salt)).decode()}"
    _store(path, _load(path) | {name: kept} if path.exists() else {name: kept})


def remove_password(path: Path, name: str) -> bool:
    """Forget a client; False where there was none of that name.

    Raises:
        PasswordError: The file is none of ours.
        OSError: The file cannot be written.
    """
    hashes = _load(path) if path.exists() else {}
    if hashes.pop(name, None) is None:
        return False
    _store(path, hashes)
    return True


def _hash(password: bytes, salt: bytes) -> bytes:
    return hashlib.scrypt(password, salt=salt, n=_N, r=8, p=1, maxmem=64 * 1024 * 1024, dklen=32)


def _fits(kept: str, password: bytes) -> bool:
    _, salt, expected = kept.split("$")
    return hmac.compare_digest(_hash(password, base64.b64decode(salt)), base64.b64decode(expected))


def _load(path: Path) -> dict[str, str]:
    try:
        found = json.loads(path.read_text())
    except (OSError, ValueError) as error:
        raise PasswordError(
            f"{path} cannot be read ({error}). Put back a copy, or remove it and set all passwords anew."
        ) from None
    form = re.compile(r"scrypt\$[A-Za-z0-9+/=]{24}\$[A-Za-z0-9+/=]{44}")
    if not isinstance(found, dict) or not all(
        isinstance(kept, str) and form.fullmatch(kept) for kept in found.values()
    ):
        raise PasswordError(
            f"{path} holds something else than passwords' hashes; remove it and set all passwords anew."
        )
    return found


def _store(path: Path, hashes: dict[str, str]) -> None:
    draft = path.with_name(f".{path.name}.new")
    draft.unlink(missing_ok=True)
    with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:  # noqa: PTH123 - a mode
        json.dump(hashes, file, indent=1, sort_keys=True)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
