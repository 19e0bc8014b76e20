"""Weak links, the same for native readings and for a mapped source: bursts, doubles, disorder, clocks, leftovers, slowness.

Each history is a recording judged by `replay`, which is the engine that runs live.
"""

import io
import json
from collections.abc import Callable, Iterable
from typing import Any

import pytest

from monitor.replay import replay
from monitor.settings.site import SiteSettings, read_site
from monitor.wire.recording import read_recording, write_line

T0 = 1764019200.0
SITE = """
site = "quayside"
[broker]
url = "mqtt://127.0.0.1"
[[lifter]]
id = "dock-6"
basis = "asme-bth-1"
wll_kg = 900
[lifter.circuits.A]
warning_kpa = 52
[lifter.pads]
A1 = {circuit = "A", x_mm = -900, y_mm = 300, area_cm2 = 1600}
A2 = {circuit = "A", x_mm = 900, y_mm = -300, area_cm2 = 1600}
[[source]]
topic = "gw/{lifter}"
format = "json"
time_at = "t"
time_unit = "ms"
seq_at = "n"
boot_at = "run"
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "v"
unit = "mbar"
reads = "gauge"
[[source.value]]
to = "load_kg"
at = "w"
"""

Sent = tuple[float, float, int, float]
"""When it arrived after T0, the sender's own time after T0, its count, its vacuum."""


def native(sent: Sent, boot: str = "b") -> bytes:
    arrived_s, stamp_s, seq, vacuum_kpa = sent
    message = {"time": T0 + stamp_s, "seq": seq, "boot": boot, "circuits": {"A": {"vacuum_kpa": vacuum_kpa}}}
    return write_line(
        "holdwatch/quayside/dock-6/readings", message | {"load_kg": 300.0, "tilt_deg": 0.0}, T0 + arrived_s
    )


def mapped(sent: Sent, boot: str = "b") -> bytes:
    arrived_s, stamp_s, seq, vacuum_kpa = sent
    message = {"t": round((T0 + stamp_s) * 1000), "n": seq, "run": boot, "v": round(-10 * vacuum_kpa, 3), "w": 300.0}
    return write_line("gw/dock-6", message, T0 + arrived_s)


@pytest.fixture(params=[native, mapped], ids=["native", "mapped"])
def line(request: pytest.FixtureRequest) -> Callable[..., bytes]:
    return request.param


@pytest.fixture(scope="module")
def site() -> SiteSettings:
    return read_site(SITE, name="site.toml")


def steady(from_s: float, to_s: float, every_s: float = 0.5, off_s: float = 0.0) -> list[Sent]:
    count = range(round(from_s / every_s), round(to_s / every_s))
    return [(n * every_s, n * every_s + off_s, n, 63.4 + 0.02 * (n % 5)) for n in count]


def judged(lines: Iterable[bytes], site: SiteSettings) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    statuses, summary = io.BytesIO(), io.BytesIO()
    replay(read_recording(lines), site, status_out=statuses, summary_out=summary)
    return [json.loads(status) for status in statuses.getvalue().splitlines()], json.loads(summary.getvalue())


def between(statuses: list[dict[str, Any]], from_s: float, to_s: float) -> list[dict[str, Any]]:
    return [status for status in statuses if from_s <= status["time"] - T0 < to_s]


def at_readings(statuses: list[dict[str, Any]]) -> dict[float, tuple[str, float | None]]:
    """Call and vacuum when each reading had come, by the time of its arrival (the readings come at whole half seconds)."""
    return {
        status["time"]: (status["call"], status["circuits"]["A"]["vacuum_kpa"])
        for status in statuses
        if status["time"] * 2 == int(status["time"] * 2)
    }


def test_burst_after_an_outage_fills_the_record_and_never_the_call(
    line: Callable[..., bytes], site: SiteSettings
) -> None:
    """Silent for 30 s with the load on; then the buffer comes at once, with a dip in it that is over."""
    outage = [(90.0 + 0.01 * n, 60.0 + n, 1000 + n, 40.0 if n == 15 else 63.4) for n in range(30)]
    after = [(90.5 + 0.5 * n, 90.5 + 0.5 * n, 2000 + n, 63.4 + 0.02 * (n % 5)) for n in range(60)]
    statuses, counted = judged([line(sent) for sent in [*steady(0, 60), *outage, *after]], site)
    assert between(statuses, 60.0, 90.0)[-1]["call"] == "no_signal"
    burst = between(statuses, 90.0, 90.26)  # the last three are less than 3 s old, as live ones may be
    assert burst
    assert {status["call"] for status in burst} == {"no_signal"}
    assert {status["circuits"]["A"]["state"] for status in burst} == {"no_reading"}
    assert (
        min(status["circuits"]["A"]["vacuum_kpa"] for status in statuses if status["circuits"]["A"]["vacuum_kpa"])
        > 60.0
    )
    assert statuses[-1]["circuits"]["A"]["state"] == "holding"
    [lift] = counted["lifts"]
    assert lift["circuits"]["A"]["late_lowest_kpa"] == 40.0
    assert lift["circuits"]["A"]["late_lowest_at"] == pytest.approx(T0 + 75.0, abs=0.6)
    assert lift["circuits"]["A"]["lowest_kpa"] > 60.0
    assert counted["counts"]["dock-6"]["late"] >= 26  # the last few are as new as live ones are
    assert lift["gap_s"] == pytest.approx(30.0, abs=3.0)


@pytest.mark.parametrize("hours", [1, 5])
def test_sender_cut_off_for_hours_is_never_answered_for_and_is_right_with_its_first_reading(
    hours: int, line: Callable[..., bytes], site: SiteSettings
) -> None:
    """The load hangs, the line is dead, and one circuit has fallen below its warning level when it comes back."""
    back_s = 60.0 + 3600.0 * hours
    back = [(back_s + 0.5 * n, back_s + 0.5 * n, 120 + n, 51.0) for n in range(60)]
    statuses, counted = judged(map(line, [*steady(0, 60), *back]), site)
    silent = between(statuses, 63.0, back_s)
    assert silent  # told on a change alone in a replay
    assert {status["call"] for status in silent} == {"no_signal"}
    assert {status["release"] for status in silent} == {"do_not_release"}
    assert {status["circuits"]["A"]["state"] for status in silent} == {"no_reading"}
    assert {status["call"] for status in between(statuses, back_s + 2.0, back_s + 30.0)} == {"land_now"}
    [lift] = counted["lifts"]
    assert lift["gap_s"] == pytest.approx(back_s - 60.0, abs=5.0)


def test_doubled_messages_change_nothing(line: Callable[..., bytes], site: SiteSettings) -> None:
    once = steady(0, 60)
    twice = [one for sent in once for one in (sent, (sent[0] + 0.05, *sent[1:]))]
    plain, _ = judged(map(line, once), site)
    doubled, counted = judged(map(line, twice), site)
    assert counted["counts"]["dock-6"]["doubled"] == len(once)
    assert doubled[-1]["circuits"]["A"]["vacuum_kpa"] == plain[-1]["circuits"]["A"]["vacuum_kpa"]
    assert doubled[-1]["call"] == plain[-1]["call"]
    assert at_readings(doubled) == at_readings(plain)


def test_disorder_never_puts_an_older_reading_in_place_of_a_newer(
    line: Callable[..., bytes], site: SiteSettings
) -> None:
    """Falling steadily, every fifth message a second late: the vacuum told never rises again."""
    sent = [(n * 0.2 + (1.0 if n % 5 == 0 else 0.0), n * 0.2, n, 63.0 - 0.05 * n) for n in range(200)]
    statuses, counted = judged(map(line, sorted(sent)), site)
    told = [status["circuits"]["A"]["vacuum_kpa"] for status in statuses]
    told = [value for value in told if value is not None]
    assert told == sorted(told, reverse=True)
    # Each fifth comes behind four that were sent after it.
    assert counted["counts"]["dock-6"]["late"] == 40


@pytest.mark.parametrize("off_s", [-3600.0, 3600.0, 86_400.0 * 365])
def test_wrong_clock_changes_no_call_and_is_told(off_s: float, line: Callable[..., bytes], site: SiteSettings) -> None:
    right, _ = judged(map(line, steady(0, 60)), site)
    wrong, _ = judged(map(line, steady(0, 60, off_s=off_s)), site)
    assert at_readings(wrong) == at_readings(right)
    [alarm] = [alarm for alarm in wrong[-1]["alarms"] if alarm["key"] == "clock_wrong"]
    assert alarm["text"]["values"]["value_s"] == pytest.approx(abs(off_s), abs=1.0)
    assert not [alarm for alarm in right[-1]["alarms"] if alarm["key"] == "clock_wrong"]


@pytest.mark.parametrize("jump_s", [-3600.0, 3600.0])
def test_clock_that_jumps_costs_no_circuit_its_reading(
    jump_s: float, line: Callable[..., bytes], site: SiteSettings
) -> None:
    before = steady(0, 60)
    after = [(arrived_s, stamp_s + jump_s, seq, vacuum_kpa) for arrived_s, stamp_s, seq, vacuum_kpa in steady(60, 120)]
    statuses, counted = judged(map(line, [*before, *after]), site)
    assert "no_reading" not in {status["circuits"]["A"]["state"] for status in between(statuses, 5.0, 120.0)}
    assert counted["counts"]["dock-6"]["late"] <= 1


def test_sender_that_restarts_is_heard_at_once(line: Callable[..., bytes], site: SiteSettings) -> None:
    before = [line(sent) for sent in steady(0, 60)]
    after = [
        line((arrived_s, stamp_s, seq - 120, vacuum_kpa), boot="c")
        for arrived_s, stamp_s, seq, vacuum_kpa in steady(60, 90)
    ]
    _, counted = judged([*before, *after], site)
    assert counted["counts"]["dock-6"]["live"] == 180
    assert counted["counts"]["dock-6"]["late"] == 0


def test_leftovers_are_nothing_live(line: Callable[..., bytes], site: SiteSettings) -> None:
    kept = json.loads(line((0.0, -60.0, 1, 63.4))) | {"retained": True}
    statuses, counted = judged([json.dumps(kept).encode() + b"\n"], site)
    assert counted["counts"]["dock-6"]["retained"] == 1
    assert counted["counts"]["dock-6"]["live"] == 0
    assert {status["circuits"]["A"]["state"] for status in statuses} == {"no_reading"}


def test_radio_that_gives_one_reading_in_five_seconds(line: Callable[..., bytes], site: SiteSettings) -> None:
    """Rule 1: stale after 3.5 intervals, 17.5 s; above 10 s the lifter is slow, and the age joins the time to land."""
    statuses, _ = judged([line(sent) for sent in steady(0, 300, every_s=5.0)], site)
    known = between(statuses, 60.0, 299.0)
    assert {status["circuits"]["A"]["state"] for status in known} == {"holding"}
    assert known[-1]["facts"]["slow"] is True
    tail = [*steady(0, 300, every_s=5.0)]
    ticking = write_line("holdwatch/quayside/other/readings", {}, T0 + 330.0)
    statuses, _ = judged([*map(line, tail), ticking], site)
    silent = [
        status["time"] - T0
        for status in statuses
        if status["circuits"]["A"]["state"] == "no_reading" and status["time"] > T0 + 100
    ]
    assert silent[0] == pytest.approx(295.0 + 17.5, abs=0.51)
