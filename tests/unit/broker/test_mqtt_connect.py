"""A client's first packet, taken apart and written anew, against packets that the reference client library makes."""

import socket
import threading
from collections.abc import Callable

import paho.mqtt.client as paho
import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from monitor.mqtt_connect import read_connect, refusal


def packet(protocol: int, *, will: bool = False, login: tuple[str, str | None] | None = None) -> bytes:
    """The CONNECT that paho-mqtt sends."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="lifter", protocol=protocol)
    if login is not None:
        client.username_pw_set(*login)
    if will:
        properties = None
        if protocol == paho.MQTTv5:
            properties = Properties(PacketTypes.WILLMESSAGE)
            properties.WillDelayInterval = 7
        client.will_set("a/b", b"offline", 1, True, properties)
    with socket.create_server(("127.0.0.1", 0)) as server:
        threading.Thread(target=client.connect, args=("127.0.0.1", server.getsockname()[1]), daemon=True).start()
        taken, _ = server.accept()
        with taken:
            taken.settimeout(5)
            sock = client.socket
            for _ in range(100):
                if sock() is not None:
                    client.loop_write()
                    break
            data = taken.recv(4096)
    client.loop_misc()
    held = client.socket()
    if held is not None:
        held.close()
    return data


MADE: dict[str, Callable[[], bytes]] = {
    f"{name}{' with a will' if will else ''}{' and a login' if login else ''}": (
        lambda protocol=protocol, will=will, login=login: packet(protocol, will=will, login=login)
    )
    for name, protocol in (("3.1", paho.MQTTv31), ("3.1.1", paho.MQTTv311), ("5", paho.MQTTv5))
    for will in (False, True)
    for login in (None, ("dock-6", "pä$$"))
}


@pytest.mark.parametrize("name", MADE)
def test_login_is_read_and_another_written(name: str) -> None:
    sent = MADE[name]()
    found = read_connect(sent + b"\xc0\x00")  # a ping right behind it
    assert found is not None
    assert found.size_n == len(sent)
    expected = ("dock-6", "pä$$".encode()) if "login" in name else (None, None)
    assert (found.user, found.password) == expected
    anew = read_connect(found.with_login("front", "x" * 200))
    assert anew is not None
    assert (anew.level, anew.user, anew.password) == (found.level, "front", b"x" * 200)
    assert anew.body[: anew.flags_at] == found.body[: found.flags_at]
    assert anew.body[found.flags_at + 1 : anew.login_at] == found.body[found.flags_at + 1 : found.login_at]


def test_every_beginning_is_waited_for() -> None:
    sent = packet(paho.MQTTv5, will=True, login=("dock-6", "secret"))
    for n in range(len(sent)):
        assert read_connect(sent[:n]) is None


@pytest.mark.parametrize(
    "sent",
    [
        b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x3c\x00\x05",  # the client id is longer than the packet
        b"\x10\x0c\x00\x04MQTT\x04\x82\x00\x3c\x00\x00",  # a user name said and not given
        b"\x10\xff\xff\x7f\x00\x04MQTT\x04\x02",  # 2 MB
        b"\x10\x10\x00\x04MQTT\x04\x82\x00\x3c\x00\x00\x00\x02\xff\xfe",  # a user name that is no UTF-8
        b"\x10\x0f\x00\x04MQTT\x05\x02\x00\x3c\xff\xff\xff\xff\x01",  # a property length of five bytes
    ],
)
def test_packet_that_is_none_says_so(sent: bytes) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        read_connect(sent)


@given(st.binary(max_size=60))
def test_any_bytes_are_a_packet_wait_or_say_why(sent: bytes) -> None:
    try:
        found = read_connect(b"\x10" + sent)
    except ValueError:
        return
    assert found is None or found.size_n <= len(sent) + 1


def test_refusals_are_the_standards() -> None:
    # MQTT 3.1.1, table 3.1: 4 bad user name or password, 5 not authorized; MQTT 5.0, 3.2.2.2: 0x86 and 0x87.
    assert [refusal(level, has_login=login)[3] for level in (4, 5) for login in (True, False)] == [4, 5, 0x86, 0x87]
