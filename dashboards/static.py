"""Files that never change under their address: read once, compressed once, kept a year by the browser."""

import gzip
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

TYPES: Final[Mapping[str, str]] = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".woff2": "font/woff2",
    ".txt": "text/plain; charset=utf-8",
}
COMPRESSED_ALREADY: Final = frozenset({".png", ".woff2"})
ASSETS: Final = Path(__file__).with_name("assets")


@dataclass(frozen=True, slots=True)
class File:
    """One file as it is sent. ``packed`` is its gzip form, where that is smaller."""

    content_type: str
    body: bytes
    packed: bytes | None


class Static:
    """A folder's files under one address that carries the fingerprint of them all, so that they fit each other."""

    def __init__(self, folder: Path = ASSETS) -> None:
        self.files = {
            path.relative_to(folder).as_posix(): _read(path)
            for path in sorted(folder.rglob("*"))
            if path.suffix in TYPES
        }
        digest = hashlib.sha256()
        for name, file in self.files.items():
            digest.update(name.encode() + b"\0" + file.body)
        self.fingerprint = digest.hexdigest()[:12]
        self.root = f"/static/{self.fingerprint}/"

    def url(self, name: str) -> str:
        """Where ``name`` is served.

        Raises:
            KeyError: There is no such file.
        """
        if name not in self.files:
            raise KeyError(name)
        return self.root + name

    def text(self, name: str) -> str:
        """The text of a file, to be put into a page."""
        return self.files[name].body.decode()


def packed(text: str, content_type: str) -> File:
    """A text made here, with its gzip form."""
    body = text.encode()
    return File(content_type, body, pack(body))


def pack(body: bytes) -> bytes | None:
    """Gzip, or ``None`` where that does not help."""
    packed = gzip.compress(body, 9, mtime=0)
    return packed if len(packed) < len(body) else None


def _read(path: Path) -> File:
    body = path.read_bytes()
    return File(TYPES[path.suffix], body, None if path.suffix in COMPRESSED_ALREADY else pack(body))
