"""Passwords of the embedded broker's clients, as hashes in a file of the data folder.

The file is read again whenever it changed, so that a password counts at once.
"""

import json
import re
from pathlib import Path
from typing import Final

from monitor.hashing import NOBODYS, hashed, is_hash, matches, write_private

PASSWORDS_FILE: Final = "broker-passwords.json"
LEAST_CHARS: Final = 8
MOST_CHARS: Final = 200
NAME: Final = re.compile(r"[A-Za-z0-9_.@-]{1,64}")


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
        return matches(password, kept or NOBODYS) and kept is not None

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
    kept = hashed(password.encode())
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


def _load(path: Path) -> dict[str, str]:
    try:
        found = json.loads(path.read_text())
    except (OSError, ValueError) as error:
        raise PasswordError(
            f"{path} cannot be read ({error}). Put back a copy, or remove it and set all passwords anew."
        ) from None
    if not isinstance(found, dict) or not all(map(is_hash, found.values())):
        raise PasswordError(
            f"{path} holds something else than passwords' hashes; remove it and set all passwords anew."
        )
    return found


def _store(path: Path, hashes: dict[str, str]) -> None:
    write_private(path, json.dumps(hashes, indent=1, sort_keys=True))
