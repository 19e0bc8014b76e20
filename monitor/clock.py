"""The only call to the system clocks."""

import re
import secrets
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

DAY_S: Final = 86_400.0
DAY: Final = re.compile(r"\d{4}-\d\d-\d\d")

_BOOT_ID_FILE: Final = Path("/proc/sys/kernel/random/boot_id")  # Linux; elsewhere a sign of this process alone
_BOOT_ID = _BOOT_ID_FILE.read_text("ascii").strip() if _BOOT_ID_FILE.is_file() else secrets.token_hex(16)
_BOOT_CLOCK: int | None = getattr(time, "CLOCK_BOOTTIME", None)


def utc_s() -> float:
    """UTC now, epoch seconds. May be stepped by whoever sets the system clock: never used for an age or a delay."""
    return time.time()


def monotonic_s() -> float:
    """Seconds that only ever rise, the same in every process of this machine, from an arbitrary zero.

    Where the system has such a clock (Linux) the time asleep counts: a reading from before the lid was shut is old.
    """
    return time.monotonic() if _BOOT_CLOCK is None else time.clock_gettime(_BOOT_CLOCK)


def boot_id() -> str:
    """Names this start of the machine, within which ``monotonic_s`` goes on from process to process; else this process."""
    return _BOOT_ID


def utc_of(text: str) -> float:
    """UTC epoch seconds of an instant by ISO 8601 / RFC 3339, in UTC where it names no zone; a day is its end.

    Check: "1970-01-02" is 172800.0, "1970-01-01T01:00:00+01:00" is 0.0.

    Raises:
        ValueError: It is no such instant.
    """
    at = datetime.fromisoformat(text)
    at = at.replace(tzinfo=UTC) if at.tzinfo is None else at
    return at.timestamp() + (DAY_S if DAY.fullmatch(text) else 0.0)


class EngineClock:
    """Engine time: begins at ``start_utc_s``, then runs on monotonic time: a stepped system clock moves nothing.

    After a restart it is begun again at the last engine time known plus the UTC time that has passed since.
    """

    def __init__(
        self, start_utc_s: float, *, utc: Callable[[], float] = utc_s, monotonic: Callable[[], float] = monotonic_s
    ) -> None:
        self._utc = utc
        self._monotonic = monotonic
        self._offset_s = start_utc_s - monotonic()

    def now_s(self) -> float:
        """Engine time now, s."""
        return self.at_s(self._monotonic())

    def at_s(self, at_monotonic_s: float) -> float:
        """Engine time of an instant on the monotonic clock, for example a message's ``arrived_s``."""
        return at_monotonic_s + self._offset_s

    def utc_minus_now_s(self) -> float:
        """What to add to engine time to have UTC, s. It changes when the system clock is set."""
        return self._utc() - self.now_s()
