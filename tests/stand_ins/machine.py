"""What the worked sender uses of a microcontroller: a pin whose voltage stands in a file, in µV."""

import os
import time
from pathlib import Path

# MicroPython's time, which CPython's has no such names for.
time.ticks_ms = lambda: int(time.monotonic() * 1000)
time.ticks_us = lambda: int(time.monotonic() * 1_000_000)
time.ticks_diff = lambda later, earlier: later - earlier
time.sleep_ms = lambda ms: time.sleep(ms / 1000)


class Pin:
    def __init__(self, number: int) -> None:
        self.number = number


class ADC:
    def __init__(self, pin: Pin) -> None:
        self._file = Path(os.environ["STAND_IN_PIN"])

    def read_uv(self) -> int:
        return int(self._file.read_text())


def unique_id() -> bytes:
    return b"\x01\x02\x03\x04"
