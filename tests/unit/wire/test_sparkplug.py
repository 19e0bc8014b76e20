"""Sparkplug B 3.0: the published definition byte by byte, births, aliases, gaps, deaths, history kept out."""

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.wire.by_name import Named
from monitor.wire.sparkplug import Host, Lives, Metric, Missed, Payload, Told, decode_payload, encode_rebirth

# timestamp 1700000000000, bdSeq (UInt64 0), "Circuit A/Vacuum" alias 1 Double -60.0, seq 0; built by hand from the
# field numbers of the specification's chapter 6.
BIRTH = bytes.fromhex(
    "0880d095ffbc3112120a0562645365711880d095ffbc312008580012260a104369726375697420412f56616375756d"
    "10011880d095ffbc31200a690000000000004ec01800"
)
T_S = 1_700_000_000.0


def varint(number: int) -> bytes:
    out = b""
    while number > 127:
        out += bytes([number & 127 | 128])
        number >>= 7
    return out + bytes([number])


def field(number: int, value: int | float | bytes | str) -> bytes:
    """One protobuf field by the encoding's own rules (varint, 64-bit, length-delimited)."""
    if isinstance(value, float):
        return varint(number << 3 | 1) + struct.pack("<d", value)
    if isinstance(value, int):
        return varint(number << 3) + varint(value)
    data = value.encode() if isinstance(value, str) else value
    return varint(number << 3 | 2) + varint(len(data)) + data


def metric(*fields: tuple[int, int | float | bytes | str]) -> bytes:
    return field(2, b"".join(field(*item) for item in fields))


def payload(*metrics: bytes, seq: int | None = 0) -> bytes:
    return field(1, 1_700_000_000_000) + b"".join(metrics) + (b"" if seq is None else field(3, seq))


VACUUM = ((1, "Circuit A/Vacuum"), (2, 1), (4, 10), (13, -60.0))


def bd(number: int) -> bytes:
    return metric((1, "bdSeq"), (4, 8), (11, number))


def told(host: Host, topic: str, message: bytes) -> list[object]:
    return list(host.take(f"spBv1.0/{topic}", message))


def items(events: list[object]) -> list[tuple[str, object]]:
    return [(item.name, item.value) for event in events if isinstance(event, Told) for item in event.items]


def test_published_vector() -> None:
    assert decode_payload(BIRTH) == Payload(
        T_S,
        0,
        (Metric("bdSeq", None, 0, "", T_S), Metric("Circuit A/Vacuum", 1, -60.0, "", T_S)),
    )


def test_data_by_alias_after_the_birth_that_named_it() -> None:
    host = Host()
    assert told(host, "plant/NBIRTH/gw", BIRTH)[0] == Lives("plant/gw", "", online=True)
    events = told(host, "plant/NDATA/gw", payload(metric((2, 1), (4, 10), (13, -59.5)), seq=1))
    assert events == [Told((Named("Circuit A/Vacuum", "", -59.5, T_S),))]


def test_unit_of_a_metric_is_told_by_its_birth() -> None:
    unit = field(1, "engUnit") + field(2, field(1, 12) + field(8, "mbar"))
    host = Host()
    told(host, "plant/NBIRTH/gw", payload(bd(0), metric(*VACUUM, (9, unit))))
    events = told(host, "plant/NDATA/gw", payload(metric((2, 1), (13, -595.0)), seq=1))
    assert events == [Told((Named("Circuit A/Vacuum", "mbar", -595.0, T_S),))]


@pytest.mark.parametrize("first", [0, 7, 255])
def test_birth_may_begin_anywhere_and_then_every_message_counts_one_up(first: int) -> None:
    host = Host()
    told(host, "plant/NBIRTH/gw", payload(bd(0), metric(*VACUUM), seq=first))
    for step in range(1, 300):
        events = told(host, "plant/NDATA/gw", payload(metric((2, 1), (13, 1.0)), seq=(first + step) % 256))
        assert not [event for event in events if isinstance(event, Missed)]


def test_gap_is_told_and_the_values_still_count() -> None:
    host = Host()
    told(host, "plant/NBIRTH/gw", BIRTH)
    events = told(host, "plant/NDATA/gw", payload(metric((2, 1), (13, -59.0)), seq=2))
    assert events == [Missed("plant/gw", "seq", 1), Told((Named("Circuit A/Vacuum", "", -59.0, T_S),))]


@pytest.mark.parametrize(("last", "now", "lost_n"), [(3, 7, 3), (254, 2, 3), (3, 3, 0), (3, 2, 0), (3, 4, 0)])
def test_gap_is_counted_round_the_corner_and_never_for_what_came_late_or_twice(
    last: int, now: int, lost_n: int
) -> None:
    """Sparkplug 3.0.0, 5.4: seq runs from 0 to 255 and begins again at 0."""
    host = Host()
    told(host, "plant/NBIRTH/gw", payload(bd(0), metric(*VACUUM), seq=last))
    events = told(host, "plant/NDATA/gw", payload(metric((2, 1), (13, 1.0)), seq=now))
    assert sum(event.n for event in events if isinstance(event, Missed)) == lost_n


def test_devices_share_their_nodes_count() -> None:
    host = Host()
    told(host, "plant/NBIRTH/gw", BIRTH)
    assert told(host, "plant/DBIRTH/gw/dock-6", payload(metric(*VACUUM), seq=1))[0] == Lives(
        "plant/gw", "dock-6", online=True
    )
    assert items(told(host, "plant/DDATA/gw/dock-6", payload(metric((2, 1), (13, -58.0)), seq=2))) == [
        ("Circuit A/Vacuum", -58.0)
    ]
    assert told(host, "plant/DDEATH/gw/dock-6", payload(seq=3)) == [Lives("plant/gw", "dock-6", online=False)]
    assert Missed("plant/gw", "birth") in told(
        host, "plant/DDATA/gw/dock-6", payload(metric((2, 1), (13, -58.0)), seq=4)
    )


def test_alias_nobody_named_is_missed_and_never_guessed() -> None:
    host = Host()
    told(host, "plant/NBIRTH/gw", BIRTH)
    events = told(host, "plant/NDATA/gw", payload(metric((2, 9), (13, -59.0)), seq=1))
    assert events == [Missed("plant/gw", "alias"), Told(())]


def test_data_before_any_birth_is_missed() -> None:
    events = told(Host(), "plant/NDATA/gw", payload(metric((2, 1), (13, -59.0)), seq=5))
    assert events == [Missed("plant/gw", "birth"), Missed("plant/gw", "alias"), Told(())]


def test_new_birth_forgets_the_old_aliases() -> None:
    host = Host()
    told(host, "plant/NBIRTH/gw", BIRTH)
    told(host, "plant/NBIRTH/gw", payload(bd(1), metric((1, "Load"), (2, 1), (13, 622.5)), seq=0))
    assert items(told(host, "plant/NDATA/gw", payload(metric((2, 1), (13, 600.0)), seq=1))) == [("Load", 600.0)]


def test_death_counts_only_with_the_births_number() -> None:
    host = Host()
    told(host, "plant/NBIRTH/gw", payload(bd(4), metric(*VACUUM)))
    assert told(host, "plant/NDEATH/gw", payload(bd(3), seq=None)) == []
    assert told(host, "plant/NDEATH/gw", payload(bd(4), seq=None)) == [Lives("plant/gw", "", online=False)]
    assert Missed("plant/gw", "birth") in told(host, "plant/NDATA/gw", payload(metric((2, 1), (13, -59.0)), seq=1))


def test_history_and_null_are_kept_out() -> None:
    host = Host()
    told(host, "plant/NBIRTH/gw", BIRTH)
    old, null = metric((2, 1), (5, 1), (13, -40.0)), metric((2, 1), (7, 1))
    assert told(host, "plant/NDATA/gw", payload(old, null, seq=1)) == [
        Told((), (Named("Circuit A/Vacuum", "", -40.0, T_S),))
    ]


@pytest.mark.parametrize(
    ("datatype", "number", "sent", "value"),
    [
        (1, 10, 0xC4, -60),
        (1, 10, 0xFFFFFFC4, -60),
        (2, 10, 0xFDA8, -600),
        (3, 10, 0xFFFFFFC4, -60),
        (4, 11, 2**64 - 60, -60),
        (5, 10, 60, 60),
        (7, 10, 0xFFFFFFC4, 0xFFFFFFC4),
        (8, 11, 2**64 - 60, 2**64 - 60),
        (11, 14, 1, True),
        (12, 15, "on", "on"),
    ],
)
def test_data_types(datatype: int, number: int, sent: int | str, value: object) -> None:
    [found] = decode_payload(payload(metric((1, "m"), (4, datatype), (number, sent)))).metrics
    assert found.value == value
    assert type(found.value) is type(value)


@pytest.mark.parametrize(
    "topic",
    [
        "",
        "plant/NBIRTH",
        "plant/NBIRTH/gw/dock-6",
        "plant/DDATA/gw",
        "plant/NCMD/gw",
        "STATE/host",
        "plant/nbirth/gw",
        "a/b/c/d/e",
    ],
)
def test_other_topics_are_nothing(topic: str) -> None:
    assert told(Host(), topic, BIRTH) == []


@pytest.mark.parametrize(
    "message",
    [b"\x08", b"\xff" * 12, payload(seq=256), b"\x12\x05ab", b"\x00" * 70_000, payload(*[metric((1, "m"))] * 2001)],
)
def test_payload_that_is_none_says_why(message: bytes) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        decode_payload(message)


def test_rebirth_is_asked_in_the_specifications_words() -> None:
    # chapter 6: metric "Node Control/Rebirth", boolean true
    asked = field(1, 1_700_000_000_000) + metric((1, "Node Control/Rebirth"), (3, 1_700_000_000_000), (4, 11), (14, 1))
    assert encode_rebirth(T_S) == asked


def spoiled(cut: tuple[int, bytes]) -> bytes:
    return BIRTH[: cut[0]] + cut[1] + BIRTH[cut[0] + 1 :]


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=60) | st.tuples(st.integers(0, len(BIRTH)), st.binary(max_size=6)).map(spoiled))
def test_any_bytes_are_read_or_say_why(message: bytes) -> None:
    host = Host()
    for kind in ("NBIRTH", "NDATA", "NDEATH"):
        try:
            events = host.take(f"spBv1.0/plant/{kind}/gw", message)
        except ValueError:
            continue
        assert all(isinstance(event, Told | Lives | Missed) for event in events)


def test_name_that_is_not_utf_8_is_text_all_the_same() -> None:
    (metric,) = decode_payload(field(2, field(1, b"\xff\xfeVacuum") + field(13, 62.0))).metrics
    assert metric.name == "\ufffd\ufffdVacuum"
    assert metric.value == 62.0
