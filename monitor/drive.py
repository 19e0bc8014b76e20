"""Steps the engine through time: before whatever comes, the ticks that time has passed; pure."""

from collections.abc import Iterator

from monitor.core.engine import SiteState, step, ticks_between
from monitor.core.events import Effect, Event, Resumed, Tick

Done = tuple[float, tuple[Effect, ...]]
"""An instant of engine time, and what is to be done about it."""


class Drive:
    """One engine and how far it has come. Time never goes back: what claims to be earlier happens now."""

    def __init__(self, state: SiteState, now_s: float) -> None:
        self.state = state
        self.now_s = now_s

    def advance(self, now_s: float) -> Iterator[Done]:
        """Tick up to and including ``now_s``."""
        for at_s in ticks_between(self.now_s, now_s):
            yield at_s, self._step(Tick(), at_s)
        self.now_s = max(self.now_s, now_s)

    def resume(self, now_s: float) -> tuple[Effect, ...]:
        """Go on at ``now_s`` without having looked in between: that is a gap, and is told to the engine as one."""
        down_since_s, self.now_s = self.now_s, max(self.now_s, now_s)
        return self._step(Resumed(down_since_s), self.now_s)

    def take(self, event: Event) -> tuple[Effect, ...]:
        """What ``event`` does at ``now_s``, to which this has been advanced."""
        return self._step(event, self.now_s)

    def _step(self, event: Event, now_s: float) -> tuple[Effect, ...]:
        self.now_s = now_s  # before the step: one that fails has happened too, and is not tried again for ever
        self.state, effects = step(self.state, event, now_s)
        return effects
