"""The examples people copy, run as they stand but for the lines they are told to change, on a real broker."""

import http.server
import json
import os
import queue
import re
import runpy
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.brokers import ROOT, Broker, mosquitto, wait_for
from tests.system.program import Program, Publisher, Subscriber
from tests.system.quayside import READINGS, SITE, STATUS, reading
from tests.tools import need

pytestmark = pytest.mark.system
EXAMPLES = ROOT / "configs" / "examples"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    passwords = tmp_path / "passwords"
    subprocess.run([need("mosquitto_passwd"), "-c", "-b", str(passwords), "dock-6", "its password"], check=True)
    made = mosquitto(tmp_path, f"password_file {passwords}")
    made.start()
    yield made
    made.kill()


class Sender:
    """The worked sender, on stand-ins for the microcontroller's own modules and a real network."""

    def __init__(self, broker: Broker, folder: Path) -> None:
        text = (EXAMPLES / "sender.py").read_text()
        text, changed_n = re.subn(
            r'BROKER, PORT, .*?= "192.168.1.20", 1883,',
            f'BROKER, PORT, USER, PASSWORD = "127.0.0.1", {broker.port},',
            text,
        )
        assert changed_n == 1
        (folder / "main.py").write_text(text)
        self.pin = folder / "pin"
        self.vacuum(63.4)
        environment = os.environ | {"PYTHONPATH": str(ROOT / "tests" / "stand_ins"), "STAND_IN_PIN": str(self.pin)}
        self.process = subprocess.Popen([sys.executable, str(folder / "main.py")], env=environment)

    def vacuum(self, vacuum_kpa: float) -> None:
        """What the sensor's data sheet says of it: 0.5 V to 4.5 V for 0 to -100 kPa; half of it reaches the pin."""
        whole = self.pin.with_name("pin.new")  # a voltage is never half there
        whole.write_text(str(round((0.5 + vacuum_kpa / 100 * 4) / 2 * 1e6)))
        whole.replace(self.pin)


@pytest.fixture
def sender(broker: Broker, tmp_path: Path) -> Iterator[Sender]:
    made = Sender(broker, tmp_path)
    yield made
    made.process.kill()
    made.process.wait()


def test_sender_of_the_guide_is_about_forty_lines_and_stands_in_the_guide() -> None:
    text = (EXAMPLES / "sender.py").read_text()
    assert len([line for line in text.splitlines() if line.strip()]) <= 45
    assert text in (ROOT / "dashboards" / "help" / "first-circuit.md").read_text()


def test_sender_becomes_a_live_circuit_and_comes_back_after_an_outage(
    sender: Sender, broker: Broker, tmp_path: Path
) -> None:
    site = tmp_path / "quayside.toml"
    site.write_text(SITE.format(url=broker.url))
    with Program("run", "--site", site, "--data", tmp_path / "data") as program:
        program.until_ready()
        with Subscriber(broker, STATUS) as told:
            _, _, _, status = told.until(lambda status: status["circuits"]["A"]["vacuum_kpa"] == 63.4)
            assert status["circuits"]["A"]["state"] == "holding"
            assert status["circuits"]["B"]["state"] == "no_reading"
            sender.vacuum(50.0)
            told.until(lambda status: status["circuits"]["A"]["state"] == "low")
        broker.kill()
        sender.vacuum(61.0)
        time.sleep(1.5)
        broker.start()
        with Subscriber(broker, STATUS) as told:
            _, _, _, status = told.until(lambda status: status["circuits"]["A"]["vacuum_kpa"] == 61.0, 20.0)
        assert status["counts"]["lost"] >= 3  # what was not sent shows as a gap, and comes no more
        assert status["counts"]["late"] == status["counts"]["rejected"] == 0
        assert sender.process.poll() is None


# The alert receiver


class Hook(http.server.ThreadingHTTPServer):
    """A webhook that fails as often as it is told to, and keeps what it was sent."""

    def __init__(self) -> None:
        posts: queue.Queue[dict[str, Any]] = queue.Queue()
        answers: list[int] = []

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                code = answers.pop(0) if answers else 200
                posts.put({**said, "answered": code})
                self.send_response(code)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        super().__init__(("127.0.0.1", 0), Handler)
        self.posts, self.answers = posts, answers
        self.url = f"http://127.0.0.1:{self.server_address[1]}/hook"
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def next(self, within_s: float = 15.0) -> dict[str, Any]:
        return self.posts.get(timeout=within_s)


@pytest.fixture
def hook() -> Iterator[Hook]:
    made = Hook()
    yield made
    made.shutdown()
    made.server_close()


def test_alert_receiver_posts_each_change_once_and_tries_again(broker: Broker, hook: Hook, tmp_path: Path) -> None:
    hook.answers += [503, 500]
    site = tmp_path / "quayside.toml"
    site.write_text(SITE.format(url=broker.url))
    command = [sys.executable, str(EXAMPLES / "alert_receiver.py"), broker.url, "--webhook", hook.url]
    receiver = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    try:
        with Program("run", "--site", site, "--data", tmp_path / "data") as program:
            program.until_ready()
            first = [hook.next() for _ in range(3)]
            assert [one["answered"] for one in first] == [503, 500, 200]
            assert len({one["id"] for one in first}) == 1
            assert (first[0]["kind"], first[0]["call"]) == ("call", "no_signal")
            with Publisher(broker, READINGS) as lifter:
                for seq in range(30):
                    lifter.send(reading(seq, vacuum_kpa=45.0, load_kg=0.0) | {"lifter_alarm": True})
                    time.sleep(0.1)
                posts = [hook.next() for _ in range(2)]
                wait_for(
                    lambda: posts.append(hook.next()) or {"alarm", "call"} <= {one["kind"] for one in posts}, 15, "both"
                )
            alarm = next(one for one in posts if one["kind"] == "alarm")
            assert {"raising", "key", "moved", "lifter"} <= set(alarm)
            assert "land_now" in [one.get("call") for one in posts]
            program.end()
        said = [hook.next()]
        wait_for(lambda: said[-1].get("call") == "no_signal" or said.append(hook.next()), 20, "silence is told")
    finally:
        receiver.kill()
        receiver.wait()


def test_alert_receiver_gives_up_on_what_will_never_be_taken(hook: Hook) -> None:
    poster = runpy.run_path(str(EXAMPLES / "alert_receiver.py"))["Poster"](hook.url, first_wait_s=0.05)
    hook.answers += [400, 429, 200]
    poster.start()
    poster.put({"n": 1})
    poster.put({"n": 2})
    assert [(one["n"], one["answered"]) for one in (hook.next(), hook.next(), hook.next())] == [
        (1, 400),
        (2, 429),
        (2, 200),
    ]


def test_leftover_status_is_no_call() -> None:
    put: list[dict[str, Any]] = []
    watch = runpy.run_path(str(EXAMPLES / "alert_receiver.py"))["Watch"](put.append)
    said = {"site": "q", "lifter": "d", "valid_for_s": 3.0, "call": "holding", "headline": "Holding", "reason": ""}
    watch.heard("holdwatch/q/d/status", json.dumps(said).encode(), 100.0, retained=True)
    watch.look(100.5)
    assert [one["call"] for one in put] == ["no_signal"]
    watch.heard("holdwatch/q/d/status", json.dumps(said).encode(), 101.0)
    watch.look(104.0)
    assert [one["call"] for one in put] == ["no_signal", "holding"]
    watch.look(104.1)
    watch.look(105.0)
    assert [one["call"] for one in put] == ["no_signal", "holding", "no_signal"]
