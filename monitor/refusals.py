"""What of each lifter's messages was refused in the last hour, for whoever looks after its sender."""

from collections import deque
from collections.abc import Iterable
from typing import Any, Final

from monitor.core.readings import PLAUSIBLE, Reading, Rejected

SPAN_S: Final = 3600.0
EVERY_S: Final = 60.0
"""What is refused within one such stretch is counted together."""


class Refusals:
    """Counts by the minute, and the last refusal in full. Its memory does not grow with what is refused."""

    def __init__(self, lifters: Iterable[str]) -> None:
        """Nothing was refused yet."""
        self._counts: dict[str, deque[list[float]]] = {lifter: deque() for lifter in lifters}
        self._last: dict[str, dict[str, Any]] = {}

    def take(self, lifter: str | None, found: Reading | Rejected, utc_s: float) -> None:
        """Note what of one message was refused: all of it, or some of its values."""
        if lifter not in self._counts:
            return
        if isinstance(found, Rejected):
            self._count(lifter, 1, 0, utc_s)
            self._last[lifter] = {"at": utc_s, "field": "", "reason": found.reason, "found": found.found}
        elif found.refused:
            self._count(lifter, 0, len(found.refused), utc_s)
            last = found.refused[-1]
            span = PLAUSIBLE.get(last.field.rpartition(".")[2])
            allowed = f"{span.low:g} to {span.high:g} {span.unit}" if span and last.reason == "out_of_range" else ""
            told = {"field": last.field, "reason": last.reason, "found": last.found, "allowed": allowed}
            self._last[lifter] = {"at": utc_s, **told}

    def told(self, utc_s: float) -> dict[str, dict[str, Any]]:
        """For each lifter of which anything was: ``messages_n``, ``values_n`` of the last hour, and the ``last``."""
        told = {}
        for lifter, counts in self._counts.items():
            while counts and counts[0][0] <= utc_s - SPAN_S:
                counts.popleft()
            if counts:
                messages_n, values_n = (int(sum(one[place] for one in counts)) for place in (1, 2))
                told[lifter] = {"messages_n": messages_n, "values_n": values_n, "last": self._last[lifter]}
        return told

    def _count(self, lifter: str, messages_n: int, values_n: int, utc_s: float) -> None:
        counts = self._counts[lifter]
        if not counts or utc_s - counts[-1][0] >= EVERY_S:
            counts.append([utc_s, 0, 0])
            while len(counts) > SPAN_S / EVERY_S:
                counts.popleft()
        counts[-1][1] += messages_n
        counts[-1][2] += values_n
