"""Whether a circuit's pump runs, as reported or as its strokes show, and what its pump-off stretches leaked."""

import math
from dataclasses import dataclass, field
from typing import Final

from monitor.core.leak_common import SWING_KPA
from monitor.core.readings import Pump
from monitor.core.units import S_PER_MIN

Rate = tuple[float, float]

_STROKE_KPA: Final = 0.3
_STROKE_SDS: Final = 4.0
_RISING_KPA_PER_S: Final = 0.06
_STROKES_KEPT_N: Final = 6
_CYCLING_STROKES_N: Final = 2
_FOLLOWED_S: Final = 10.0  # a hoist that comes down lifts every circuit by no more than 0.24 kPa in it
_REST_LEAST_S: Final = 12.0

OFF_RATE_WIDEN: Final = (0.03 / S_PER_MIN) ** 2
"""What a leak at rest may have changed by since it was seen last: variance, (kPa/s)²."""

RESTED_LATELY_S: Final = 120.0
"""A pump that has run, or come again and again, for longer without a rest that told may cover a leak that began since: what it
leaked at rest is not known any more."""


@dataclass(slots=True)
class PumpTrack:
    """One circuit's pump. ``off_rate``: mean and variance of the leak at rest as last known, ``off_at_s``, kPa/s and (kPa/s)².

    ``rose_to``: block, as kPa and time, after which a stroke has not risen so far. ``followed``: when and where to, in kPa,
    the fall was followed in the last seconds of a rest, hoist taken out, and its rate as then known. ``waiting``: not judged
    yet, as kPa, time and what was expected, kPa. ``low_kpa`` and ``began_s``: where and when the stroke under way began;
    ``top_kpa`` and ``ended_s``: where and when the last ended. ``doubted``: since a hole in the readings it has not come in.
    """

    reported: Pump | None = None
    running: bool = False
    off_rate: Rate | None = None
    off_at_s: float = 0.0
    lows_kpa: list[float] = field(default_factory=list)
    starts_s: list[float] = field(default_factory=list)
    low_kpa: float = 0.0
    began_s: float = 0.0
    top_kpa: float = 0.0
    ended_s: float = 0.0
    followed: list[tuple[float, float, Rate | None]] = field(default_factory=list)
    waiting: list[tuple[float, float, float]] = field(default_factory=list)
    suspect_s: float | None = None
    rose_to: tuple[float, float] | None = None
    last: tuple[float, float] | None = None
    doubted: bool = False

    def cycling(self, now_s: float) -> bool:
        """Whether the pump has come and gone often enough, and recently enough, to count on it."""
        if len(self.starts_s) < _CYCLING_STROKES_N:
            return False
        period_s = (self.starts_s[-1] - self.starts_s[0]) / (len(self.starts_s) - 1)
        return now_s - self.starts_s[-1] <= 2.5 * period_s


def rate_at_rest(track: PumpTrack, now_s: float) -> Rate | None:
    """``off_rate`` while it still says something of now; ``None`` when it is not known."""
    return track.off_rate if now_s - track.off_at_s <= RESTED_LATELY_S else None


def rested(track: PumpTrack, level_kpa: float, now_s: float, rate: Rate | None) -> None:
    """The pump still rests, and the fall was followed to here, hoist taken out, at this rate if it is known."""
    track.followed = [one for one in track.followed if now_s - one[0] <= _FOLLOWED_S] + [(now_s, level_kpa, rate)]


def lowest_kpa(track: PumpTrack, default_kpa: float) -> float:
    """The lowest the fall was followed to in the last seconds."""
    return min((kpa for _, kpa, _ in track.followed), default=default_kpa)


def rate_at_lowest(track: PumpTrack) -> Rate | None:
    """What the fall was known to lose there: what came after already holds some of a stroke."""
    return min(track.followed, key=lambda one: one[1])[2] if track.followed else None


def started(track: PumpTrack, low_kpa: float, now_s: float, off_rate: Rate | None) -> None:
    """The pump has begun to run; keep where it began, kPa of vacuum, and what its rest leaked if that is known.

    A stroke that is not reported may be the last going on, its end seen too soon: between them nothing rested.
    """
    track.running, track.doubted = True, False
    track.began_s = now_s
    track.low_kpa = low_kpa
    track.followed = []
    if track.reported is None and _goes_on(track, now_s):
        track.low_kpa, track.began_s = track.lows_kpa.pop(), track.starts_s.pop()
    elif off_rate is not None:
        track.off_rate, track.off_at_s = off_rate, now_s


def _goes_on(track: PumpTrack, now_s: float) -> bool:
    """Whether the stroke that begins is the last one: a pump's switch waits for a lower vacuum.

    Either it begins within seconds of the last, in its upper half; or the vacuum went on rising after the end seen.
    """
    if not track.lows_kpa:
        return False
    soon = now_s - track.ended_s < _REST_LEAST_S and track.low_kpa > 0.5 * (track.lows_kpa[-1] + track.top_kpa)
    return soon or track.low_kpa > track.top_kpa + 2.0 * SWING_KPA


def stopped(track: PumpTrack, seen_kpa: float, now_s: float) -> None:
    """The pump has come to rest: a whole stroke is known. What it may have covered for long is not."""
    track.off_rate = rate_at_rest(track, now_s)
    track.running = False
    track.top_kpa, track.ended_s = seen_kpa, now_s
    track.lows_kpa = [*track.lows_kpa, track.low_kpa][-_STROKES_KEPT_N:]
    track.starts_s = [*track.starts_s, track.began_s][-_STROKES_KEPT_N:]


def infer(
    track: PumpTrack, seen_kpa: float, at_s: float, expected_kpa: float, sd_kpa: float, *, noise_sd_kpa: float
) -> bool | None:
    """Judge one block of a circuit whose pump does not report.

    Returns ``True`` when a stroke shows, ``False`` when it has ended, ``None`` when nothing changed. A rise counts
    once two blocks show it, so that one wild value is no stroke. A slow one may be followed, and be taken for a swing
    (``sd_kpa`` allows for one, ``noise_sd_kpa`` doesn't): but no swing lifts a circuit further than from one side to the other.
    """
    last, track.last = track.last, (seen_kpa, at_s)
    if not track.running:
        most_kpa = max(_STROKE_SDS * math.sqrt(2.0) * noise_sd_kpa, 2.0 * SWING_KPA)
        lifted = seen_kpa - lowest_kpa(track, seen_kpa) >= most_kpa
        if not lifted and seen_kpa - expected_kpa < max(_STROKE_SDS * sd_kpa, _STROKE_KPA):
            track.suspect_s = None
            return None
        if track.suspect_s is None:
            track.suspect_s = at_s
            return None
        track.suspect_s = None
        return True
    since = track.rose_to or last
    if since is None or seen_kpa - since[0] >= _RISING_KPA_PER_S * (at_s - since[1]) + math.sqrt(2.0) * noise_sd_kpa:
        track.rose_to = None
        return None
    if track.rose_to is None:
        track.rose_to = last
        return None
    track.rose_to = None
    return False
