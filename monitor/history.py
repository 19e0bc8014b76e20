"""Ten minutes of every circuit's vacuum at one point a second, for a page that has just been opened."""

import threading
from collections import deque
from collections.abc import Iterable
from typing import Final

LENGTH_S: Final = 600

Points = dict[str, dict[str, list[list[float | None]]]]
"""``{lifter: {circuit: [[utc_s, vacuum_kpa], ...]}}``, oldest first; the vacuum is None where none was to be believed."""


class History:
    """Written by one thread, read by others."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._traces: dict[tuple[str, str], deque[list[float | None]]] = {}

    def add(self, utc_s: float, lifter: str, vacuums: Iterable[tuple[str, float | None]]) -> None:
        """Note what stood at a time; of several in one second the last counts."""
        second = float(int(utc_s))
        with self._lock:
            for circuit, vacuum_kpa in vacuums:
                trace = self._traces.setdefault((lifter, circuit), deque(maxlen=LENGTH_S))
                while trace and (trace[-1][0] or 0.0) >= second:  # the same second again, or a clock that was set back
                    trace.pop()
                trace.append([second, None if vacuum_kpa is None else round(vacuum_kpa, 2)])

    def fill_in(self, utc_s: float, lifter: str, vacuums: Iterable[tuple[str, float]]) -> None:
        """Put what came late where nothing stands yet; where something does, that was judged and stays."""
        second = float(int(utc_s))
        with self._lock:
            for circuit, vacuum_kpa in vacuums:
                for point in reversed(self._traces.get((lifter, circuit), ())):
                    if (point[0] or 0.0) <= second:
                        if point[0] == second and point[1] is None:
                            point[1] = round(vacuum_kpa, 2)
                        break

    def points(self) -> Points:
        """A copy of it all."""
        told: Points = {}
        with self._lock:
            for (lifter, circuit), trace in self._traces.items():
                told.setdefault(lifter, {})[circuit] = [list(point) for point in trace]
        return told
