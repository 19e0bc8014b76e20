"""One suite for our client on each broker a site may have: the embedded one and a real Mosquitto.

What MQTT itself promises (retained messages, last will, session expiry, QoS 1) is from MQTT Version 5.0 and 3.1.1
(OASIS Standards, 2019 and 2014); the section stands beside each check.
"""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import pytest

from monitor.broker import BrokerClient, LinkDown, LinkUp, Message
from tests.brokers import ROOT, Broker, embedded, mosquitto, wait_for
from tests.tools import need

pytestmark = pytest.mark.system


@pytest.fixture(params=["embedded", "mosquitto"])
def broker(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    made = embedded() if request.param == "embedded" else mosquitto(tmp_path_factory.mktemp("mosquitto"))
    made.start()
    yield made
    made.kill()


class Ear(BrokerClient):
    """A client that keeps what it drained until a test asks for it."""

    def __init__(self, url: str, *, client_id: str, **more: object) -> None:
        super().__init__(url, client_id=client_id, **more)
        self.heard: list[Message | LinkUp | LinkDown] = []

    def next(self, kind: type = Message, within_s: float = 5.0) -> Message | LinkUp | LinkDown:
        """The next arrival of a kind; what came before it is forgotten."""
        until = time.monotonic() + within_s
        while time.monotonic() < until:
            self.heard += self.drain(0.1)
            while self.heard:
                arrival = self.heard.pop(0)
                if isinstance(arrival, kind):
                    return arrival
        raise AssertionError(f"no {kind.__name__} within {within_s} s; problem: {self.problem!r}")


@pytest.fixture
def connect(broker: Broker) -> Iterator[Callable[..., Ear]]:
    made: list[Ear] = []

    def connect(name: str, *topics: str, **more: object) -> Ear:
        ear = Ear(broker.url, client_id=name, **more)
        made.append(ear)
        if topics:
            ear.subscribe(topics)
        ear.start()
        wait_for(lambda: ear.connected, 5, "connected")
        ear.next(LinkUp)
        return ear

    yield connect
    for ear in made:
        ear.stop()


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_message_comes_with_its_bytes_and_topic(broker: Broker, connect: Callable[..., Ear], protocol: str) -> None:
    client = connect("hears", "site/+/readings", protocol=protocol)
    before_s = time.monotonic()
    client.publish("site/dock-6/readings", b'{"circuits": {"A": {"vacuum_kpa": 63.4}}}')
    message = client.next()
    assert message.topic == "site/dock-6/readings"
    assert message.payload == b'{"circuits": {"A": {"vacuum_kpa": 63.4}}}'
    assert message.retained is False
    assert client.received_n == 1
    assert client.protocol == protocol
    assert time.monotonic() - before_s < 3


def test_retained_message_is_marked_as_a_leftover(broker: Broker, connect: Callable[..., Ear]) -> None:
    """MQTT 5, 3.3.1.3: sent for a new subscription with RETAIN 1, to those already subscribed with RETAIN 0."""
    early = connect("early", "site/#")
    early.publish("site/dock-6/connection", b"online", retain=True)
    assert early.next().retained is False
    late = connect("late", "site/#")
    assert late.next().retained is True


@pytest.mark.parametrize("size_n", [0, 1, 20_481, 200_000])
def test_payload_size_is_no_limit(broker: Broker, connect: Callable[..., Ear], size_n: int) -> None:
    """20,480 bytes is the limit the embedded broker would have by itself."""
    client = connect("big", "site/#")
    client.publish("site/big", b"x" * size_n)
    assert len(client.next().payload) == size_n


def test_other_clients_of_both_versions_meet_on_one_address(broker: Broker, connect: Callable[..., Ear]) -> None:
    client = connect("hears", "site/#")
    for version in ("311", "5"):
        command = [need("mosquitto_pub"), "-V", version, "-p", str(broker.port), "-t", "site/x", "-m", version]
        subprocess.run([*command, "-q", "1"], check=True, timeout=10)
        assert client.next().payload == version.encode()


def test_killed_client_leaves_its_last_will(broker: Broker, connect: Callable[..., Ear]) -> None:
    """MQTT 5, 3.1.2.5: the will is published when the connection closes without a DISCONNECT."""
    hears = connect("hears", "site/engine")
    command = [need("mosquitto_sub"), "-p", str(broker.port), "-t", "none", "-i", "dies"]
    will = ["--will-topic", "site/engine", "--will-payload", "offline", "--will-qos", "1"]
    with subprocess.Popen([*command, *will]) as dies:
        time.sleep(0.5)
        dies.kill()
    assert hears.next().payload == b"offline"


def test_clean_stop_leaves_no_will_but_all_that_was_published(broker: Broker, connect: Callable[..., Ear]) -> None:
    hears = connect("hears", "site/#")
    leaves = connect("leaves", will=("site/engine", b"offline by will", True))
    for n in range(50):
        leaves.publish("site/dock-6/status", str(n).encode(), retain=True)
    leaves.publish("site/engine", b"offline by choice", retain=True)
    leaves.stop()
    wait_for(lambda: hears.received_n >= 51, 5, "51 messages")
    time.sleep(0.3)
    messages = [arrival.payload for arrival in hears.drain(1) if isinstance(arrival, Message)]
    assert messages == [str(n).encode() for n in range(50)] + [b"offline by choice"]
    assert leaves.unsent_n == 0


def test_killed_broker_is_said_and_found_again(broker: Broker, connect: Callable[..., Ear]) -> None:
    client = connect("stays", "site/#")
    client.publish("site/engine", b"online", retain=True)
    client.next()
    broker.kill()
    down = client.next(LinkDown)
    assert "was lost" in down.reason
    assert client.connected is False
    wait_for(lambda: "no broker listens" in client.problem, 5, "the reason why it cannot connect")
    client.publish("site/engine", b"still online", retain=True)
    client.publish("site/dock-6/alarms", b"lost")
    assert client.unsent_n == 1
    broker.start()
    client.next(LinkUp, within_s=8)
    assert client.next().payload == b"still online"  # so it is subscribed again, and the newest retained one went first
    assert client.problem == ""
    client.publish("site/dock-6/alarms", b"goes")
    while (came := client.next().payload) == b"still online":
        pass  # published while the subscription was on its way, it may come as news and as a leftover too
    assert came == b"goes"


def test_messages_sent_while_away_are_not_kept_for_later(broker: Broker, connect: Callable[..., Ear]) -> None:
    """MQTT 5, 3.1.2.4 and 3.1.2.11.2: clean start with session expiry 0; a queue of old readings would come late."""
    away = connect("away", "site/#")
    away.stop()
    other = connect("other")
    other.publish("site/dock-6/readings", b"old")
    other.stop()
    back = connect("away", "site/#")
    assert back.drain(1) == []


@pytest.mark.long
def test_frozen_broker_is_noticed(broker: Broker, connect: Callable[..., Ear]) -> None:
    client = connect("waits", "site/#")
    broker.freeze()
    began_s = time.monotonic()
    down = client.next(LinkDown, within_s=15)
    assert "does not answer" in down.reason
    assert time.monotonic() - began_s < 12  # twice the keep-alive of 5 s, and a little
    broker.thaw()
    wait_for(lambda: client.connected, 15, "connected again")


def test_burst_of_readings_is_not_lost(broker: Broker, connect: Callable[..., Ear]) -> None:
    hears = connect("hears", "site/#")
    speaks = connect("speaks")
    came: list[int] = []
    for n in range(5_000):
        speaks.publish("site/dock-6/readings", str(n).encode())
        if n % 50 == 0:  # within what the sender's queue holds, however slow this machine is just now
            wait_for(lambda n=n: hears.received_n > n - 1_500, 30, f"reading {n - 1_500}")
            came += [int(arrival.payload) for arrival in hears.drain(0)]
    wait_for(lambda: hears.received_n >= 5_000, 30, "every reading")
    came += [int(arrival.payload) for arrival in hears.drain(1)]
    assert came == list(range(5_000))
    assert hears.dropped_n == 0
    assert speaks.unsent_n == 0


def test_second_client_of_the_same_name_takes_over_and_it_is_said(broker: Broker, connect: Callable[..., Ear]) -> None:
    """MQTT 5, 3.1.4-3: the server must close the first client's network connection (and says 0x8E before it does)."""
    first = connect("engine-quayside", "site/#")
    connect("engine-quayside", "site/#")
    first.next(LinkDown)


def test_will_waits_where_mqtt_5_is_spoken(tmp_path_factory: pytest.TempPathFactory) -> None:
    """MQTT 5.0, 3.1.3.2.2: the will is published when its delay is over, and the session lasts as long.

    Mosquitto alone: the broker in the wheel publishes it at once.
    """
    broker = mosquitto(tmp_path_factory.mktemp("mosquitto"))
    broker.start()
    hears = Ear(broker.url, client_id="hears")
    hears.subscribe(["site/engine"])
    hears.start()
    program = (
        "import sys, time; from monitor.broker import BrokerClient\n"
        f"c = BrokerClient({broker.url!r}, client_id='dies', protocol=sys.argv[1],"
        " will=('site/engine', b'offline', True), will_delay_s=2)\n"
        "c.start()\nwhile not c.connected: time.sleep(0.01)\nprint('up', flush=True)\ntime.sleep(60)"
    )
    try:
        hears.next(LinkUp)
        for protocol, least_s, most_s in (("3.1.1", 0.0, 1.5), ("5", 1.5, 6.0)):
            command = [sys.executable, "-c", program, protocol]
            with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE) as dies:
                assert dies.stdout is not None
                assert dies.stdout.readline() == b"up\n"
                dies.kill()
                killed_s = time.monotonic()
            assert hears.next(Message, 8.0).payload == b"offline"
            assert least_s <= time.monotonic() - killed_s <= most_s, protocol
    finally:
        hears.stop()
        broker.kill()


def test_message_that_expires_is_not_delivered_late(broker: Broker, connect: Callable[..., Ear]) -> None:
    """MQTT 5.0, 3.3.2.3.3: a retained message is gone when its expiry is over."""
    tells = connect("tells")
    tells.publish("site/dock-6/status", b"{}", retain=True, expiry_s=4)
    tells.publish("site/engine", b"online", retain=True)
    time.sleep(0.5)
    early = connect("early", "site/#")
    assert {early.next().topic, early.next().topic} == {"site/dock-6/status", "site/engine"}
    time.sleep(5.0)
    late = connect("late", "site/#")
    assert late.next().topic == "site/engine"
    time.sleep(0.3)
    assert [one for one in late.drain(0.5) if isinstance(one, Message)] == []
