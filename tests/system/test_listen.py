"""``listen`` beside a foreign client, on a real Mosquitto."""

import contextlib
import json
import queue
import signal
import subprocess
import time
from pathlib import Path

import pytest

from monitor.settings.site import read_site
from tests.brokers import Broker, mosquitto, wait_for
from tests.system.program import Program, Publisher
from tests.system.test_run import READINGS, SITE, reading
from tests.tools import need

pytestmark = pytest.mark.system


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_what_arrives_is_told_line_by_line_until_stopped(how: signal.Signals, tmp_path: Path) -> None:
    broker = mosquitto(tmp_path)
    broker.start()
    site = tmp_path / "quayside.toml"
    site.write_text(SITE.format(url=broker.url))
    try:
        with Program("listen", "--site", site, "--every", "1") as listen, Publisher(broker, READINGS) as lifter:
            assert "connected with MQTT 5" in listen.line()
            for seq in range(10):
                lifter.send(reading(seq) | {"load_kg": "heavy"})
                time.sleep(0.2)
            told = [listen.line() for _ in range(4)]
            assert listen.end(how)[0] == 0
        assert "dock-6 sends circuit A 63 kPa below ambient (pump off)" in told[0]
        assert any("load_kg is no number: found 'heavy'" in line for line in told)
        assert any("messages a second, last reading" in line for line in told)
    finally:
        broker.kill()


SOURCES = """
[[source]]
topic = "plant/{{lifter}}/{{circuit}}"
format = "binary"
fields = ["i16 vac"]
[[source.value]]
to = "circuits.{{circuit}}.vacuum_kpa"
at = "vac"
unit = "mbar"
reads = "gauge"
"""


def send(broker: Broker, topic: str, payload: bytes, *more: str) -> None:
    command = [need("mosquitto_pub"), "-p", str(broker.port), "-t", topic, "-s", *more]
    subprocess.run(command, input=payload, check=True, timeout=5)


def test_hardware_with_topics_of_its_own_is_told_recorded_and_replayed(tmp_path: Path) -> None:
    broker = mosquitto(tmp_path)
    broker.start()
    site, recording = tmp_path / "quayside.toml", tmp_path / "heard.jsonl"
    site.write_text((SITE + SOURCES).format(url=broker.url))
    try:
        with Program("listen", "--site", site, "--every", "1", "--out", recording) as listen:
            assert "connected with MQTT 5" in listen.line()
            for tenth in range(6):
                send(broker, "plant/dock-6/A", (-634 + tenth).to_bytes(2, signed=True))
                time.sleep(0.25)
            send(broker, "plant/dock-6/B", b"\xff")
            told = [listen.line() for _ in range(7)]
            assert listen.end(signal.SIGTERM)[0] == 0
    finally:
        broker.kill()
    assert any(line.endswith("plant/dock-6/A: dock-6 circuit A 63.4 kPa below ambient") for line in told)
    assert any("plant/dock-6/B: cannot be read" in line and "1 bytes, not 2" in line for line in told)
    assert any("last heard: circuit A" in line and "circuit B never" in line for line in told)
    statuses = tmp_path / "out.jsonl"
    with Program("replay", recording, "--site", site, "--status", statuses) as replay:
        assert replay.process.wait(30) == 0
    values = [json.loads(line)["circuits"]["A"]["vacuum_kpa"] for line in statuses.read_text().splitlines()]
    assert set(values) - {None} == {63.4, 63.3, 63.2, 63.1, 63.0, 62.9}
    with Program("listen", "--site", site, "--out", recording) as again:  # no recording is written over
        assert again.process.wait(30) == 2


def test_draft_of_the_sources_is_printed_and_fits_the_site_file(tmp_path: Path) -> None:
    broker = mosquitto(tmp_path)
    broker.start()
    site = tmp_path / "quayside.toml"
    site.write_text(SITE.format(url=broker.url))
    try:
        with Program("listen", "--site", site, "--draft", "--for", "3") as listen:
            wait_for(lambda: "connected" in listen.said(), 10, "connected")
            send(broker, "gauges/dock-6/A/vac_mbar", b"-634")
            send(broker, "gauges/dock-6/B/vac_mbar", b"-578")
            assert listen.process.wait(10) == 0
            lines = []
            with contextlib.suppress(queue.Empty):
                while True:
                    lines.append(listen.line(0.5))
    finally:
        broker.kill()
    [source] = read_site(site.read_text() + "\n".join(lines), name="site.toml").sources
    assert source.topic == "gauges/{lifter}/{circuit}/vac_mbar"
    assert (source.values[0].unit, source.values[0].reads) == ("mbar", "gauge")
