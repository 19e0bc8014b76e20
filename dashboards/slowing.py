"""How fast a PIN may be guessed: slower after every miss, and never so that strangers lock the crew out.

A device that signed in before carries a cookie that says so, and is slowed by its own misses alone. Devices that never
did share one allowance for each role. Source: the pattern is OWASP's "Slow Down Online Guessing Attacks with Device Cookies".
"""

from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Final

FREE_N: Final = 5
"""Misses of one device before it has to wait."""

STRANGERS_FREE_N: Final = 20
"""Misses of all unknown devices together before they have to wait."""

LONGEST_S: Final = 300.0
STRANGERS_LONGEST_S: Final = 60.0
"""One guess a minute: at most 1,440 a day of a million six-figure PINs."""

FORGET_S: Final = 3600.0
KEPT_N: Final = 1000
"""Devices remembered at a time, or a flood of addresses would fill the memory."""


@dataclass(slots=True)
class _Misses:
    free_n: int
    longest_s: float
    count_n: int = 0
    last_s: float = field(default=float("-inf"))

    def wait_s(self, now_s: float) -> float:
        if now_s - self.last_s > FORGET_S:
            self.count_n = 0
        if self.count_n < self.free_n:
            return 0.0
        pause_s: float = min(self.longest_s, 2.0 ** min(self.count_n - self.free_n, 20))
        return max(0.0, self.last_s + pause_s - now_s)

    def add(self, now_s: float) -> None:
        self.count_n += 1
        self.last_s = now_s


class Slowing:
    """Counts misses by device and role. ``device`` is "" for one that never signed in; ``now_s`` is monotonic."""

    def __init__(self) -> None:
        self._known: OrderedDict[tuple[str, str], _Misses] = OrderedDict()
        self._strangers: dict[str, _Misses] = {}

    def wait_s(self, role: str, device: str, peer: str, now_s: float) -> float:
        """How long this device has to wait before its next guess counts, s."""
        return max(misses.wait_s(now_s) for misses in self._of(role, device, peer))

    def missed(self, role: str, device: str, peer: str, now_s: float) -> None:
        """Note a wrong PIN."""
        for misses in self._of(role, device, peer):
            misses.add(now_s)

    def hit(self, role: str, device: str, peer: str) -> None:
        """Note a right PIN: this device's own misses are forgotten, those of strangers are not."""
        self._known.pop((role, device or peer), None)

    def _of(self, role: str, device: str, peer: str) -> list[_Misses]:
        own = self._known.setdefault((role, device or peer), _Misses(FREE_N, LONGEST_S))
        self._known.move_to_end((role, device or peer))
        while len(self._known) > KEPT_N:
            self._known.popitem(last=False)
        if device:
            return [own]
        return [own, self._strangers.setdefault(role, _Misses(STRANGERS_FREE_N, STRANGERS_LONGEST_S))]
