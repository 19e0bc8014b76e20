"""Readings that came after their time: they fill the record and the trend, never the live call."""

from collections.abc import Iterator

from monitor.core import summary
from monitor.core.events import FilledIn
from monitor.core.lifter import LifterState, ambient_for_gauges_kpa
from monitor.core.readings import Reading
from monitor.core.sensors import lowest_kpa


def fill_in(one: LifterState, reading: Reading, lag_s: float | None, now_s: float) -> Iterator[FilledIn]:
    """Note an old reading in the record of the lift in progress, and tell it for the trend.

    Args:
        one: The lifter.
        reading: The late reading.
        lag_s: Engine time minus the clock that stamped it, s; None where that is not known, and nothing is filled in.
        now_s: Engine time.
    """
    if lag_s is None or reading.sent_utc_s is None or reading.sent_utc_s + lag_s > now_s:
        return
    at_s = reading.sent_utc_s + lag_s
    ambient_kpa = ambient_for_gauges_kpa(one, now_s)
    lowest = ((name, lowest_kpa(circuit, ambient_kpa)) for name, circuit in reading.circuits.items())
    vacuums = tuple((name, value) for name, value in lowest if value is not None and name in one.config.circuits)
    if not vacuums:
        return
    if one.log is not None:
        summary.note_late(one.log, vacuums, at_s)
    yield FilledIn(reading.lifter, at_s, vacuums)
