"""Latest snapshots from the engine, how old they are, and who waits for them.

Three things can go quiet, and each must show. The page process: the browser then gets no reply and its own cover ends
by itself. The engine: snapshots stop, their age grows, and past ``LIVE_FOR_S`` a reply carries no view but says why.
The broker: snapshots go on and say so.
"""

import asyncio
import contextlib
import secrets
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from monitor.clock import monotonic_s, utc_s
from monitor.telling import muted

LIVE_FOR_S: Final = 2.2
"""How long a snapshot may be shown as live, s. A page must be covered within 3 s of losing touch; what is left of that
is for the browser to draw. The engine tells a state at least once a second, and one reply may come 0.6 s late."""

HOLD_S: Final = 0.6
"""How long a request without news is held at most, s."""

TRACE_S: Final = 600
"""Seconds of trace kept for each circuit, one point a second."""

BELIEVED: Final = frozenset({"holding", "losing", "low", "critical", "building", "open"})
"""Circuit states whose vacuum is a reading to be believed. In the others the trace has a gap."""

Status = Mapping[str, Any]
Point = tuple[int, float | None]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One snapshot as it arrived. ``number`` names it, also across restarts; ``made_s`` is on the monotonic clock."""

    number: str
    utc_s: float
    made_s: float
    link: Mapping[str, Any]
    store: Mapping[str, Any]
    lifters: tuple[Status, ...]
    refused: Mapping[str, Any] = field(default_factory=dict)
    """What of each lifter's messages was refused in the last hour; lifters of which nothing was are left out."""


@dataclass(slots=True)
class Traces:
    """Ten minutes of every circuit at 1 s: the last believed vacuum in each second, ``None`` where there was none."""

    points: dict[tuple[str, str], deque[Point]] = field(default_factory=dict)

    def fill(self, history: Mapping[str, Mapping[str, Iterable[Sequence[float | None]]]]) -> None:
        """Begin again with the engine's own history, ``{lifter: {circuit: [[utc_s, vacuum_kpa], ...]}}``."""
        self.points.clear()
        for lifter, circuits in history.items():
            for circuit, pairs in circuits.items():
                for at_s, vacuum_kpa in pairs:
                    if at_s is not None:
                        self._put(lifter, circuit, int(at_s), vacuum_kpa)

    def add(self, at_utc_s: float, lifters: Iterable[Status]) -> None:
        """Add what one snapshot says."""
        for status in lifters:
            for circuit, said in status["circuits"].items():
                believed = said["state"] in BELIEVED and said.get("trace_ok", True)
                self._put(status["lifter"], circuit, int(at_utc_s), said["vacuum_kpa"] if believed else None)

    def since(self, lifter: str, second: int) -> dict[str, list[Point]]:
        """A lifter's points after ``second`` (UTC), oldest first; all of them if the clock was set back."""
        return {
            circuit: [point for point in points if point[0] > second or points[-1][0] < second]
            for (owner, circuit), points in self.points.items()
            if owner == lifter
        }

    def _put(self, lifter: str, circuit: str, second: int, vacuum_kpa: float | None) -> None:
        points = self.points.setdefault((lifter, circuit), deque(maxlen=TRACE_S))
        while points and points[-1][0] >= second:  # the same second again, or a clock that was set back
            points.pop()
        points.append((second, None if vacuum_kpa is None else round(vacuum_kpa, 2)))


class Live:
    """What the pages know of the engine. Used on one event loop; nothing here blocks."""

    def __init__(self, *, monotonic: Callable[[], float] = monotonic_s, utc: Callable[[], float] = utc_s) -> None:
        self._monotonic = monotonic
        self._utc = utc
        self._boot = secrets.token_hex(4)
        self._news = asyncio.Event()
        self.site: Mapping[str, Any] = {}
        self.traces = Traces()
        self.snapshot: Snapshot | None = None
        self.quiet_since_utc_s = utc()
        self.snapshots_n = 0

    def hello(self, message: Mapping[str, Any]) -> None:
        """Take the engine's greeting: the site, and the traces so far."""
        self.site = message["site"]
        self.traces.fill(message.get("history", {}))

    def take(self, message: Mapping[str, Any]) -> None:
        """Take a snapshot and wake whoever waits for it."""
        self.snapshots_n += 1
        self.snapshot = Snapshot(
            number=f"{self._boot}.{self.snapshots_n}",
            utc_s=float(message["utc_s"]),
            made_s=self._monotonic() - self._late_s(message),
            link=message.get("link", {}),
            store=message.get("store", {}),
            lifters=tuple(message["lifters"]),
            refused=message.get("refused", {}),
        )
        self.quiet_since_utc_s = self._utc()
        self.traces.add(self.snapshot.utc_s, self.snapshot.lifters)
        self._news.set()
        self._news = asyncio.Event()

    def age_s(self) -> float | None:
        """Age of the last snapshot now, s; ``None`` before the first."""
        return None if self.snapshot is None else max(0.0, self._monotonic() - self.snapshot.made_s)

    def lifters(self) -> set[str]:
        """The lifters told of."""
        return set() if self.snapshot is None else {status["lifter"] for status in self.snapshot.lifters}

    def refused(self) -> Mapping[str, Any] | None:
        """What of each lifter's messages was refused in the last hour; None while the engine is silent."""
        return self.snapshot.refused if self.snapshot is not None and self.is_live() else None

    def is_live(self) -> bool:
        """Whether the last snapshot may still be shown as live."""
        age_s = self.age_s()
        return age_s is not None and age_s <= LIVE_FOR_S

    def statuses(self) -> list[Status]:
        """Every lifter's last status; once no longer live, it says so by itself and of what was heard nothing but its age."""
        snapshot = self.snapshot
        if snapshot is None:
            return []
        if self.is_live():
            return list(snapshot.lifters)
        now_utc_s = snapshot.utc_s + (self.age_s() or 0.0)
        return [muted(dict(status), "reason.engine_silent", now_utc_s) for status in snapshot.lifters]

    async def newer_than(self, number: str, hold_s: float = HOLD_S) -> None:
        """Return once there is a snapshot other than ``number``, or after ``hold_s``."""
        if self.snapshot is not None and self.snapshot.number != number:
            return
        news = self._news
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(hold_s):
                await news.wait()

    def _late_s(self, message: Mapping[str, Any]) -> float:
        """How long the snapshot was on its way: it may have waited while this process was stopped.

        Engine and pages run on one machine. Its monotonic clock is the same in every process, so the engine's own
        stamp is compared where there is one; the UTC stamps otherwise.
        """
        if (sent_s := message.get("monotonic_s")) is not None:
            return max(0.0, self._monotonic() - float(sent_s))
        return max(0.0, self._utc() - float(message["utc_s"]))
