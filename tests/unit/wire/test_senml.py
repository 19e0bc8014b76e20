"""SenML resolves as the published examples resolve (RFC 8428, section 5.1, JSON, and section 6, CBOR)."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.wire.senml import LABELS, Record, read_senml, resolve

NOW_S = 1_764_019_200.0
CURRENTS = [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
BN = "urn:dev:ow:10e2073a0108006:"
MULTIPLE = [
    {"bn": BN, "bt": 1.276020076001e9, "bu": "A", "bver": 5, "n": "voltage", "u": "V", "v": 120.1},
    *({"n": "current", "t": t, "v": v} for t, v in zip(range(-5, 1), CURRENTS, strict=True)),
]
RESOLVED = [
    Record(BN + "voltage", "V", 120.1, None, 1276020076.001, None),
    *(
        Record(BN + "current", "A", v, None, pytest.approx(1276020076.001 + t, abs=1e-6), None)
        for t, v in zip(range(-5, 1), CURRENTS, strict=True)
    ),
]
# The CBOR form of the same example, RFC 8428 section 6.
CBOR = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a31306532303733613031303830303"
    "63a22fb41d303a15b00106223614120050067766f6c7461676501615602fb405e066666666666"
    "a3006763757272656e74062402fb3ff3333333333333a3006763757272656e74062302fb3ff4cccccccccccd"
    "a3006763757272656e74062202fb3ff6666666666666a3006763757272656e74062102f93e00"
    "a3006763757272656e74062002fb3ff999999999999aa3006763757272656e74060002fb3ffb333333333333"
)


def test_single_data_point() -> None:
    pack = b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    assert read_senml(pack, now_utc_s=NOW_S) == [Record("urn:dev:ow:10e2073a01080063", "Cel", 23.1, None, NOW_S, None)]


def test_multiple_data_points_now() -> None:
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "u": "A", "v": 1.2},
    ]
    assert [(item.name[-7:], item.unit, item.value, item.time_s) for item in resolve(pack, now_utc_s=NOW_S)] == [
        ("voltage", "V", 120.1, NOW_S),
        ("current", "A", 1.2, NOW_S),
    ]


def test_multiple_data_points_with_times() -> None:
    assert resolve(MULTIPLE, now_utc_s=NOW_S) == RESOLVED


def test_series_under_one_name() -> None:
    values = [21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7, 21.5, 21.5, 21.5]
    times = [0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 91, 92]
    pack = [{"bn": "urn:dev:ow:10e2073a01080063", "bt": 1320067464, "bu": "%RH", "v": 21.2}]
    pack += [{"t": t, "v": v} for t, v in zip(times[1:], values[1:], strict=True)]
    resolved = resolve(pack, now_utc_s=NOW_S)
    assert [item.value for item in resolved] == values
    assert [item.time_s for item in resolved] == [1320067464.0 + t for t in times]
    assert {(item.name, item.unit) for item in resolved} == {("urn:dev:ow:10e2073a01080063", "%RH")}


def test_cbor_resolves_as_the_json_does() -> None:
    assert read_senml(CBOR, now_utc_s=NOW_S) == RESOLVED


def test_labels_of_cbor_are_those_of_the_table() -> None:
    below = {"bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6}
    above = {"n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "s": 5, "t": 6, "ut": 7, "vd": 8}
    assert {name: label for label, name in LABELS.items()} == below | above


@pytest.mark.parametrize(("t", "time_s"), [(268435455, NOW_S + 268435455), (268435456, 268435456.0), (-5, NOW_S - 5)])
def test_times_below_two_to_the_28_are_relative(t: int, time_s: float) -> None:
    assert resolve([{"n": "a", "t": t, "v": 1}], now_utc_s=NOW_S)[0].time_s == time_s


def test_base_value_and_base_sum_are_added() -> None:
    [record] = resolve([{"n": "a", "bv": 20, "v": 1.5, "bs": 100, "s": 2, "ut": 10}], now_utc_s=NOW_S)
    assert (record.value, record.sum, record.update_s) == (21.5, 102.0, 10.0)


def test_sum_alone_is_enough() -> None:
    [record] = resolve([{"n": "a", "s": 2}], now_utc_s=NOW_S)
    assert (record.value, record.sum) == (None, 2.0)


@pytest.mark.parametrize(("label", "value"), [("vs", "on"), ("vb", True), ("vd", "aGk")])
def test_values_of_other_kinds(label: str, value: object) -> None:
    assert resolve([{"n": "a", label: value}], now_utc_s=NOW_S)[0].value == value


@pytest.mark.parametrize(
    "pack",
    [
        {},
        [],
        [1],
        [[]],
        "x",
        [{"n": "a"}],
        [{"v": 1}],
        [{"n": "", "v": 1}],
        [{"n": "a b", "v": 1}],
        [{"n": "-a", "v": 1}],
        [{"n": "Ä", "v": 1}],
        [{"n": 1, "v": 1}],
        [{"n": "a", "u": 1, "v": 1}],
        [{"n": "a", "v": 1, "vs": "x"}],
        [{"n": "a", "v": "1"}],
        [{"n": "a", "v": True}],
        [{"n": "a", "v": None}],
        [{"n": "a", "v": float("nan")}],
        [{"n": "a", "v": 10**400}],
        [{"n": "a", "vb": 1}],
        [{"n": "a", "vs": 1}],
        [{"n": "a", "v": 1, "t": "now"}],
        [{"n": "a", "v": 1, "must_": 1}],
        [{"n": "a", "v": 1, "bver": 11}],
        [{"n": "a", "v": 1, "bver": 0}],
        [{"n": "a", "v": 1, "bver": "10"}],
        [{"n": "a", "v": 1, "bver": True}],
        [{"n": "a", "v": 1, "bver": 5}, {"n": "b", "v": 1, "bver": 6}],
        [{"n": "a", "v": 1}] * 1001,
    ],
)
def test_pack_that_must_not_be_used(pack: object) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        resolve(pack, now_utc_s=NOW_S)


@pytest.mark.parametrize("version", [1, 5, 10])
def test_known_versions(version: int) -> None:
    assert len(resolve([{"n": "a", "v": 1, "bver": version}, {"n": "b", "v": 1}], now_utc_s=NOW_S)) == 2


def test_unknown_field_is_ignored() -> None:
    assert resolve([{"n": "a", "v": 1, "new": {"x": 1}}], now_utc_s=NOW_S)[0].value == 1.0


def spoiled(at: list[int]) -> bytes:
    return bytes(byte ^ (255 if n in at else 0) for n, byte in enumerate(CBOR))


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=80) | st.lists(st.integers(0, len(CBOR) - 1), max_size=4).map(spoiled))
def test_any_bytes_resolve_or_say_why(payload: bytes) -> None:
    try:
        records = read_senml(payload, now_utc_s=NOW_S)
    except ValueError:
        return
    assert all(isinstance(record, Record) for record in records)


KEYS = st.sampled_from([*LABELS.values(), "x", "x_"])
ANY = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.lists(st.integers(), max_size=2)
)


@settings(deadline=None, max_examples=300)
@given(st.lists(st.dictionaries(KEYS, ANY, max_size=5), max_size=4))
def test_any_records_resolve_or_say_why(pack: list[dict[str, object]]) -> None:
    try:
        records = read_senml(json.dumps(pack).encode(), now_utc_s=NOW_S)
    except ValueError:
        return
    for record in records:
        assert abs(record.time_s) < float("inf")
        assert not isinstance(record.value, float) or abs(record.value) < float("inf")
