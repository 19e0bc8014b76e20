"""What to look at on a lifter, in order, each with its evidence. Pure: trends and dates in, messages out."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from monitor.core.config import LifterConfig
from monitor.core.lifter_trends import ZERO_OFF_KPA, CircuitTrends, LifterTrends
from monitor.core.messages import Text, Value
from monitor.core.trends import DAY_S, Reach, Step, Trend

SOON_DAYS: Final = 30.0
AHEAD_DAYS: Final = 180.0
"""A limit that may be reached later than this is on the chart, not on the list."""

RECENT_N: Final = 60
"""A step longer ago than so many lifts has been seen by now."""

SISTERS_RATIO: Final = 2.0
APART_KPA: Final = 2.0
"""Two gauges on one circuit that are this far apart on the mean of a lift (half of what counts as disagreeing)."""

UNHELPED_DAYS: Final = 90.0
NEAR_DAYS: Final = 30.0
NEAR_SHARE: Final = 0.9


class Figure(StrEnum):
    """What an item is about."""

    LEAK = "leak"
    PUMP = "pump_down"
    ZERO = "zero"
    APART = "apart"
    BATTERY = "battery"
    EXAMINATION = "examination"
    INSPECTION = "inspection"
    SEAL_TEST = "seal_test"


@dataclass(frozen=True, slots=True)
class NotSealed:
    """A circuit that did not pass its last seal test, when that was asked for, and the lift whose record has it."""

    circuit: str
    utc_s: float
    lift: str


@dataclass(frozen=True, slots=True)
class Item:
    """One line of the list. Lower ``urgency`` comes first; ``lift`` is the lift that shows it best."""

    urgency: float
    lifter: str
    circuit: str | None
    figure: Figure
    evidence: Text
    pads: tuple[str, ...] = ()
    lift: str | None = None


def items(
    config: LifterConfig,
    trends: LifterTrends,
    now_utc_s: float,
    examination_due_utc_s: float | None,
    not_sealed: Sequence[NotSealed] = (),
) -> list[Item]:
    """The list of one lifter, what matters most first.

    Args:
        config: The lifter.
        trends: Its trends.
        now_utc_s: What "now" is.
        examination_due_utc_s: Beginning of the day its next thorough examination is due.
        not_sealed: Circuits that did not pass their last seal test.
    """
    found = [*_inspections(config, trends, now_utc_s, examination_due_utc_s)]
    for failed in not_sealed:
        told = Text("care.not_sealed", {"circuit": failed.circuit, "at_utc_s": failed.utc_s})
        pads = _pads(config, failed.circuit)
        found.append(Item(0.8, config.id, failed.circuit, Figure.SEAL_TEST, told, pads, failed.lift))
    for one in trends.circuits.values():
        pads = _pads(config, one.id)
        for urgency, figure, evidence, at in _circuit(one, trends, now_utc_s):
            lift = trends.ids[at] if at is not None and 0 <= at < len(trends.ids) else None
            found.append(
                Item(urgency, config.id, one.id, figure, evidence, pads if figure is Figure.LEAK else (), lift)
            )
    found += _battery(config, trends, now_utc_s)
    return sorted(found, key=lambda item: item.urgency)


def _pads(config: LifterConfig, circuit: str) -> tuple[str, ...]:
    return tuple(pad.id for pad in config.pads.values() if pad.circuit == circuit)


_Line = tuple[float, Figure, Text, int | None]


def _circuit(one: CircuitTrends, trends: LifterTrends, now_utc_s: float) -> Iterator[_Line]:
    yield from _leak(one, trends, now_utc_s)
    values: dict[str, Value] = {"circuit": one.id}
    if one.pump_down.reach is not None and one.pump_down.level is not None:
        told = values | {"pump_down_s": one.pump_down.level.likely}
        if one.pump_down.reach.now:
            yield 3.0, Figure.PUMP, Text("care.pump_slow", told), _newest(one.pump_down, trends)
        elif (days := _early_days(one.pump_down.reach, now_utc_s)) is not None and days < AHEAD_DAYS:
            told |= {"early_utc_s": one.pump_down.reach.early_utc_s}
            yield 5.0 + days / AHEAD_DAYS, Figure.PUMP, Text("care.pump_slower", told), _newest(one.pump_down, trends)
    if one.zero.level is not None and one.zero.level.low > ZERO_OFF_KPA:
        told = values | {"open_kpa": one.zero.level.likely, "limit_kpa": ZERO_OFF_KPA}
        yield 2.5, Figure.ZERO, Text("care.zero_off", told), _newest(one.zero, trends)
    if one.apart.level is not None and one.apart.level.low > APART_KPA:
        told = values | {"apart_kpa": one.apart.level.likely}
        yield 2.6, Figure.APART, Text("care.gauges_apart", told), _newest(one.apart, trends)


def _leak(one: CircuitTrends, trends: LifterTrends, now_utc_s: float) -> Iterator[_Line]:
    leak, limit = one.leak, trends.limit_kpa_per_min
    if leak.level is None:
        return
    newest = _newest(leak, trends)
    values: dict[str, Value] = {"circuit": one.id, "leak_kpa_per_min": leak.level.likely, "limit_kpa_per_min": limit}
    days = None if leak.reach is None else _early_days(leak.reach, now_utc_s)
    if leak.level.likely >= limit:
        yield 0.0, Figure.LEAK, Text("care.leak_over", values), newest
    elif days is not None and days <= AHEAD_DAYS and leak.reach is not None:
        late = "care.leak_reaches" if leak.reach.likely_utc_s is not None else "care.leak_may_reach"
        told = values | {"early_utc_s": leak.reach.early_utc_s, "likely_utc_s": leak.reach.likely_utc_s}
        yield (1.0 if days <= SOON_DAYS else 4.0) + days / AHEAD_DAYS, Figure.LEAK, Text(late, told), newest
    step = _last_step(leak, RECENT_N)
    if step is not None and step.size > 0.0:
        told = values | {"step_kpa_per_min": step.size, "at_utc_s": step.utc_s}
        key = "care.leak_stepped" if step.certain else "care.leak_may_step"
        if_true = 3.5 if leak.level.likely + step.size >= limit else 5.9  # most possible steps are withdrawn again
        yield 2.0 if step.certain else if_true, Figure.LEAK, Text(key, told), _lift_at(step.utc_s, trends)
    if (
        leak.services
        and leak.services[-1].better is False
        and now_utc_s - leak.services[-1].utc_s < UNHELPED_DAYS * DAY_S
    ):
        last = leak.services[-1]
        told = values | {
            "at_utc_s": last.utc_s,
            "before_kpa_per_min": last.before.likely,
            "after_kpa_per_min": last.after.likely,
        }
        yield 3.2, Figure.LEAK, Text("care.service_no_better", told), _lift_at(last.utc_s, trends)
    if one.sisters is not None and one.sisters.low > SISTERS_RATIO and leak.level.likely > 0.2 * limit:
        yield 6.0, Figure.LEAK, Text("care.leak_over_sisters", values | {"times_ratio": one.sisters.likely}), newest


def _battery(config: LifterConfig, trends: LifterTrends, now_utc_s: float) -> Iterator[Item]:
    battery = trends.battery
    if battery.level is None or battery.reach is None or config.battery_low_v is None:
        return
    values: dict[str, Value] = {"battery_v": battery.level.likely, "limit_v": config.battery_low_v}
    at = _newest(battery, trends)
    lift = trends.ids[at] if at is not None else None
    if battery.reach.now:
        yield Item(2.2, config.id, None, Figure.BATTERY, Text("care.battery_low", values), lift=lift)
    elif (days := _early_days(battery.reach, now_utc_s)) is not None and days <= AHEAD_DAYS:
        told = Text("care.battery_reaches", values | {"early_utc_s": battery.reach.early_utc_s})
        yield Item(5.0 + days / AHEAD_DAYS, config.id, None, Figure.BATTERY, told, lift=lift)


def _inspections(
    config: LifterConfig, trends: LifterTrends, now_utc_s: float, examination_due_utc_s: float | None
) -> Iterator[Item]:
    """The examination's date from the site file; the periodic inspection by interval and by use since the last one noted."""
    if examination_due_utc_s is not None:
        days = (examination_due_utc_s - now_utc_s) / DAY_S
        if days < NEAR_DAYS:
            key = "care.examination_over" if days < 0.0 else "care.examination_due"
            urgency = 0.5 if days < 0.0 else 4.0
            yield Item(urgency, config.id, None, Figure.EXAMINATION, Text(key, {"due_utc_s": examination_due_utc_s}))
    noted = [one.utc_s for one in trends.services if one.about == "inspection"]
    begun_utc_s = noted[-1] if noted else (float(trends.utc_s[0]) if len(trends.utc_s) else None)
    if begun_utc_s is None:
        return
    lifts_n = int((trends.utc_s > begun_utc_s).sum())
    due_utc_s = begun_utc_s + config.inspection_days * DAY_S
    values: dict[str, Value] = {"due_utc_s": due_utc_s, "lifts_n": lifts_n, "since_utc_s": begun_utc_s}
    if config.inspection_lifts and lifts_n >= NEAR_SHARE * config.inspection_lifts:
        told = values | {"limit_n": config.inspection_lifts}
        over = lifts_n >= config.inspection_lifts
        yield Item(0.7 if over else 4.2, config.id, None, Figure.INSPECTION, Text("care.inspection_by_use", told))
    if now_utc_s > due_utc_s - NEAR_DAYS * DAY_S:
        key = "care.inspection_over" if now_utc_s > due_utc_s else "care.inspection_due"
        yield Item(0.6 if now_utc_s > due_utc_s else 4.1, config.id, None, Figure.INSPECTION, Text(key, values))


def _early_days(reach: Reach, now_utc_s: float) -> float | None:
    return None if reach.early_utc_s is None else (reach.early_utc_s - now_utc_s) / DAY_S


def _last_step(trend: Trend, within_n: int) -> Step | None:
    step = trend.steps[-1] if trend.steps else None
    return step if step is not None and len(trend.values) - step.lift <= within_n else None


def _newest(trend: Trend, trends: LifterTrends) -> int | None:
    return _lift_at(float(trend.utc_s[-1]), trends) if len(trend.utc_s) else None


def _lift_at(utc_s: float, trends: LifterTrends) -> int | None:
    """The first lift at or after a time, or the last one."""
    n = len(trends.utc_s)
    return min(int((trends.utc_s < utc_s).sum()), n - 1) if n else None
