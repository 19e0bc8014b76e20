"""The demonstration's line of the moment, read from the file the simulator keeps beside its data."""

import json
from pathlib import Path
from typing import Any


class Story:
    """Reads the file again only when it changed. A missing or half-made file is no story."""

    def __init__(self, path: Path | None) -> None:
        """``path`` is ``None`` where nothing is played."""
        self._path = path
        self._seen_ns = 0
        self._said: dict[str, Any] | None = None

    def now(self) -> dict[str, Any] | None:
        """What is being told, with ``title`` and ``line``; ``None`` for nothing."""
        if self._path is None:
            return None
        try:
            changed_ns = self._path.stat().st_mtime_ns
            if changed_ns != self._seen_ns:
                said = json.loads(self._path.read_bytes())
                self._said = said if isinstance(said, dict) else None
                self._seen_ns = changed_ns
        except (OSError, ValueError):
            self._said = None
        return self._said
