"""The sign-ins that were ended before their time, kept over a restart of the pages until they would have ended anyway."""

import json
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Final

from monitor.clock import boot_id
from monitor.hashing import write_private

log = logging.getLogger(__name__)

FILE: Final = "signed-out.json"


class SignedOut:
    """Ids of ended sign-ins, each with the end it would have had on the machine's monotonic clock."""

    def __init__(self, data: Path, monotonic: Callable[[], float], lasts_s: float) -> None:
        """Take what an earlier process of the pages left in the data folder.

        Where that cannot be read every sign-in made so far counts as ended: one that was must not come back.
        """
        self._file = data / FILE
        self._monotonic = monotonic
        self._until_s: dict[str, float] = {}
        self._all_until_s = float("-inf")
        try:
            kept = json.loads(self._file.read_text("utf-8"))
            if kept["boot"] == boot_id():
                self._until_s = {str(name): float(until_s) for name, until_s in kept["until_s"].items()}
        except FileNotFoundError:
            pass
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            self._all_until_s = monotonic() + lasts_s
            log.warning("pages: %s cannot be read (%s): everybody has to sign in again.", self._file, error)

    def has(self, name: str, until_s: float) -> bool:
        """Whether a sign-in that would last until then was ended."""
        return name in self._until_s or until_s <= self._all_until_s

    def add(self, name: str, until_s: float) -> None:
        """End one from now on. Waits for the disk."""
        now_s = self._monotonic()
        self._until_s = {known: end_s for known, end_s in self._until_s.items() if end_s > now_s} | {name: until_s}
        try:
            write_private(self._file, json.dumps({"boot": boot_id(), "until_s": self._until_s}))
        except OSError as error:
            log.warning("pages: a sign-out is not on the disk (%s): it is forgotten when the pages start again.", error)
