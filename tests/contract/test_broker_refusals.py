"""What our client says when a real broker will not have it: passwords, TLS, versions, access lists, dead ports."""

import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from monitor.broker import BrokerClient, BrokerError, LinkDown, LinkUp
from monitor.embedded import config_text
from tests.brokers import Broker, Relay, embedded, free_port, mosquitto, wait_for
from tests.tools import need

pytestmark = pytest.mark.system


@contextmanager
def link(url: str, *topics: str, **more: object) -> Iterator[BrokerClient]:
    client = BrokerClient(url, client_id="tries", **more)
    client.subscribe(topics or ["site/#"])
    client.start()
    try:
        yield client
    finally:
        client.stop()


@pytest.fixture
def started() -> Iterator[Callable[[Broker], Broker]]:
    made: list[Broker] = []

    def start(broker: Broker) -> Broker:
        made.append(broker)
        broker.start()
        return broker

    yield start
    for broker in made:
        broker.kill()


def with_password(kind: str, folder: Path) -> Broker:
    if kind == "embedded":
        return embedded(("lifters", 'pa"ss'))
    passwords = folder / "passwords"
    subprocess.run([need("mosquitto_passwd"), "-c", "-b", str(passwords), "lifters", 'pa"ss'], check=True)
    return mosquitto(folder, f"password_file {passwords}", anonymous=False)


@pytest.mark.parametrize("kind", ["embedded", "mosquitto"])
def test_wrong_password_is_said_and_right_one_let_in(
    kind: str, started: Callable[[Broker], Broker], tmp_path: Path
) -> None:
    broker = started(with_password(kind, tmp_path))
    with link(broker.url, username="lifters", password="wrong") as client:
        wait_for(lambda: "password" in client.problem, 5, "a word about the password")
        assert "HOLDWATCH_BROKER_PASSWORD" in client.problem or "user name and password" in client.problem
        assert "wrong" not in client.problem
        assert client.connected is False
    with link(broker.url) as client:
        wait_for(lambda: "password" in client.problem, 5, "a word about the missing password")
    with link(broker.url, username="lifters", password='pa"ss') as client:
        wait_for(lambda: client.connected, 5, "let in")
        assert client.protocol == "5"


def test_mosquitto_refusal_names_the_environment(started: Callable[[Broker], Broker], tmp_path: Path) -> None:
    broker = started(with_password("mosquitto", tmp_path))
    with link(broker.url, username="lifters", password="wrong") as client:
        wait_for(lambda: client.problem, 5, "a problem")
        assert client.problem == (
            f"127.0.0.1:{broker.port} refused the user name or password given (Not authorized). "
            "Set HOLDWATCH_BROKER_USER and HOLDWATCH_BROKER_PASSWORD."
        )


def test_trouble_that_stays_is_told_again(caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.broker.TELL_AGAIN_S", 1.5)
    with link(f"mqtt://127.0.0.1:{free_port()}"):
        wait_for(lambda: caplog.text.count("still no broker listens") >= 2, 20, "the same trouble again")


def test_dead_port_is_said() -> None:
    port = free_port()
    with link(f"mqtt://127.0.0.1:{port}") as client:
        wait_for(lambda: client.problem, 3, "a problem")
        assert client.problem == f"no broker listens on 127.0.0.1:{port} (connection refused)."


def test_port_that_hangs_up_is_said() -> None:
    with closing(Relay(hang_up=True)) as relay, link(relay.url) as client:
        wait_for(lambda: relay.poll() or client.problem, 5, "a problem")
        assert "closed the connection without an answer" in client.problem


def test_port_that_never_answers_is_said() -> None:
    with closing(Relay(hang_up=False)) as relay, link(relay.url) as client:
        wait_for(lambda: relay.poll() or client.problem, 8, "a problem")
        assert client.problem == f"127.0.0.1:{relay.port} does not answer."


def test_broker_without_mqtt_5_is_spoken_to_in_3_1_1(started: Callable[[Broker], Broker], tmp_path: Path) -> None:
    """The listener for 3.1.1 inside the embedded broker, spoken to directly: it hangs up on MQTT 5."""
    port = free_port()
    config = tmp_path / "v4.toml"
    config.write_text(config_text([("v4", port)], None))
    code = f"from iotcore.iotcore import IotCoreBroker; IotCoreBroker(config_path={str(config)!r}).run_forever()"
    started(Broker([sys.executable, "-c", code], port))
    with link(f"mqtt://127.0.0.1:{port}") as client:
        ups = [arrival for arrival in client.drain(5) if isinstance(arrival, LinkUp)]
        assert [up.protocol for up in ups] == ["3.1.1"]
        client.publish("site/status", b"a status", expiry_s=5)
        assert client.drain(3)[-1].payload == b"a status"


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An authority and a certificate for 127.0.0.1, made by openssl."""
    folder = tmp_path_factory.mktemp("certificates")
    openssl = need("openssl")
    new = [openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"]
    for name, subject in (("ca", "/CN=site authority"), ("other", "/CN=another authority")):
        files = ["-keyout", f"{folder}/{name}.key", "-out", f"{folder}/{name}.crt"]
        subprocess.run([*new, "-subj", subject, *files], check=True, capture_output=True)
    signed = ["-CA", f"{folder}/ca.crt", "-CAkey", f"{folder}/ca.key", "-addext", "subjectAltName=IP:127.0.0.1"]
    files = ["-keyout", f"{folder}/server.key", "-out", f"{folder}/server.crt"]
    subprocess.run(
        [*new, "-subj", "/CN=broker", "-addext", "basicConstraints=critical,CA:FALSE", *signed, *files],
        check=True,
        capture_output=True,
    )
    return folder


def with_tls(certificates: Path) -> Broker:
    return mosquitto(certificates, f"certfile {certificates}/server.crt", f"keyfile {certificates}/server.key")


def test_tls_with_the_sites_authority_connects(started: Callable[[Broker], Broker], certificates: Path) -> None:
    broker = started(with_tls(certificates))
    url = broker.url.replace("mqtt:", "mqtts:")
    with link(url, ca_file=str(certificates / "ca.crt")) as client:
        wait_for(lambda: client.connected, 5, "connected over TLS")
        client.drain(1)
        for n in range(200):
            client.publish("site/dock-6/status", f"{n:05}".encode() * 200)
        wait_for(lambda: client.received_n == 200, 5, "every message through TLS")
        payloads = [arrival.payload[:5] for arrival in client.drain(1)]
        assert payloads == [f"{n:05}".encode() for n in range(200)]


def test_certificate_of_another_authority_is_refused_in_words(
    started: Callable[[Broker], Broker], certificates: Path
) -> None:
    broker = started(with_tls(certificates))
    with link(broker.url.replace("mqtt:", "mqtts:"), ca_file=str(certificates / "other.crt")) as client:
        wait_for(lambda: client.problem, 5, "a problem")
        assert "is not trusted" in client.problem
        assert "[broker].ca_file" in client.problem


def test_plain_speech_to_a_tls_port_and_the_other_way_round(
    started: Callable[[Broker], Broker], certificates: Path
) -> None:
    broker = started(with_tls(certificates))
    with link(broker.url) as client:
        wait_for(lambda: client.problem, 5, "a problem")
        assert "mqtts://" in client.problem
    plain = started(embedded())
    with link(plain.url.replace("mqtt:", "mqtts:"), ca_file=str(certificates / "ca.crt")) as client:
        wait_for(lambda: client.problem, 8, "a problem")
        assert "TLS" in client.problem


def test_unusable_ca_file_is_an_error_before_anything_starts(tmp_path: Path) -> None:
    (tmp_path / "ca.crt").write_text("no certificate")
    for ca_file in (tmp_path / "ca.crt", tmp_path / "none.crt"):
        with pytest.raises(BrokerError, match="ca_file"):
            BrokerClient("mqtts://127.0.0.1", client_id="tries", ca_file=str(ca_file))


def test_broker_that_names_the_version_as_its_reason_is_spoken_to_in_3_1_1() -> None:
    """A broker played by hand-written bytes: CONNACK code 1, "unacceptable protocol version" (MQTT 3.1.1, 3.2.2.3)."""
    levels: list[int] = []
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def play() -> None:
            for answer in ("20 02 00 01", "20 02 00 00"):
                taken, _ = listener.accept()
                with taken:
                    levels.append(taken.recv(1000)[8])
                    taken.sendall(bytes.fromhex(answer))
                    if levels[-1] == 4:
                        subscribe = taken.recv(1000)
                        taken.sendall(b"\x90\x03" + subscribe[2:4] + b"\x01")  # SUBACK, QoS 1 granted (3.9)
                    taken.recv(1000)

        playing = threading.Thread(target=play)
        playing.start()
        with link(f"mqtt://127.0.0.1:{listener.getsockname()[1]}") as client:
            ups = [arrival for arrival in client.drain(5) if isinstance(arrival, LinkUp)]
            assert [up.protocol for up in ups] == ["3.1.1"]
        playing.join(5)
    assert levels == [5, 4]


def test_refused_subscription_is_named() -> None:
    """SUBACK with 0x87, not authorised, for one of two topics and then for both (MQTT 5, 3.9.3)."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def play() -> None:
            for codes in (b"\x01\x87", b"\x87\x87"):
                taken, _ = listener.accept()
                with taken:
                    taken.recv(1000)
                    taken.sendall(bytes.fromhex("20 03 00 00 00"))
                    subscribe = taken.recv(1000)
                    taken.sendall(b"\x90\x05" + subscribe[2:4] + b"\x00" + codes)
                    taken.recv(1000)

        playing = threading.Thread(target=play)
        playing.start()
        url = f"mqtt://127.0.0.1:{listener.getsockname()[1]}"
        with link(url, "site/+/readings", "site/+/connection") as client:
            up = client.drain(5)[0]
            assert isinstance(up, LinkUp)
            assert up.problem == "The broker refused the subscription to site/+/connection: check its access list."
        with link(url, "site/+/readings", "site/+/connection") as client:
            down = client.drain(5)[0]
            assert isinstance(down, LinkDown)
            assert "lets this user read nothing (site/+/readings, site/+/connection)" in down.reason
        playing.join(5)
