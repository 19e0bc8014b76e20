"""The files a site gets for Mosquitto, started as they are but for paths and ports; and what is said when it refuses."""

import datetime as dt
import json
import os
import signal
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from cryptography import x509

from monitor.broker import BrokerClient, Message
from monitor.certificates import make
from tests.brokers import ROOT, Broker, free_port, wait_for
from tests.contract.test_sharing import hashes
from tests.contract.test_sharing import site as kept_site
from tests.tools import need

pytestmark = pytest.mark.system

NOW = dt.datetime.now(dt.UTC)
READINGS = "holdwatch/quayside/dock-6/readings"


@dataclass
class Site:
    """A running Mosquitto with the shipped files."""

    broker: Broker
    folder: Path
    port: int
    tls_port: int
    websocket_port: int

    @property
    def ca(self) -> Path:
        return self.folder / "ca.crt"

    @property
    def url(self) -> str:
        return f"mqtts://localhost:{self.tls_port}"

    def renew(self, *hosts: str, at: dt.datetime = NOW, days: int = 90) -> None:
        """A new server certificate, as the command makes it, and the reload that makes it count."""
        before = serial(self)
        assert not make(self.folder, hosts, at, days=days).authority_is_new
        assert self.broker.process is not None
        self.broker.process.send_signal(signal.SIGHUP)
        wait_for(lambda: serial(self) != before, 10, "the new certificate in use")


def serial(site: Site) -> int:
    """The serial number of the certificate that Mosquitto shows now, whoever it is made for."""
    shown = ssl.get_server_certificate(("127.0.0.1", site.tls_port), timeout=5)
    return x509.load_pem_x509_certificate(shown.encode()).serial_number


def shipped(folder: Path, port: int, tls_port: int, websocket_port: int) -> str:
    """The shipped configuration, its paths and ports those of a test, its websocket listener taken into use."""
    text = (ROOT / "configs" / "service" / "mosquitto.conf").read_text()
    block = text[text.index("# listener 8884") : text.index("# Retained statuses")]
    text = text.replace(block, block.replace("# ", "").replace("8884", f"{websocket_port} 127.0.0.1"))
    text = text.replace("/etc/mosquitto/holdwatch", str(folder))
    assert text.count("listener 8883\n") == text.count("listener 1883 127.0.0.1\n") == 1
    text = text.replace("listener 8883\n", f"listener {tls_port} 127.0.0.1\n")
    text = text.replace("listener 1883 127.0.0.1\n", f"listener {port} 127.0.0.1\n")
    kept = f"persistence true\npersistence_location {folder}/kept/\n"  # Debian's own mosquitto.conf has these
    return f"user root\n{kept}{text}"  # user root: else Mosquitto could not read the test's folders


def shipped_acl() -> str:
    """The shipped access list with its lines for a central store taken into use."""
    text = (ROOT / "configs" / "service" / "mosquitto.acl").read_text()
    block = text[text.index("# user quayside") :]
    return text.replace(block, block.replace("# ", ""))


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    (tmp_path / "kept").mkdir()
    make(tmp_path, ["localhost"], NOW - dt.timedelta(days=60))
    passwords = tmp_path / "passwords"
    for number, user in enumerate(("holdwatch", "dock-6", "dock-7", "reader", "quayside", "central")):
        command = [need("mosquitto_passwd"), *(["-c"] if number == 0 else []), "-b", str(passwords), user, f"of {user}"]
        subprocess.run(command, check=True)
    (tmp_path / "acl").write_text(shipped_acl())
    ports = free_port(), free_port(), free_port()
    config = tmp_path / "mosquitto.conf"
    config.write_text(shipped(tmp_path, *ports))
    made = Site(Broker([need("mosquitto"), "-c", str(config)], ports[1]), tmp_path, *ports)
    made.broker.start()
    yield made
    made.broker.kill()


@contextmanager
def link(
    site: Site, user: str, *topics: str, url: str = "", ca: Path | None = None, password: str = ""
) -> Iterator[BrokerClient]:
    client = BrokerClient(
        url or site.url,
        client_id=f"tries-{user}",
        ca_file=str(ca or site.ca),
        username=user,
        password=password or f"of {user}",
    )
    if topics:
        client.subscribe(topics)
    client.start()
    try:
        yield client
    finally:
        client.stop()


def pub(site: Site, user: str, topic: str, payload: str = "{}", *more: str) -> subprocess.CompletedProcess:
    command = [need("mosquitto_pub"), "-h", "localhost", "-p", str(site.tls_port), "--cafile", str(site.ca), "-V", "5"]
    command += ["-u", user, "-P", f"of {user}", "-t", topic, "-m", payload, "-q", "1", *more]
    return subprocess.run(command, check=False, capture_output=True, text=True, timeout=10)


def heard(client: BrokerClient, within_s: float = 2.0) -> list[str]:
    until, found = time.monotonic() + within_s, []
    while time.monotonic() < until:
        found += [one.topic for one in client.drain(0.1) if isinstance(one, Message)]
    return found


def test_every_user_may_do_what_is_theirs_and_nothing_else(site: Site) -> None:
    with link(site, "holdwatch", "holdwatch/#", "plant/#") as monitor:
        wait_for(lambda: monitor.connected, 5, "the monitor connected")
        time.sleep(0.3)
        assert pub(site, "dock-6", READINGS).returncode == 0
        assert pub(site, "dock-6", "holdwatch/quayside/dock-6/connection", "online", "-r").returncode == 0
        for user, topic in (
            ("dock-6", "holdwatch/quayside/dock-7/readings"),  # another lifter's
            ("dock-6", "holdwatch/quayside/dock-6/status"),  # the monitor's
            ("dock-7", READINGS),
            ("reader", READINGS),
            ("dock-6", "plant/anything"),
        ):
            pub(site, user, topic)
        assert heard(monitor) == [READINGS, "holdwatch/quayside/dock-6/connection"]
        monitor.publish("holdwatch/quayside/dock-6/status", b"{}", retain=True)
        monitor.publish("holdwatch/quayside/engine", b"online", retain=True)
        with link(site, "reader", "holdwatch/+/+/status", READINGS) as reader, link(site, "dock-6", "#") as lifter:
            wait_for(lambda: reader.connected and lifter.connected, 5, "both connected")
            pub(site, "dock-6", READINGS)
            assert heard(reader) == ["holdwatch/quayside/dock-6/status"]
            assert heard(lifter, 0.5) == []


def test_forbidden_topic_is_said(site: Site) -> None:
    with link(site, "dock-6") as lifter:
        wait_for(lambda: lifter.connected, 5, "connected")
        lifter.publish("holdwatch/quayside/dock-7/readings", b"{}")
        wait_for(lambda: "access list" in lifter.problem, 5, "a word about the access list")


def test_wrong_password_and_no_password_are_said(site: Site) -> None:
    with link(site, "holdwatch", password="another") as client:
        wait_for(lambda: "user name or password" in client.problem, 5, "a word about the password")
    done = subprocess.run(
        [need("mosquitto_pub"), "-p", str(site.port), "-t", READINGS, "-m", "{}"],
        check=False, capture_output=True, text=True, timeout=10,
    )  # fmt: skip
    assert done.returncode != 0  # not even on this machine without a password


def test_hardware_that_speaks_websockets_comes_in_by_the_same_users(site: Site) -> None:
    said: list[str] = []

    def send(user: str, password: str) -> None:
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, transport="websockets")
        client.tls_set(ca_certs=str(site.ca))
        client.username_pw_set(user, password)
        client.on_connect = lambda *given: said.append(str(given[3]))
        client.connect("localhost", site.websocket_port)
        client.loop_start()
        try:
            wait_for(lambda: said, 5, "an answer")
            if said == ["Success"]:
                client.publish("holdwatch/quayside/dock-7/readings", "{}", qos=1)
                client.publish(READINGS, "{}", qos=1).wait_for_publish(5)
        finally:
            client.disconnect()
            client.loop_stop()

    with link(site, "holdwatch", "holdwatch/quayside/+/readings") as monitor:
        wait_for(lambda: monitor.connected, 5, "the monitor connected")
        send("dock-6", "of dock-6")
        assert heard(monitor) == [READINGS]
    said.clear()
    send("dock-6", "guessed")
    assert said == ["Not authorized"]


def test_plain_listener_is_for_this_machine_and_asks_for_the_password_too(site: Site) -> None:
    with link(site, "holdwatch", url=f"mqtt://127.0.0.1:{site.port}") as client:
        wait_for(lambda: client.connected, 5, "connected without TLS on loopback")


def test_certificate_for_another_name_is_said(site: Site) -> None:
    site.renew("elsewhere.example")
    with link(site, "holdwatch") as client:
        wait_for(lambda: "is not trusted" in client.problem, 5, "a word about the certificate")
        assert "mismatch" in client.problem.lower()


def test_expired_certificate_is_said(site: Site) -> None:
    site.renew("localhost", at=NOW - dt.timedelta(days=40), days=10)
    with link(site, "holdwatch") as client:
        wait_for(lambda: "certificate has expired" in client.problem, 5, "a word about its end")


def test_certificate_of_another_authority_is_said(site: Site, tmp_path: Path) -> None:
    other = make(tmp_path / "other", ["localhost"], NOW)
    with link(site, "holdwatch", ca=other.authority) as client:
        wait_for(lambda: "is not trusted" in client.problem, 5, "a word about the authority")


def test_certificate_is_renewed_without_a_restart(site: Site) -> None:
    with link(site, "holdwatch", "holdwatch/#") as client:
        wait_for(lambda: client.connected, 5, "connected")
        before = serial(site)
        site.renew("localhost")
        assert serial(site) != before
        assert client.connected  # nobody was cut off
        pub(site, "dock-6", READINGS)
        assert READINGS in heard(client, 1.0)


def test_retained_status_outlives_a_restart(site: Site) -> None:
    assert pub(site, "holdwatch", "holdwatch/quayside/dock-6/status", '{"version": 1}', "-r").returncode == 0
    process = site.broker.process
    assert process is not None
    process.terminate()
    assert process.wait(10) == 0
    site.broker.start()
    with link(site, "reader", "holdwatch/+/+/status") as reader:
        [message] = [one for one in _until_message(reader) if isinstance(one, Message)]
        assert message.retained
        assert json.loads(message.payload) == {"version": 1}


def _until_message(client: BrokerClient) -> list[object]:
    found: list[object] = []
    wait_for(lambda: found.extend(client.drain(0.1)) or any(isinstance(one, Message) for one in found), 5, "a message")
    return found


def test_reading_is_never_kept_for_a_client_that_is_away(site: Site) -> None:
    with link(site, "holdwatch", "holdwatch/#") as client:
        wait_for(lambda: client.connected, 5, "connected")
    assert pub(site, "dock-6", READINGS).returncode == 0
    with link(site, "holdwatch", "holdwatch/#") as client:
        wait_for(lambda: client.connected, 5, "connected again")
        assert heard(client, 1.0) == []


def holdwatch(site: Site, user: str, *arguments: str | Path) -> subprocess.Popen:
    """A command of the program that speaks to this broker as ``user``."""
    login = {"HOLDWATCH_BROKER_USER": user, "HOLDWATCH_BROKER_PASSWORD": f"of {user}"}
    command = [sys.executable, "-m", "monitor", *map(str, arguments), "--broker", site.url, "--ca-file", str(site.ca)]
    return subprocess.Popen(command, cwd=ROOT, env=os.environ | login, stderr=subprocess.PIPE, text=True)


def test_site_sends_its_closed_lifts_by_the_shipped_lines(site: Site, tmp_path: Path) -> None:
    kept_site(tmp_path, "quayside", 60)
    gathering = holdwatch(site, "central", "gather", "--data", tmp_path / "central")
    try:
        sending = holdwatch(site, "quayside", "send", "--data", tmp_path / "quayside")
        said = sending.communicate(timeout=60)[1]
        assert sending.returncode == 0, said
        assert "the central store has every closed lift; 60 were new" in said
    finally:
        gathering.terminate()
        gathering.communicate(timeout=10)
    assert hashes(tmp_path / "central" / "fleet" / "quayside") == hashes(tmp_path / "quayside")


def test_site_may_send_its_own_closed_lifts_and_read_the_answers_and_no_more(site: Site) -> None:
    own, answer = "holdwatch/quayside/fleet/records", "holdwatch/quayside/fleet/have"
    with link(site, "holdwatch", "#") as monitor, link(site, "quayside", "#") as asks:
        wait_for(lambda: monitor.connected and asks.connected, 5, "both connected")
        for topic in (own, "holdwatch/quayside/fleet/trace"):
            assert pub(site, "quayside", topic).returncode == 0
        for user, topic in (
            ("quayside", "holdwatch/north/fleet/records"),  # another site's
            ("quayside", answer),  # the central store's
            ("quayside", READINGS),
            ("quayside", "holdwatch/quayside/dock-6/status"),
            ("quayside", "holdwatch/quayside/engine"),
            ("central", own),
            ("central", READINGS),
            ("dock-6", own),
            ("reader", own),
        ):
            pub(site, user, topic)
        assert pub(site, "central", answer).returncode == 0
        assert heard(monitor) == [own, "holdwatch/quayside/fleet/trace", answer]
        assert pub(site, "central", "holdwatch/north/fleet/have").returncode == 0
        assert pub(site, "dock-6", READINGS).returncode == 0
        assert heard(asks) == [answer]
