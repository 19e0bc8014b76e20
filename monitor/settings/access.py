"""What lets people in: the PINs of a site's roles, kept hashed, and the key behind sign-ins and the join link.

A PIN is short, so a stolen file must be slow to guess and the pages must be slow to ask (``dashboards/slowing.py``).
"""

import hashlib
import itertools
import json
import secrets
from enum import StrEnum
from pathlib import Path
from typing import Final

from monitor.hashing import hashed, is_hash, write_private

FILE: Final = "pins.json"
KEY_FILE: Final = "pages.key"
SHORTEST_N, LONGEST_N = 6, 64


class Role(StrEnum):
    """Who may do something. A viewer, who may do nothing, has no PIN."""

    OPERATOR = "operator"
    LANDING = "landing"
    SUPERVISOR = "supervisor"
    MAINTENANCE = "maintenance"


class PinError(ValueError):
    """A PIN that is too easily guessed, or a file of PINs that cannot be read; the text says what to do."""


def read_pins(data: Path) -> dict[Role, str]:
    """The hashed PIN of every role that has one; empty where none was ever set.

    Raises:
        PinError: The file is there and is not one of ours: then nobody may act until it is mended.
    """
    path = data / FILE
    try:
        found = json.loads(path.read_text("utf-8"))
        return {Role(role): _hash_of(kept) for role, kept in found.items()}
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, AttributeError) as error:
        raise PinError(
            f"{path} cannot be read as a file of PINs ({error}). Nobody can act at the pages until it is mended: "
            "remove it and set the PINs again with holdwatch pin."
        ) from None


def set_pin(data: Path, role: Role, pin: str | None) -> None:
    """Set a role's PIN, or take it away with None. It counts from the next request on and ends the role's sign-ins.

    Raises:
        PinError: It is too short, too long or too easily guessed, or the file cannot be read.
    """
    others = {kept_role: kept for kept_role, kept in read_pins(data).items() if kept_role != role}
    write_private(data / FILE, json.dumps(others if pin is None else {**others, role: hashed(checked(pin).encode())}))


def checked(pin: str) -> str:
    """The PIN itself.

    Raises:
        PinError: Saying what is wrong with it. Check: "482913" will do, "123456", "777777" and "1234" will not.
    """
    if not SHORTEST_N <= len(pin) <= LONGEST_N or not pin.isprintable():
        raise PinError(
            f"the PIN has {len(pin)} characters; it must have {SHORTEST_N} to {LONGEST_N} that can be printed."
        )
    steps = {ord(after) - ord(before) for before, after in itertools.pairwise(pin)}
    if len(steps) == 1 and steps <= {-1, 0, 1}:
        raise PinError(
            "the PIN is one character repeated, or a row of neighbours; that is guessed first. Choose another."
        )
    return pin


def signing_key(data: Path) -> bytes:
    """The secret that signs cookies and makes the join link; made at the first need, readable by this user alone."""
    path = data / KEY_FILE
    try:
        return bytes.fromhex(path.read_text("ascii"))
    except (FileNotFoundError, ValueError):
        return new_signing_key(data)


def new_signing_key(data: Path) -> bytes:
    """A new secret: every sign-in and every join link given out so far ends."""
    key = secrets.token_bytes(32)
    write_private(data / KEY_FILE, key.hex())
    return key


def join_token(key: bytes) -> str:
    """What the join link carries: 128 bits that follow from the key and tell nothing of it."""
    return hashlib.blake2b(b"join", key=key, digest_size=16).hexdigest()


def _hash_of(kept: object) -> str:
    if not is_hash(kept):
        raise ValueError("a value is no hash")
    return str(kept)
