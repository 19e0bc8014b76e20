"""The embedded broker's door: who is let in with `holdwatch password`, and what the others are told."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.broker import BrokerClient, Message
from tests.brokers import ROOT, Broker, free_port, wait_for
from tests.system.program import Program
from tests.tools import need

pytestmark = pytest.mark.system


def holdwatch(*arguments: str | Path, stdin: str = "") -> subprocess.CompletedProcess:
    command = [sys.executable, "-m", "monitor", *map(str, arguments)]
    return subprocess.run(command, cwd=ROOT, input=stdin, text=True, capture_output=True, check=False, timeout=30)


def set_password(data: Path, name: str, password: str) -> None:
    done = holdwatch("password", name, "--data", data, stdin=f"{password}\n")
    assert done.returncode == 0, done.stderr


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    set_password(tmp_path, "dock-6", "secret of dock-6")
    port = free_port()
    passwords = tmp_path / "broker-passwords.json"
    command = [sys.executable, "-m", "monitor.embedded", "--listen", f"0.0.0.0:{port}", "--passwords", str(passwords)]
    made = Broker(command, port, {"HOLDWATCH_BROKER_USER": "", "HOLDWATCH_ENGINE_PASSWORD": "of this run"})
    made.start()
    yield made
    made.kill()


def tried(broker: Broker, user: str | None, password: str | None, version: str = "5") -> int:
    command = [need("mosquitto_pub"), "-V", version, "-p", str(broker.port), "-t", "a/b", "-m", "x", "-q", "1"]
    command += ["-u", user, "-P", password or ""] if user is not None else []
    return subprocess.run(command, check=False, capture_output=True, timeout=15).returncode


@pytest.mark.parametrize("version", ["mqttv311", "5"])
def test_only_the_right_password_comes_in(broker: Broker, version: str) -> None:
    assert tried(broker, "dock-6", "secret of dock-6", version) == 0
    assert tried(broker, "dock-6", "another secret", version) != 0
    assert tried(broker, "dock-7", "secret of dock-6", version) != 0
    assert tried(broker, None, None, version) != 0
    assert tried(broker, "holdwatch-engine", "", version) != 0
    assert tried(broker, "holdwatch-engine", "of this run", version) == 0


def test_refusal_is_said_in_words_and_a_new_password_counts_at_once(broker: Broker, tmp_path: Path) -> None:
    client = BrokerClient(broker.url, client_id="tries", username="dock-7", password="secret of dock-7")
    client.subscribe(["a/#"])
    client.start()
    try:
        wait_for(lambda: "user name or password" in client.problem, 10, "a word about the password")
        set_password(tmp_path, "dock-7", "secret of dock-7")
        wait_for(lambda: client.connected, 15, "let in")
        tried(broker, "dock-6", "secret of dock-6")
        wait_for(lambda: any(isinstance(one, Message) for one in client.drain(0.1)), 5, "a message")
    finally:
        client.stop()
    assert holdwatch("password", "dock-7", "--data", tmp_path, "--remove").returncode == 0
    assert tried(broker, "dock-7", "secret of dock-7") != 0
    assert holdwatch("password", "dock-7", "--data", tmp_path, "--remove").returncode == 2


SITE = """
site = "quayside"
[broker]
embedded = true
listen = "0.0.0.0:0"
[pages]
listen = "127.0.0.1:0"
[[lifter]]
id = "dock-6"
basis = "asme-bth-1"
wll_kg = 900
[lifter.circuits.A]
warning_kpa = 52
"""


def test_site_with_its_own_broker_starts_beyond_loopback_only_with_passwords(tmp_path: Path) -> None:
    site, data = tmp_path / "site.toml", tmp_path / "data"
    site.write_text(SITE)
    done = holdwatch("run", "--site", site, "--data", data)
    assert done.returncode == 2
    assert "holdwatch password NAME" in done.stderr
    set_password(data, "dock-6", "secret of dock-6")
    with Program("run", "--site", site, "--data", data) as program:
        told = program.until_ready()
        port = told["broker"].rpartition(":")[2]
        broker = Broker([], int(port))
        assert tried(broker, None, None) != 0
        assert tried(broker, "dock-6", "secret of dock-6") == 0
        assert "up" in program.said()


@pytest.mark.parametrize(("name", "password"), [("dock 6", "long enough"), ("dock-6", "short"), ("dock-6", "")])
def test_command_refuses_what_will_not_do(name: str, password: str, tmp_path: Path) -> None:
    done = holdwatch("password", name, "--data", tmp_path, stdin=f"{password}\n")
    assert done.returncode == 2
    assert "must" in done.stderr
