"""Bytes written by hand after MQTT 3.1.1 and MQTT 5.0 (OASIS), 3.1: fixed header, protocol name, protocol level."""

import pytest

from monitor.embedded import config_text
from monitor.mqtt_connect import protocol_level

V311 = bytes.fromhex("10 0d 00 04 4d515454 04 02 003c 0001 78")  # client id "x", clean session, keep alive 60 s
V5 = bytes.fromhex("10 0e 00 04 4d515454 05 02 003c 00 0001 78")  # the same with an empty property length
V31 = bytes.fromhex("10 0f 00 06 4d5149736470 03 02 003c 0001 78")  # "MQIsdp", level 3
LONG = bytes.fromhex("10 fffb07 00 04 4d515454 05 02")  # a remaining length of three bytes: a large will


@pytest.mark.parametrize(("packet", "level"), [(V311, 4), (V5, 5), (V31, 3), (LONG, 5)])
def test_level_is_read_from_the_first_packet(packet: bytes, level: int) -> None:
    assert protocol_level(packet) == level


@pytest.mark.parametrize(("packet", "needed_n"), [(V311, 9), (V5, 9), (V31, 11), (LONG, 11)])
def test_level_is_waited_for_byte_by_byte(packet: bytes, needed_n: int) -> None:
    for n in range(needed_n):
        assert protocol_level(packet[:n]) is None
    assert protocol_level(packet[:needed_n]) is not None


@pytest.mark.parametrize(
    "packet",
    [
        b"GET / HTTP/1.1",
        bytes.fromhex("160301"),  # TLS: handshake record (RFC 8446, 5.1)
        bytes.fromhex("30 03 0001 61"),  # PUBLISH before CONNECT
        bytes.fromhex("10 ffffffff01"),  # five length bytes: malformed (2.2.3)
        bytes.fromhex("10 0d 00 04 48545450 04"),
        bytes.fromhex("10 0d 00 05 4d51545431 04"),
    ],
)
def test_what_is_no_connect_is_refused(packet: bytes) -> None:
    with pytest.raises(ValueError, match=r"CONNECT|length|name"):
        protocol_level(packet)


def test_inner_broker_listens_on_loopback_with_bounded_memory() -> None:
    import tomllib

    config = tomllib.loads(config_text([("v4", 4001), ("v5", 4002)], ("user", 'pa"ss\\')))
    assert config["v4"]["1"]["listen"] == "127.0.0.1:4001"
    assert config["v5"]["1"]["listen"] == "127.0.0.1:4002"
    assert config["v5"]["1"]["connections"]["auth"] == {"user": 'pa"ss\\'}
    assert config["router"]["max_segment_size"] == 1024 * 1024
