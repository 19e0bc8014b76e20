"""The publisher: recordings byte for byte, lifters of a site file, and what goes to a broker (a stand-in here)."""

import json
import threading
import time
from pathlib import Path

import pytest

from monitor.settings.site import SiteSettings, load_site, read_site
from monitor.wire.reading_json import decode_reading
from monitor.wire.recording import RecordingLine, read_recording
from simulator import publisher
from simulator.delivery import Sent
from simulator.publisher import RECORDING_EPOCH_UTC_S, bind, message_of, recording_lines, run, topic_of, write_recording
from simulator.scenarios import ScenarioError, load, names
from tests.unit.simulator.lifts import HANGING, scenario

SITE = """
site = "harbour"
root = "site/hw"
altitude_m = 2000
[broker]
url = "mqtt://127.0.0.1:1883"
[[lifter]]
id = "crane-1"
basis = "asme-bth-1"
wll_kg = 900
load_measures = "hook"
tare_kg = 180
expected_interval_s = 0.1
circuits.A = {{ warning_kpa = 40, volume_l = 20 }}
circuits.B = {{ warning_kpa = 40 }}
circuits.C = {{ warning_kpa = 40 }}
circuits.D = {{ warning_kpa = 40 }}
{more}
"""


def site(more: str = "") -> SiteSettings:
    return read_site(SITE.format(more=more), name="harbour.toml")


class BrokerStandIn:
    """Keeps what would have been published."""

    made: "BrokerStandIn"

    def __init__(self, url: str, **options: object) -> None:
        self.options = options | {"url": url}
        self.connected = False
        self.published: list[tuple[float, str, bytes, bool]] = []
        self.stopped = False
        BrokerStandIn.made = self

    def start(self) -> None:
        self.connected = True

    def stop(self) -> None:
        self.stopped = True

    def drain(self, _timeout_s: float) -> list[object]:
        return []

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self.published.append((time.monotonic(), topic, payload, retain))


@pytest.fixture
def broker(monkeypatch: pytest.MonkeyPatch) -> type[BrokerStandIn]:
    monkeypatch.setattr(publisher, "BrokerClient", BrokerStandIn)
    return BrokerStandIn


# --- Recordings ---


def test_recording_of_every_scenario_can_be_read_again(tmp_path: Path) -> None:
    for name in names():
        path = tmp_path / f"{name}.jsonl"
        lines_n = write_recording(name, path, seed=2)
        lines = list(read_recording(path.read_bytes().splitlines()))
        assert len(lines) == lines_n
        assert all(isinstance(line, RecordingLine) for line in lines)
        received = [line.received_s for line in lines]
        assert received == sorted(received)
        assert received[0] == RECORDING_EPOCH_UTC_S


def test_readings_of_a_clean_recording_are_believed_whole(tmp_path: Path) -> None:
    write_recording("clean-lift", tmp_path / "r.jsonl")
    readings = [
        decode_reading(line.message, lifter="dock-6")
        for line in read_recording((tmp_path / "r.jsonl").read_bytes().splitlines())
        if line.topic.endswith("/readings")
    ]
    assert len(readings) == 245 * 5 + 1
    assert all(reading.refused == () for reading in readings)
    assert [reading.seq for reading in readings] == list(range(len(readings)))
    assert readings[5].sent_utc_s == RECORDING_EPOCH_UTC_S + 1.0
    assert None not in (readings[0].load_kg, readings[0].ambient_kpa, readings[0].release_valve, readings[0].boot)


def test_same_seed_writes_the_same_bytes(tmp_path: Path) -> None:
    for name, seed in (("one", 4), ("again", 4), ("other", 5)):
        write_recording("rough-network", tmp_path / name, seed=seed)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "again").read_bytes()
    assert (tmp_path / "one").read_bytes() != (tmp_path / "other").read_bytes()


def test_recording_holds_what_a_person_told(tmp_path: Path) -> None:
    write_recording("heavier-than-planned", tmp_path / "r.jsonl")
    told = [
        line
        for line in map(json.loads, (tmp_path / "r.jsonl").read_bytes().splitlines())
        if line["topic"].endswith("/actions")
    ]
    assert [line["payload"]["kind"] for line in told] == ["plan"]
    assert set(told[0]["payload"]) == {"id", "kind", "who", "role", "params"}
    assert told[0]["received"] == RECORDING_EPOCH_UTC_S + 1.0


def test_leftovers_are_marked_in_a_recording() -> None:
    leftovers = scenario('faults = [{ at_s = 0, for_s = 1, kind = "retained" }]')
    lines = [json.loads(line) for line in recording_lines(bind(leftovers, None))]
    marked = [line for line in lines if line.get("retained")]
    assert len(marked) == 5
    assert all(line["topic"] == "holdwatch/quayside/dock-6/readings" for line in marked)


def test_garbled_message_stands_in_a_recording_as_it_came() -> None:
    garbled = scenario('faults = [{ at_s = 0, kind = "garbled", share_ratio = 1.0 }]')
    bound = bind(garbled, None)
    sent = Sent(0.0, "readings", '{"seq":3,"bo')
    assert message_of(sent, epoch_utc_s=0.0) == b'{"seq":3,"bo'
    lines = list(read_recording(recording_lines(bound)))
    assert decode_reading(lines[-1].message, lifter="dock-6").reason == "not_json"


# --- Lifters of a site file ---


def test_demo_site_is_the_built_in_lifter() -> None:
    built_in = bind("clean-lift", None)
    demo = bind("clean-lift", load_site(Path("configs/demo.toml")))
    assert demo.lifter.circuits == built_in.lifter.circuits
    assert demo.topics == built_in.topics
    assert demo.lifter.id == built_in.lifter.id


def test_site_file_decides_circuits_topic_rate_tare_and_altitude(tmp_path: Path) -> None:
    write_recording("clean-lift", tmp_path / "r.jsonl", site=site())
    lines = [json.loads(line) for line in (tmp_path / "r.jsonl").read_bytes().splitlines()]
    readings = [line for line in lines if line["topic"] == "site/hw/harbour/crane-1/readings"]
    assert len(readings) == 2451
    first = readings[0]["payload"]
    assert list(first["circuits"]) == ["A", "B", "C", "D"]
    assert first["load_kg"] == pytest.approx(180.0, abs=8.0)
    assert first["ambient_kpa"] == pytest.approx(79.495, abs=0.1)  # ISO 2533 at 2000 m
    assert max(line["payload"]["load_kg"] for line in readings) > 780.0


def test_site_without_load_cell_gets_no_load(tmp_path: Path) -> None:
    text = SITE.format(more="").replace('"hook"', '"none"')
    write_recording("clean-lift", tmp_path / "r.jsonl", site=read_site(text, name="x.toml"))
    assert b"load_kg" not in (tmp_path / "r.jsonl").read_bytes()


def test_lifter_can_be_chosen_and_a_stray_one_is_told() -> None:
    two = '[[lifter]]\nid = "crane-2"\nbasis = "asme-bth-1"\nwll_kg = 500\ncircuits.X = { warning_kpa = 40 }\n'
    assert bind("clean-lift", site(two), lifter_id="crane-2").lifter.id == "crane-2"
    assert bind("clean-lift", site(two)).lifter.id == "crane-1"
    with pytest.raises(ScenarioError, match="harbour has no lifter crane-9; it has crane-1, crane-2"):
        bind("clean-lift", site(two), lifter_id="crane-9")
    with pytest.raises(ScenarioError, match=r"leak-in-flight\.toml names circuit B; lifter crane-2 has X"):
        bind("leak-in-flight", site(two), lifter_id="crane-2")


# --- Live ---


def test_live_run_publishes_stamped_readings_in_scaled_time(broker: type[BrokerStandIn]) -> None:
    before_s = time.time()
    published_n = run(scenario(duration_s=10), broker_url="mqtt://127.0.0.1:1", speed=20.0)
    made = broker.made
    assert made.options["will"] == ("holdwatch/quayside/dock-6/connection", b"offline", True)
    first, *readings, last = made.published
    assert first[1:] == ("holdwatch/quayside/dock-6/connection", b"online", True)
    assert last[1:] == ("holdwatch/quayside/dock-6/connection", b"offline", True)
    assert published_n == 1 + len(readings) == 52
    assert not any(retain for *_, retain in readings)
    assert 0.4 < readings[-1][0] - readings[0][0] < 1.5
    stamps = [json.loads(payload)["time"] for _, _, payload, _ in readings]
    assert stamps[-1] - stamps[0] == pytest.approx(0.5, abs=0.002)
    assert stamps[0] == pytest.approx(before_s, abs=0.5)
    assert made.stopped


def test_live_run_never_publishes_actions(broker: type[BrokerStandIn]) -> None:
    told = scenario('tells = [{ at_s = 1, kind = "landed_fixed" }]', HANGING, duration_s=3)
    run(told, broker_url="mqtt://127.0.0.1:1", speed=50.0)
    assert {topic.rsplit("/", 1)[1] for _, topic, _, _ in broker.made.published} == {"readings", "connection"}


def test_stop_ends_a_loop_at_once_and_numbers_go_on_over_rounds(
    broker: type[BrokerStandIn], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(publisher, "LOOP_PAUSE_S", 1.0)
    stop = threading.Event()
    runner = threading.Thread(
        target=run,
        args=(scenario(duration_s=2),),
        kwargs={"broker_url": "mqtt://127.0.0.1:1", "speed": 40.0, "loop": True, "stop": stop},
    )
    runner.start()
    time.sleep(0.4)
    stop.set()
    runner.join(1.0)
    assert not runner.is_alive()
    payloads = [json.loads(payload) for _, topic, payload, _ in broker.made.published if topic.endswith("readings")]
    assert [payload["seq"] for payload in payloads] == list(range(len(payloads)))
    assert len(payloads) > 32  # two rounds and more


def test_story_is_replaced_as_it_is_told(broker: type[BrokerStandIn], tmp_path: Path) -> None:
    told = scenario('story = [{ at_s = 0, line = "One." }, { at_s = 1, line = "Two." }]', HANGING, duration_s=2)
    story = tmp_path / "story.json"
    run(told, broker_url="mqtt://127.0.0.1:1", speed=50.0, story_path=story)
    now = json.loads(story.read_text())
    assert (now["scenario"], now["title"], now["line"]) == ("test", "test", "Two.")
    assert now["utc_s"] == pytest.approx(time.time(), abs=5.0)
    assert [path.name for path in tmp_path.iterdir()] == ["story.json"]


def test_topics_follow_the_site() -> None:
    bound = bind(load("clean-lift"), site())
    assert topic_of(Sent(0.0, "actions", {}), bound) == "site/hw/harbour/crane-1/actions"
    assert topic_of(Sent(0.0, "connection", "online"), bound) == "site/hw/harbour/crane-1/connection"
