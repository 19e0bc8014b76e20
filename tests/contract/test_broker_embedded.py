"""What is special about the embedded broker: its front, its start and end, its memory."""

import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.broker import BrokerClient
from tests.brokers import ROOT, Broker, embedded, free_port, wait_for
from tests.tools import need

pytestmark = pytest.mark.system


@pytest.fixture
def broker() -> Iterator[Broker]:
    made = embedded()
    made.start()
    yield made
    made.kill()


def start(listen: str) -> subprocess.Popen:
    command = [sys.executable, "-m", "monitor.embedded", "--listen", listen]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_it_says_its_port_once_clients_are_accepted_and_ends_when_asked(how: signal.Signals) -> None:
    with start("127.0.0.1:0") as broker:
        assert broker.stdout is not None
        word, _, place = broker.stdout.readline().rstrip().partition(" ")
        assert word == "listening"
        host, _, port = place.rpartition(":")
        with socket.create_connection((host, int(port)), timeout=2) as client:
            client.sendall(bytes.fromhex("10 0d 00 04 4d515454 04 02 003c 0001 78"))
            assert client.recv(4) == bytes.fromhex("20 02 00 00")  # CONNACK, accepted (MQTT 3.1.1, 3.2)
        asked_s = time.monotonic()
        broker.send_signal(how)
        assert broker.wait(5) == 0
        assert time.monotonic() - asked_s < 2
    with socket.socket() as probe:
        probe.bind((host, int(port)))


def test_taken_port_is_an_error_that_names_it() -> None:
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = holder.getsockname()[1]
        with start(f"127.0.0.1:{port}") as broker:
            said = broker.communicate(timeout=5)[1]
    assert broker.returncode == 2
    assert f"[broker].listen is 127.0.0.1:{port}; port {port} cannot be listened on" in said


def test_it_is_reached_on_the_address_asked_for_alone() -> None:
    port = free_port()
    with start(f"127.0.0.1:{port}") as broker:
        assert broker.stdout is not None
        broker.stdout.readline()
        listening = subprocess.run(
            [need("ss"), "-Hltnp"], capture_output=True, text=True, check=True
        ).stdout.splitlines()
        ours = [line.split()[3] for line in listening if f"pid={broker.pid}," in line]
        broker.kill()
    assert f"127.0.0.1:{port}" in ours
    assert all(place.startswith("127.0.0.1:") for place in ours)


@pytest.mark.parametrize(
    "first",
    [
        b"GET / HTTP/1.1\r\n\r\n",
        bytes.fromhex("16 0301 0200 01"),  # a TLS handshake
        bytes.fromhex("30 05 0001 61 6869"),  # PUBLISH as the first packet: a protocol error (MQTT 5, 3.1.0-1)
    ],
)
def test_who_speaks_no_mqtt_is_turned_away(broker: Broker, first: bytes) -> None:
    with socket.create_connection(("127.0.0.1", broker.port), timeout=2) as client:
        client.sendall(first)
        assert client.recv(10) == b""


def test_old_mqtt_is_refused_by_its_own_code(broker: Broker) -> None:
    """MQTT 3.1.1, 3.1.2.2: CONNACK code 1 for a protocol level the server does not have."""
    with socket.create_connection(("127.0.0.1", broker.port), timeout=2) as client:
        client.sendall(bytes.fromhex("10 0f 00 06 4d5149736470 03 02 003c 0001 78"))
        assert client.recv(10) == bytes.fromhex("20 02 00 01")


def test_connect_that_comes_byte_by_byte_is_understood(broker: Broker) -> None:
    with socket.create_connection(("127.0.0.1", broker.port), timeout=2) as client:
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for byte in bytes.fromhex("10 0e 00 04 4d515454 05 02 003c 00 0001 78"):
            client.sendall(bytes([byte]))
            time.sleep(0.002)
        assert client.recv(1) == b"\x20"


def test_client_that_vanished_is_noticed_by_its_keep_alive(broker: Broker) -> None:
    """MQTT 3.1.1, 3.1.2.10: after one and a half times the keep-alive the server must close, and publish the will."""
    hears = BrokerClient(broker.url, client_id="hears")
    hears.subscribe(["site/engine"])
    hears.start()
    wait_for(lambda: hears.connected, 5, "connected")
    hears.drain(1)
    will = bytes.fromhex("000b") + b"site/engine" + bytes.fromhex("0007") + b"offline"
    head = bytes.fromhex("0004 4d515454 04 06 0001 0001 78")  # clean session, will, keep-alive 1 s, client id "x"
    with socket.create_connection(("127.0.0.1", broker.port)) as client:
        client.sendall(bytes([0x10, len(head) + len(will)]) + head + will)
        began_s = time.monotonic()
        (message,) = hears.drain(5)
        assert message.payload == b"offline"
        assert 1.0 < time.monotonic() - began_s < 4.0
    hears.stop()


@pytest.mark.long
def test_connection_without_a_first_packet_is_closed(broker: Broker) -> None:
    with socket.create_connection(("127.0.0.1", broker.port), timeout=10) as client:
        began_s = time.monotonic()
        assert client.recv(10) == b""
        assert 4 < time.monotonic() - began_s < 7


@pytest.mark.long
def test_memory_does_not_grow_with_what_was_published(broker: Broker) -> None:
    """At its own setting the broker inside keeps ten segments of 100 MiB for each topic filter."""
    assert broker.process is not None
    status = Path(f"/proc/{broker.process.pid}/status")

    def memory_mb() -> float:
        return int(status.read_text().split("VmRSS:")[1].split()[0]) / 1024

    client = BrokerClient(broker.url, client_id="much")
    client.subscribe(["site/#"])
    client.start()
    wait_for(lambda: client.connected, 5, "connected")
    after_mb = []
    for round_n in range(3):
        for batch_n in range(200):  # one after another: to a client that falls behind it may drop QoS 0
            for _ in range(100):
                client.publish("site/dock-6/readings", bytes(1_000), qos=0)
            sent_n = 20_000 * round_n + 100 * (batch_n + 1)
            wait_for(lambda n=sent_n: client.received_n >= n, 10, "every message of the batch")
            client.drain(0)
        after_mb.append(memory_mb())
    client.stop()
    print(f"\nembedded broker after 20, 40 and 60 MB: {', '.join(f'{mb:.0f} MB' for mb in after_mb)}")
    assert after_mb[-1] < after_mb[0] + 10
