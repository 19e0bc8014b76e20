"""What `listen` says of hardware with topics of its own: what each value became, and everything that is wrong with it."""

import json

import pytest

from monitor.cli.arriving_sources import ArrivingSources
from monitor.settings.site import read_site
from tests.small_site import SMALL_SITE

NOW_S = 1_764_019_200.0
SOURCES = """
[[source]]
topic = "vac/{lifter}/{circuit}"
format = "json"
time_at = "t"
seq_at = "n"
[[source.value]]
to = "circuits.{circuit}.vacuum_kpa"
at = "v"
unit = "mbar"
reads = "gauge"
[[source]]
topic = "load"
format = "number"
lifter = "dock-6"
[[source.value]]
to = "load_kg"
"""


@pytest.fixture
def ears() -> ArrivingSources:
    return ArrivingSources(read_site(SMALL_SITE + SOURCES, name="site.toml"))


def take(
    ears: ArrivingSources, topic: str, payload: object, after_s: float = 0.0, *, retained: bool = False
) -> list[str]:
    data = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return list(ears.take(topic, data, retained=retained, now_utc_s=NOW_S + after_s))


def test_what_each_value_became_is_told_once(ears: ArrivingSources) -> None:
    first = take(ears, "vac/dock-6/A", {"v": -634, "t": NOW_S, "n": 1})
    assert first == ["vac/dock-6/A: dock-6 circuit A 63.4 kPa below ambient"]
    assert take(ears, "vac/dock-6/A", {"v": -633, "t": NOW_S + 1, "n": 2}, 1.0) == []
    assert take(ears, "load", b"622.5") == ["load: dock-6 load_kg 622.5"]


@pytest.mark.parametrize(
    ("topic", "payload", "line"),
    [
        ("vac/dock-6/A", {"v": "n/a"}, "does not fit: circuits.A.vacuum_kpa is no number: found 'n/a'"),
        ("vac/dock-6/A", {"v": -6340}, "does not fit: circuits.A.vacuum_kpa is out of range: found -6340 as 634 kPa"),
        ("vac/dock-6/A", b"{", "cannot be read: it has another shape"),
        ("vac/dock-6/A", {"x": 1}, "nothing in it that a rule of its source names"),
        ("vac/dock-9/A", {"v": -600}, "of a lifter that is not in the site file"),
    ],
)
def test_what_does_not_fit_is_told(ears: ArrivingSources, topic: str, payload: object, line: str) -> None:
    assert any(line in one for one in take(ears, topic, payload))


def test_doubled_late_and_retained_are_told_and_counted(ears: ArrivingSources) -> None:
    take(ears, "vac/dock-6/A", {"v": -634, "t": NOW_S, "n": 5})
    assert "doubled" in take(ears, "vac/dock-6/A", {"v": -634, "t": NOW_S, "n": 5}, 0.1)[0]
    assert "late" in take(ears, "vac/dock-6/A", {"v": -100, "t": NOW_S - 9, "n": 2}, 0.2)[0]
    assert "retained" in take(ears, "vac/dock-6/A", {"v": -100, "t": NOW_S - 9, "n": 1}, 0.3, retained=True)[0]
    take(ears, "vac/dock-6/A", {"v": -634, "t": NOW_S + 1, "n": 9}, 1.0)
    [line] = [line for line in ears.summary(NOW_S + 2.0, 2.0) if line.startswith("vac/dock-6/A")]
    for part in (
        "2.5 messages a second", "last 1.0 s ago", "1 doubled", "1 late", "1 retained", "3 lost by the count of seq",
        "the sender's clock is right", "became dock-6 circuit A 63.4 kPa below ambient",
    ):  # fmt: skip
        assert part in line
    assert "doubled" not in next(iter(ears.summary(NOW_S + 3.0, 1.0)))


@pytest.mark.parametrize(("off_s", "said"), [(-3600.0, "3600.0 s behind"), (90.0, "90.0 s ahead"), (0.5, "right")])
def test_clock_of_each_topic_is_told(ears: ArrivingSources, off_s: float, said: str) -> None:
    for second in range(3):
        take(ears, "vac/dock-6/A", {"v": -634, "t": NOW_S + second + off_s, "n": second}, float(second))
    assert f"the sender's clock is {said}" in next(iter(ears.summary(NOW_S + 3.0, 3.0)))


def test_what_is_missing_is_told(ears: ArrivingSources) -> None:
    take(ears, "vac/dock-6/A", {"v": -634})
    lines = list(ears.summary(NOW_S + 4.0, 4.0))
    assert "nothing yet on load" in lines
    assert lines[-1] == "dock-6: last heard: circuit A 4.0 s ago, circuit B never, load_kg never"


def test_own_topics_are_not_its_business(ears: ArrivingSources) -> None:
    assert take(ears, "holdwatch/quayside/dock-6/readings", {}) == []
