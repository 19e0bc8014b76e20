"""What comes from sources of the site file: journalled as native readings, judged alike live, in replay and again."""

import io
import json
import struct
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from monitor.broker import LinkUp, Message
from monitor.clock import monotonic_s
from monitor.core import engine
from monitor.core.events import FilledIn, MessagesLost, ReadingCame, Tick
from monitor.core.intake import News
from monitor.core.readings import CircuitReading, Reading, Rejected
from monitor.drive import Drive
from monitor.journalled import came_row, event_of
from monitor.replay import replay
from monitor.settings.site import SiteSettings, read_site
from monitor.store.records import open_reader
from monitor.wire.inbox import Ask, Online
from monitor.wire.joining import Old
from monitor.wire.mapping import Unreadable
from monitor.wire.recording import read_recording, write_line
from tests.small_site import SMALL_SITE
from tests.unit.service.test_service import Running, until

T0 = 1764019200.0
SOURCES = """
[[source]]
topic = "vac/{lifter}/{circuit}"
format = "json"
time_at = "t"
seq_at = "n"
[[source.value]]
to = "circuits.{circuit}.vacuum_kpa"
at = "v"
[[source]]
topic = "load/{lifter}"
format = "binary"
fields = ["f32 kg"]
[[source.value]]
to = "load_kg"
at = "kg"
[[source]]
topic = "gauges/{lifter}/{circuit}"
format = "number"
[[source.value]]
to = "circuits.A.gauges.1"
[[source]]
topic = "gauge2/{lifter}"
format = "number"
[[source.value]]
to = "circuits.A.gauges.2"
"""


@pytest.fixture(scope="module")
def site() -> SiteSettings:
    return read_site(SMALL_SITE + SOURCES, name="site.toml")


@pytest.fixture
def running(tmp_path: Path, site: SiteSettings) -> Iterator[Running]:
    made = Running(tmp_path, site)
    yield made
    made.stop()


def put(running: Running, topic: str, payload: object, *, retained: bool = False) -> None:
    data = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    running.link.put(Message(topic, data, retained, monotonic_s()))


def test_every_value_is_told_with_its_own_age(running: Running) -> None:
    end_s = time.monotonic() + 10
    while not hasattr(running.link, "topics") and time.monotonic() < end_s:  # the service starts in its own thread
        time.sleep(0.01)
    assert {"vac/+/+", "load/+"} <= set(running.link.topics)
    running.link.put(LinkUp("5", "", monotonic_s()))
    put(running, "vac/dock-6/A", {"v": 63.4, "t": time.time(), "n": 1})
    time.sleep(0.6)
    put(running, "vac/dock-6/B", {"v": 57.8, "t": time.time(), "n": 1})
    put(running, "load/dock-6", struct.pack(">f", 622.5))
    until(lambda: running.link.last().get("load", {}).get("kg") == 622.5)
    circuits = running.link.last()["circuits"]
    assert (circuits["A"]["vacuum_kpa"], circuits["B"]["vacuum_kpa"]) == (63.4, 57.8)
    assert circuits["A"]["age_s"] >= 0.6
    assert circuits["B"]["age_s"] < circuits["A"]["age_s"]


def test_rows_of_the_journal_are_native_readings_by_their_kind(running: Running, tmp_path: Path) -> None:
    now_s = time.time()
    put(running, "vac/dock-6/A", {"v": 63.4, "t": now_s, "n": 1})
    put(running, "vac/dock-6/A", {"v": 63.4, "t": now_s, "n": 1})
    put(running, "vac/dock-6/A", {"v": 99.0, "t": now_s, "n": 2}, retained=True)
    put(running, "vac/dock-6/A", b"{")
    put(running, "vac/dock-9/A", {"v": 63.4})
    until(lambda: running.link.last().get("counts", {}).get("rejected") == 1)
    counts = running.link.last()["counts"]
    assert (counts["live"], counts["doubled"], counts["retained"]) == (1, 1, 1)
    running.service._writer.flush(5.0)
    reader = open_reader(tmp_path)
    rows = [(row.kind, row.payload) for row in reader.journal(since_s=0.0) if row.lifter == "dock-6"]
    reader.close()
    messages = [(kind, payload) for kind, payload in rows if kind in ("reading", "doubled", "retained", "unreadable")]
    assert [kind for kind, _ in messages] == ["reading", "doubled", "retained", "unreadable"]
    assert msgspec.json.decode(messages[0][1]) == {"circuits": {"A": {"vacuum_kpa": 63.4}, "B": {}}}
    assert messages[3][1] == b"{"


@pytest.mark.parametrize("allowed", [True, False])
def test_device_is_asked_only_where_the_site_file_allows_it(allowed: bool, tmp_path: Path) -> None:
    source = '[[source]]\ntopic = "spBv1.0/plant/+/gw/{lifter}"\nformat = "sparkplug"\n'
    text = SMALL_SITE + SOURCES + source + (f"ask_rebirth = {str(allowed).lower()}\n")
    made = Running(tmp_path, read_site(text, name="site.toml"))
    try:
        # A metric by an alias that no birth named: only a rebirth tells what it is.
        put(made, "spBv1.0/plant/DDATA/gw/dock-6", b"\x12\x0b\x10\x01\x69" + struct.pack("<d", -59.5) + b"\x18\x07")
        put(made, "load/dock-6", struct.pack(">f", 622.5))
        until(lambda: made.link.last().get("load", {}).get("kg") == 622.5)
        asked = [(topic, retained) for _, topic, _, retained, _ in made.link.sent if topic.startswith("spBv1.0")]
        assert asked == ([("spBv1.0/plant/NCMD/gw", False)] if allowed else [])
    finally:
        made.stop()


def test_order_of_a_topic_outlives_a_restart(tmp_path: Path, site: SiteSettings) -> None:
    """The box restarts while the sender keeps a buffer: what it empties first is still old."""
    now_s = time.time()
    first = Running(tmp_path, site)
    put(first, "vac/dock-6/A", {"v": 63.4, "t": now_s, "n": 100})
    until(lambda: first.link.last().get("circuits", {}).get("A", {}).get("vacuum_kpa") == 63.4)
    first.stop()
    again = Running(tmp_path, site)
    try:
        put(again, "vac/dock-6/A", {"v": 31.0, "t": now_s - 60.0, "n": 40})
        until(lambda: again.link.last().get("counts", {}).get("late") == 1)
        assert again.link.last()["circuits"]["A"]["vacuum_kpa"] == 63.4
        assert again.link.last()["circuits"]["A"]["state"] in ("no_reading", "holding")
    finally:
        again.stop()


def test_gauge_alone_goes_out_at_a_tick(running: Running) -> None:
    put(running, "gauges/dock-6/A", b"57.8")
    until(lambda: running.link.last().get("circuits", {}).get("A", {}).get("vacuum_kpa") == 57.8, 3.0)


@pytest.mark.parametrize(
    ("came", "kind", "judged"),
    [
        (Reading("dock-6", {"A": CircuitReading(63.4)}), "reading", None),
        (Old(Reading("dock-6", {"A": CircuitReading(63.4)}, sent_utc_s=T0), News.LATE), "late", News.LATE),
        (Old(Reading("dock-6", {"A": CircuitReading(63.4)}, seq=4), News.DOUBLED), "doubled", News.DOUBLED),
    ],
)
def test_what_came_is_a_row_and_the_row_its_event(came: Reading | Old, kind: str, judged: News | None) -> None:
    row = came_row(came, b"")
    assert row is not None
    assert row[0] == kind
    reading = came.reading if isinstance(came, Old) else came
    assert event_of(*row) == ReadingCame(reading, retained=False, judged=judged)


def test_unreadable_stays_so_even_where_it_looks_like_a_native_reading() -> None:
    native = b'{"circuits": {"A": {"vacuum_kpa": 63.4}}}'
    row = came_row(Unreadable("dock-6", Rejected("wrong_shape", "x")), native)
    assert row == ("unreadable", "dock-6", native)
    assert type(event_of(*row)).__name__ == "UnreadableCame"


def test_hints_are_rows_and_questions_none() -> None:
    row = came_row(Online("dock-6", online=True), b"")
    assert row is not None
    assert row[0] == "connection"
    row = came_row(MessagesLost("dock-6", 3), b"")
    assert row is not None
    assert event_of(*row) == MessagesLost("dock-6", 3)
    assert came_row(Ask("a", b""), b"") is None
    assert came_row(Unreadable(None, Rejected("wrong_shape", "x")), b"") is None


# Old readings: the record and the trend, never the call


def drive(site: SiteSettings) -> Drive:
    made = Drive(engine.begin(site.core, version="test"), T0)
    for tenth in range(200):
        at_s = T0 + tenth / 5.0
        circuits = {name: CircuitReading(63.4 + 0.05 * (tenth % 3)) for name in "AB"}
        list(made.advance(at_s))
        made.take(ReadingCame(Reading("dock-6", circuits, load_kg=0.0 if tenth < 50 else 600.0)))
    return made


def told(effects: Any) -> dict[str, Any]:
    return {type(one).__name__: one for one in effects}


def test_late_reading_fills_the_record_and_the_trend_and_changes_no_call(site: SiteSettings) -> None:
    made = drive(site)
    log = made.state.lifters["dock-6"].log
    assert log is not None
    assert log.load_on_s is not None
    before = told(made.take(Tick()))["Told"].status
    late = Reading("dock-6", {"A": CircuitReading(31.0), "B": CircuitReading()}, sent_utc_s=T0 + 30.0)
    effects = told(made.take(ReadingCame(late, judged=News.LATE)))
    after = effects["Told"].status
    assert effects["FilledIn"] == FilledIn("dock-6", T0 + 30.0, (("A", 31.0),))
    assert after.called == before.called
    assert after.facts.circuits["A"].vacuum_kpa == before.facts.circuits["A"].vacuum_kpa
    assert after.facts.circuits["A"].age_s == before.facts.circuits["A"].age_s
    assert after.counts["late"] == before.counts["late"] + 1
    assert (log.circuits["A"].late_n, log.circuits["A"].late_lowest_kpa) == (1, 31.0)
    assert log.circuits["B"].late_n == 0
    assert log.circuits["A"].lowest_kpa is not None
    assert log.circuits["A"].lowest_kpa > 60.0


def test_native_reading_out_of_a_buffer_fills_in_too(site: SiteSettings) -> None:
    """Its own clock is an hour behind; by the quickest reading so far it was measured at T0 + 20."""
    made = Drive(engine.begin(site.core, version="test"), T0)
    for second in range(30):
        list(made.advance(T0 + second))
        circuits = {name: CircuitReading(63.4) for name in "AB"}
        made.take(ReadingCame(Reading("dock-6", circuits, sent_utc_s=T0 + second - 3600.0)))
    effects = told(
        made.take(ReadingCame(Reading("dock-6", {"A": CircuitReading(60.0)}, sent_utc_s=T0 + 20.0 - 3600.0)))
    )
    assert effects["FilledIn"].at_s == T0 + 20.0


@pytest.mark.parametrize("sent_utc_s", [None, T0 + 1000.0])
def test_late_reading_without_a_time_that_can_be_is_only_counted(site: SiteSettings, sent_utc_s: float | None) -> None:
    made = drive(site)
    late = Reading("dock-6", {"A": CircuitReading(31.0)}, sent_utc_s=sent_utc_s)
    assert set(told(made.take(ReadingCame(late, judged=News.LATE)))) == {"Told"}


def test_page_opened_later_sees_the_gap_filled(running: Running) -> None:
    began_s = time.time()
    put(running, "vac/dock-6/A", {"v": 63.4, "t": began_s, "n": 1})
    points = running.service._history.points
    until(lambda: len(points().get("dock-6", {}).get("A", [])) >= 6, 12.0)  # silent meanwhile
    put(running, "vac/dock-6/A", {"v": 63.0, "t": time.time(), "n": 3})
    put(running, "vac/dock-6/A", {"v": 61.5, "t": began_s + 5.0, "n": 2})
    until(lambda: 61.5 in [value for _, value in points()["dock-6"]["A"]])


# A recording of the same messages


def test_recording_of_foreign_topics_is_judged_as_live(site: SiteSettings) -> None:
    def lines() -> Iterator[bytes]:
        for second in range(60):
            for name, vacuum_kpa in (("A", 63.4), ("B", 57.8)):
                said = {"v": vacuum_kpa + 0.05 * (second % 3), "t": T0 + second, "n": second}
                yield write_line(f"vac/dock-6/{name}", said, T0 + second)
                if second == 30 and name == "A":
                    yield write_line(f"vac/dock-6/{name}", said, T0 + second + 0.1)
                    yield write_line(f"vac/dock-6/{name}", {"v": 1.0, "t": T0 + 20.5, "n": 20}, T0 + second + 0.2)
                    yield write_line(
                        f"vac/dock-6/{name}", {"v": 1.0, "t": T0, "n": 0}, T0 + second + 0.3, retained=True
                    )
                    yield write_line(f"vac/dock-6/{name}", b"\xff\x00", T0 + second + 0.4)
            yield write_line("load/dock-6", struct.pack(">f", 0.0 if second < 10 else 600.0), T0 + second)
        yield write_line("other/topic", 1, T0 + 60.0)

    statuses, summary = io.BytesIO(), io.BytesIO()
    replay(read_recording(lines()), site, status_out=statuses, summary_out=summary)
    counted = json.loads(summary.getvalue())
    last = json.loads(statuses.getvalue().splitlines()[-1])
    assert counted["other_topics_n"] == 1
    assert counted["bad_n"] == 1
    assert counted["counts"]["dock-6"] == {
        "live": 180, "doubled": 1, "late": 1, "retained": 1, "rejected": 1, "refused": 0, "lost": 0,
    }  # fmt: skip
    assert last["phase"] == "carrying"
    assert last["circuits"]["A"]["vacuum_kpa"] > 63.0
    [lift] = counted["lifts"]
    assert lift["circuits"]["A"]["late_lowest_kpa"] == 1.0


def test_recording_without_arrivals_runs_on_the_sources_own_time(site: SiteSettings) -> None:
    lines = [write_line("vac/dock-6/A", {"v": 63.4, "t": T0 + second, "n": second}) for second in range(10)]
    report = replay(read_recording(lines), site)
    assert (report.began_utc_s, report.ended_utc_s) == (T0, T0 + 9.0)
