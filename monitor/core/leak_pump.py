"""Whether a circuit's pump runs, as reported or as its strokes show, and what its pump-off stretches leaked."""

from dataclasses import dataclass, field
from typing import Final

from monitor.core.readings import Pump

_STROKE_KPA: Final = 0.3
_STROKE_SDS: Final = 4.0
_RISING_KPA_PER_S: Final = 0.06
_STROKES_KEPT_N: Final = 6
_CYCLING_STROKES_N: Final = 2

RESTED_LATELY_S: Final = 120.0
"""A pump that has run longer without a rest may cover a leak that began since: what it leaked at rest is not known any more."""


@dataclass(slots=True)
class PumpTrack:
    """One circuit's pump. ``off_rate``: mean and variance of the leak while it rested last, kPa/s and (kPa/s)²."""

    reported: Pump | None = None
    running: bool = False
    inferred: bool = False
    off_rate: tuple[float, float] | None = None
    off_at_s: float = 0.0
    running_since_s: float = 0.0
    lows_kpa: list[float] = field(default_factory=list)
    starts_s: list[float] = field(default_factory=list)
    low_kpa: float = 0.0
    calm_kpa: float | None = None
    suspect_s: float | None = None
    rest_s: float | None = None
    last: tuple[float, float] | None = None

    def cycling(self, now_s: float) -> bool:
        """Whether the pump has come and gone often enough, and recently enough, to count on it."""
        if len(self.starts_s) < _CYCLING_STROKES_N:
            return False
        period_s = (self.starts_s[-1] - self.starts_s[0]) / (len(self.starts_s) - 1)
        return now_s - self.starts_s[-1] <= 2.5 * period_s


def rate_at_rest(track: PumpTrack, now_s: float) -> tuple[float, float] | None:
    """``off_rate`` while it still says something of now; ``None`` when it is not known."""
    return None if track.running and now_s - track.running_since_s > RESTED_LATELY_S else track.off_rate


def started(track: PumpTrack, seen_kpa: float, now_s: float, off_rate: tuple[float, float] | None) -> None:
    """The pump has begun to run; keep where it began, and what its rest leaked if that is known."""
    track.running = True
    track.running_since_s = now_s
    track.low_kpa = seen_kpa if track.calm_kpa is None else track.calm_kpa
    track.calm_kpa = None
    if off_rate is not None:
        track.off_rate, track.off_at_s = off_rate, now_s


def stopped(track: PumpTrack) -> None:
    """The pump has come to rest: a whole stroke is known."""
    track.running = False
    track.lows_kpa = [*track.lows_kpa, track.low_kpa][-_STROKES_KEPT_N:]
    track.starts_s = [*track.starts_s, track.running_since_s][-_STROKES_KEPT_N:]


def infer(track: PumpTrack, seen_kpa: float, at_s: float, expected_kpa: float, sd_kpa: float) -> bool | None:
    """Judge one block of a circuit whose pump does not report.

    Returns ``True`` when a stroke shows, ``False`` when it has ended, ``None`` when nothing changed. A rise counts
    once two blocks show it, so that one wild value is no stroke.
    """
    last, track.last = track.last, (seen_kpa, at_s)
    if not track.running:
        if seen_kpa - expected_kpa < max(_STROKE_SDS * sd_kpa, _STROKE_KPA):
            track.suspect_s = None
            return None
        if track.suspect_s is None:
            track.suspect_s = at_s
            return None
        track.suspect_s = None
        return True
    if last is None or seen_kpa - last[0] >= _RISING_KPA_PER_S * (at_s - last[1]) + sd_kpa:
        track.rest_s = None
        return None
    if track.rest_s is None:
        track.rest_s = at_s
        return None
    track.rest_s = None
    return False
