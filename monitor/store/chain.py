"""Closed records cannot be changed unnoticed: each carries the hash of the one before on its site."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

FIRST_HASH: Final = "0" * 64
"""What stands before the first record."""


def link(prev_hash: str, lift: str, record: str) -> str:
    """The hash of a record after the one before: SHA-256 of the three texts, each ended by a zero byte, in hex.

    Check: ``sha256sum`` over the same bytes, as the tests do.
    """
    return hashlib.sha256(b"".join(part.encode() + b"\0" for part in (prev_hash, lift, record))).hexdigest()


@dataclass(frozen=True, slots=True)
class Link:
    """One closed lift as the chain sees it; ``record`` is None where it was taken away."""

    lift: str
    site: str
    record: str | None
    prev_hash: str
    hash: str


@dataclass(frozen=True, slots=True)
class Misfit:
    """The first record that does not fit."""

    lift: str
    site: str
    reason: str
    """``changed``: its text is not the one that was hashed. ``order``: one was taken out, put in or moved before it.
    ``record_missing``: its record was taken away, so it cannot be checked; nothing in the store ever lets go of one.
    ``trace_changed``, ``trace_missing``: its trace file is not the one that was written."""


@dataclass(frozen=True, slots=True)
class End:
    """How far a site's chain goes: what to write down elsewhere, and to compare later."""

    site: str
    lifts_n: int
    lift: str
    hash: str


def first_misfit(links: Iterable[Link]) -> Misfit | None:
    """Walk the records of all sites, oldest first; None when every one fits.

    Whoever takes the newest records away, or writes the whole chain anew, is not noticed by the chain itself: keep its
    last hash elsewhere (the printed report has it).
    """
    last: dict[str, str] = {}
    for one in links:
        if one.prev_hash != last.get(one.site, FIRST_HASH):
            return Misfit(one.lift, one.site, "order")
        if one.record is None:
            return Misfit(one.lift, one.site, "record_missing")
        if link(one.prev_hash, one.lift, one.record) != one.hash:
            return Misfit(one.lift, one.site, "changed")
        last[one.site] = one.hash
    return None
