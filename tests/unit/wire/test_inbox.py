"""Sources in, readings out: every value once, with the message that brought it, and only what is new."""

import json

import pytest

from monitor.core.engine import begin, step
from monitor.core.events import MessagesLost, ReadingCame, Tick
from monitor.core.intake import News
from monitor.core.readings import CircuitReading, Pump, Reading, Refusal
from monitor.core.sources import Format, Reads, Source, TimeUnit, ValueRule
from monitor.settings.site import read_site
from monitor.wire.inbox import Ask, Came, Inbox, Online
from monitor.wire.joining import GAUGES_WAIT_S, Old
from monitor.wire.mapping import Unreadable

NOW_S = 1_764_019_200.0
CIRCUITS = {"dock-6": ("A", "B")}
EMPTY = CircuitReading()


def vacuum(circuit: str = "{circuit}", **rule: object) -> ValueRule:
    return ValueRule(("circuits", circuit, "vacuum_kpa"), **{"unit": "kPa", **rule})


PER_CIRCUIT = Source("plant/{lifter}/vac/{circuit}", Format.NUMBER, (vacuum(),))
LOAD = Source("plant/{lifter}/load", Format.NUMBER, (ValueRule(("load_kg",), unit="kg"),))
STAMPED = Source(
    "plant/{lifter}/json", Format.JSON, (vacuum("A", at=("v",)),), time_at=("t",), seq_at=("n",), boot_at=("b",)
)


def inbox(*sources: Source) -> Inbox:
    return Inbox(sources, CIRCUITS)


def take(box: Inbox, topic: str, payload: object, after_s: float = 0.0, *, retained: bool = False) -> list[Came]:
    data = (
        payload
        if isinstance(payload, bytes)
        else payload.encode()
        if isinstance(payload, str)
        else json.dumps(payload).encode()
    )
    now_s = NOW_S + after_s
    return box.take(topic, data, now_s=now_s, now_utc_s=now_s, retained=retained)


def reading(circuits: dict[str, CircuitReading], **more: object) -> Reading:
    return Reading("dock-6", {"A": EMPTY, "B": EMPTY} | circuits, **more)


# One message a value


def test_value_goes_out_with_its_own_message_and_the_others_are_not_repeated() -> None:
    box = inbox(PER_CIRCUIT, LOAD)
    assert take(box, "plant/dock-6/vac/A", "62.3") == [reading({"A": CircuitReading(62.3)})]
    assert take(box, "plant/dock-6/vac/B", "61.0", 0.1) == [reading({"B": CircuitReading(61.0)})]
    assert take(box, "plant/dock-6/load", "622.5 kg", 0.2) == [reading({}, load_kg=622.5)]


def test_refusal_goes_out_too() -> None:
    [came] = take(inbox(PER_CIRCUIT), "plant/dock-6/vac/A", "?")
    assert came == reading({}, refused=(Refusal("circuits.A.vacuum_kpa", "not_a_number", "'?'"),))


def test_message_that_cannot_be_read_names_its_lifter() -> None:
    [came] = take(inbox(STAMPED), "plant/dock-6/json", "{")
    assert isinstance(came, Unreadable)
    assert came.lifter == "dock-6"


def test_topic_of_no_source_and_lifter_of_no_site_are_nothing() -> None:
    box = inbox(PER_CIRCUIT)
    assert take(box, "plant/dock-6/other", "1") == []
    assert take(box, "plant/dock-9/vac/A", "62") == []
    assert box.unknown_lifters_n == 1


def test_leftover_makes_no_live_reading() -> None:
    box = inbox(PER_CIRCUIT)
    came = take(box, "plant/dock-6/vac/A", "62.3", retained=True)
    assert came == [Old(reading({"A": CircuitReading(62.3)}), News.RETAINED)]
    assert box.joiner.counts == {"retained": 1}


def test_each_circuit_ages_by_itself_in_the_engine() -> None:
    """One circuit's messages stop: it has no reading after 3 s (rule 1) while the other, heard on, still has one."""
    text = (
        "site = 'q'\n[broker]\nembedded = true\n[[lifter]]\nid = 'dock-6'\nbasis = 'asme-bth-1'\nwll_kg = 900\n"
        "[lifter.circuits.A]\nwarning_kpa = 52\n[lifter.circuits.B]\nwarning_kpa = 52\n"
    )
    state = begin(read_site(text, name="site.toml").core, version="test")
    box = inbox(PER_CIRCUIT)
    states: dict[str, str] = {}
    for tenth in range(100):
        after_s = tenth / 10.0
        if tenth % 5 == 0:
            _, effects = step(state, Tick(), NOW_S + after_s)
            states = {name: str(part.state) for name, part in effects[-1].status.facts.circuits.items()}
        for circuit in ("A", "B") if tenth < 50 else ("A",):
            for came in take(box, f"plant/dock-6/vac/{circuit}", f"62.{tenth % 3}", after_s + 0.01):
                step(state, ReadingCame(came), NOW_S + after_s + 0.01)
    assert states["A"] == "holding"
    assert states["B"] == "no_reading"


# Order within a stream


def test_doubled_and_late_messages_of_a_stream_make_no_live_reading() -> None:
    box = inbox(STAMPED)

    def send(n: int, after_s: float) -> list[Came]:
        return take(box, "plant/dock-6/json", {"v": 60 + n, "n": n, "t": NOW_S + n, "b": "x"}, after_s)

    assert len(send(1, 1.0)) == 1
    [again] = send(1, 1.1)
    assert again.news is News.DOUBLED
    assert send(3, 3.0)[0] == MessagesLost("dock-6", 1)
    [late] = send(2, 3.1)
    assert late == Old(reading({"A": CircuitReading(62.0)}, sent_utc_s=NOW_S + 2.0, seq=2, boot="x"), News.LATE)
    assert box.joiner.counts == {"doubled": 1, "late": 1}


def test_what_a_count_leaves_out_is_lost_but_not_over_a_restart() -> None:
    box = inbox(STAMPED)

    def send(box: Inbox, n: int) -> list[Came]:
        return take(box, "plant/dock-6/json", {"v": 60, "n": n, "t": NOW_S + n, "b": "x"}, float(n))

    assert [len(send(box, n)) for n in (1, 2)] == [1, 1]
    assert send(box, 5) == [MessagesLost("dock-6", 2), reading({"A": CircuitReading(60.0)})]
    restarted = Inbox([STAMPED], CIRCUITS, box.joiner.streams)
    assert send(restarted, 20) == [reading({"A": CircuitReading(60.0)})]
    assert send(restarted, 22)[0] == MessagesLost("dock-6", 1)


def test_two_senders_on_one_topic_are_two_streams() -> None:
    """Each counts and tells the time by itself: told apart by what ``where`` asks for."""

    def one_of_two(circuit: str, name: str) -> Source:
        rule = vacuum(circuit, at=("v",))
        where = ((("s",), name),)
        return Source("radio", Format.JSON, (rule,), lifter="dock-6", time_at=("t",), seq_at=("n",), where=where)

    box = inbox(one_of_two("A", "left"), one_of_two("B", "right"))
    for n in range(1, 4):
        left = take(box, "radio", {"s": "left", "t": NOW_S + n, "n": 1000 + n, "v": 60.0}, float(n))
        right = take(box, "radio", {"s": "right", "t": NOW_S + n - 0.4, "n": 10 + n, "v": 61.0}, n + 0.1)
        assert left == [reading({"A": CircuitReading(60.0)})]
        assert right == [reading({"B": CircuitReading(61.0)})]
    [late] = take(box, "radio", {"s": "right", "t": NOW_S + 2 - 0.4, "n": 12, "v": 61.0}, 3.2)
    assert late.news is News.LATE


def test_clocks_of_two_streams_are_not_compared() -> None:
    box = inbox(STAMPED, PER_CIRCUIT)
    assert len(take(box, "plant/dock-6/json", {"v": 60, "n": 1, "t": NOW_S + 500.0})) == 1
    assert len(take(box, "plant/dock-6/vac/B", "61", 0.1)) == 1
    assert len(take(box, "plant/dock-6/json", {"v": 60, "n": 2, "t": NOW_S + 500.2}, 0.2)) == 1


def test_buffer_sent_at_once_is_history_but_for_its_newest_line() -> None:
    lines = Source("plant/{lifter}/csv", Format.CSV, (vacuum("A", at=(1,)),), time_at=(0,))
    box = inbox(lines)
    text = "".join(f"{NOW_S - age_s},{60 - age_s}\n" for age_s in (40, 30, 20, 10, 0))
    *old, live = take(box, "plant/dock-6/csv", text)
    assert live == reading({"A": CircuitReading(60.0)})
    assert [(one.news, one.reading.circuits["A"].vacuum_kpa) for one in old] == [
        (News.LATE, vacuum_kpa) for vacuum_kpa in (20.0, 30.0, 40.0, 50.0)
    ]
    assert box.joiner.counts == {"late": 4}


def test_late_reading_is_told_by_this_sites_clock() -> None:
    """The sender's clock is an hour behind; what it measured 40 s ago is told as 40 s ago."""
    lines = Source("plant/{lifter}/csv", Format.CSV, (vacuum("A", at=(1,)),), time_at=(0,))
    sender_utc_s = NOW_S - 3600.0
    old, live = take(inbox(lines), "plant/dock-6/csv", f"{sender_utc_s - 40.0},55\n{sender_utc_s},60\n")
    assert old.reading.sent_utc_s == NOW_S - 40.0
    assert live == reading({"A": CircuitReading(60.0)})


def test_lines_told_again_with_the_next_are_doubled() -> None:
    lines = Source("plant/{lifter}/csv", Format.CSV, (vacuum("A", at=(1,)),), time_at=(0,))
    box = inbox(lines)
    take(box, "plant/dock-6/csv", f"{NOW_S - 10},59\n{NOW_S},60\n")
    came = take(box, "plant/dock-6/csv", f"{NOW_S},60\n{NOW_S + 5},61\n{NOW_S + 10},62\n", 10.0)
    assert [getattr(one, "news", None) for one in came] == [News.DOUBLED, News.LATE, None]


# Gauges of one circuit


GAUGES = (
    Source("g/{lifter}/1", Format.NUMBER, (ValueRule(("circuits", "A", "gauges", "1"), unit="kPa"),)),
    Source("g/{lifter}/2", Format.NUMBER, (ValueRule(("circuits", "A", "gauges", "2"), unit="kPa"),)),
)


def test_gauges_of_a_circuit_wait_for_each_other_and_the_lowest_counts() -> None:
    box = inbox(*GAUGES)
    assert take(box, "g/dock-6/1", "57.8") == []
    expected = reading({"A": CircuitReading(55.1, gauges={"1": 57.8, "2": 55.1})})
    assert take(box, "g/dock-6/2", "55.1", 0.3) == [expected]


def test_gauge_does_not_wait_for_ever() -> None:
    box = inbox(*GAUGES)
    take(box, "g/dock-6/1", "57.8")
    assert box.due(NOW_S + GAUGES_WAIT_S - 0.01) == []
    assert box.due(NOW_S + GAUGES_WAIT_S) == [reading({"A": CircuitReading(57.8, gauges={"1": 57.8})})]
    assert box.due(NOW_S + 9.0) == []


def test_new_round_sends_the_old_one_on() -> None:
    box = inbox(*GAUGES)
    take(box, "g/dock-6/1", "57.8")
    assert take(box, "g/dock-6/1", "57.7", 0.5) == [reading({"A": CircuitReading(57.8, gauges={"1": 57.8})})]


def test_gauge_not_believed_is_told_at_once_and_not_waited_for() -> None:
    box = inbox(*GAUGES)
    [came] = take(box, "g/dock-6/1", "999")
    assert came == reading({}, refused=(Refusal("circuits.A.gauges.1", "out_of_range", "'999' as 999 kPa"),))
    assert take(box, "g/dock-6/2", "55.1", 0.1) == [reading({"A": CircuitReading(55.1, gauges={"2": 55.1})})]


def test_other_values_of_a_gauges_message_do_not_wait() -> None:
    both = Source(
        "j/{lifter}",
        Format.JSON,
        (
            ValueRule(("circuits", "A", "gauges", "1"), at=("g",), unit="kPa"),
            ValueRule(("circuits", "A", "pump"), at=("p",)),
        ),
    )
    box = inbox(both, GAUGES[1])
    assert take(box, "j/dock-6", {"g": 57.8, "p": "on"}) == [reading({"A": CircuitReading(pump=Pump.ON)})]
    assert len(take(box, "g/dock-6/2", "57.9", 0.1)) == 1


# Open formats


def test_senml_by_the_names_of_a_readings_own_fields() -> None:
    box = inbox(Source("senml/{lifter}", Format.SENML))
    pack = [
        {"bn": "urn:dev:dock-6:", "n": "circuits/A/vacuum", "u": "Pa", "v": 62500},
        {"n": "circuits/B/vacuum_kpa", "v": 61.0},
        {"n": "circuits/B/pump", "vs": "off"},
        {"n": "load", "u": "kg", "v": 622.5},
        {"n": "lifter_alarm", "vb": False},
        {"n": "humidity", "u": "%RH", "v": 40},
    ]
    [came] = take(box, "senml/dock-6", pack)
    circuits = {"A": CircuitReading(62.5), "B": CircuitReading(61.0, pump=Pump.OFF)}
    assert came == reading(circuits, load_kg=622.5, lifter_alarm=False)


def test_senml_by_rules() -> None:
    made = Source("senml/{lifter}", Format.SENML, (vacuum("A", at=("urn:x:p1",), unit="Pa", reads=Reads.GAUGE),))
    [came] = take(inbox(made), "senml/dock-6", [{"n": "urn:x:p1", "v": -62500}, {"n": "load_kg", "v": 600}])
    assert came == reading({"A": CircuitReading(62.5)})


def test_senml_series_is_history_but_for_its_newest_record() -> None:
    box = inbox(Source("senml/{lifter}", Format.SENML))
    pack = [{"n": "circuits/A/vacuum", "u": "Pa", "t": -age_s, "v": 60000 - age_s} for age_s in (30, 20, 10, 0)]
    *old, live = take(box, "senml/dock-6", pack)
    assert live == reading({"A": CircuitReading(60.0)})
    assert [one.reading.sent_utc_s for one in old] == [NOW_S - 30.0, NOW_S - 20.0, NOW_S - 10.0]
    assert {one.news for one in old} == {News.LATE}


@pytest.mark.parametrize("payload", [b"[", b"[{}]", b'[{"n":"a","v":1,"x_":1}]', b"", b"\xff\x00"])
def test_senml_that_cannot_be_used_says_why(payload: bytes) -> None:
    [came] = take(inbox(Source("senml/{lifter}", Format.SENML)), "senml/dock-6", payload)
    assert isinstance(came, Unreadable)
    assert came.rejected.found.isprintable()


def sparkplug_source(**more: object) -> Source:
    rule = vacuum("A", at=("Circuit A/Vacuum",), reads=Reads.GAUGE)
    return Source("spBv1.0/plant/+/gw/{lifter}", Format.SPARKPLUG, (rule,), **more)


def test_sparkplug_device_from_birth_to_death() -> None:
    from tests.unit.wire.test_sparkplug import BIRTH, VACUUM, metric, payload

    box = inbox(sparkplug_source())
    assert box.subscriptions() == ["spBv1.0/plant/+/gw/+", "spBv1.0/plant/+/gw"]
    assert take(box, "spBv1.0/plant/NBIRTH/gw", BIRTH) == []
    born = take(box, "spBv1.0/plant/DBIRTH/gw/dock-6", payload(metric(*VACUUM), seq=1))
    assert born == [Online("dock-6", online=True), reading({"A": CircuitReading(60.0)})]
    data = payload(metric((2, 1), (3, 1_700_000_001_000), (13, -59.5)), seq=2)
    assert take(box, "spBv1.0/plant/DDATA/gw/dock-6", data, 1.0) == [reading({"A": CircuitReading(59.5)})]
    old = payload(metric((2, 1), (5, 1), (13, -40.0)), seq=3)
    [past] = take(box, "spBv1.0/plant/DDATA/gw/dock-6", old, 2.0)
    assert (past.news, past.reading.circuits["A"].vacuum_kpa) == (News.LATE, 40.0)
    after_gap = payload(metric((2, 1), (3, 1_700_000_002_500), (13, -59.0)), seq=6)
    assert take(box, "spBv1.0/plant/DDATA/gw/dock-6", after_gap, 2.5) == [
        MessagesLost("dock-6", 2),
        reading({"A": CircuitReading(59.0)}),
    ]
    assert take(box, "spBv1.0/plant/DDEATH/gw/dock-6", payload(seq=7), 3.0) == [Online("dock-6", online=False)]


@pytest.mark.parametrize("allowed", [True, False])
def test_rebirth_is_asked_only_where_allowed_and_not_over_and_over(allowed: bool) -> None:
    from tests.unit.wire.test_sparkplug import metric, payload

    box = inbox(sparkplug_source(ask_rebirth=allowed))
    data = payload(metric((2, 1), (13, -59.5)), seq=7)
    asked = [
        came.topic
        for after_s in (0.0, 1.0, 9.9, 10.0)
        for came in take(box, "spBv1.0/plant/DDATA/gw/dock-6", data, after_s)
        if isinstance(came, Ask)
    ]
    assert asked == (["spBv1.0/plant/NCMD/gw"] * 2 if allowed else [])
    assert box.missed["birth"] == 4


def test_leftover_of_sparkplug_is_nothing() -> None:
    assert take(inbox(sparkplug_source()), "spBv1.0/plant/DDATA/gw/dock-6", b"\x00", retained=True) == []


# What is asked of the broker


def test_topic_is_asked_for_by_one_filter_only() -> None:
    """A broker may send a message once for each filter that takes it in (MQTT 5.0, 3.3.4)."""
    sources = [
        Source(topic, Format.NUMBER, (vacuum("A"),), lifter="dock-6") for topic in ("a/#", "a/b/+", "a/b/c", "a", "b/c")
    ]
    assert inbox(*sources).subscriptions() == ["a/#", "b/c"]


@pytest.mark.parametrize(
    ("topic", "known"), [("plant/dock-6/load", True), ("plant/x/load", True), ("plant/dock-6", False), ("", False)]
)
def test_sources_know_their_topics(topic: str, known: bool) -> None:
    assert inbox(LOAD).knows(topic) is known


def test_message_says_its_newest_time_by_its_source() -> None:
    lines = Source("csv/{lifter}", Format.CSV, (vacuum("A", at=(1,)),), time_at=(0,), time_unit=TimeUnit.MS)
    box = inbox(lines, Source("senml/{lifter}", Format.SENML), LOAD)
    assert box.time_of("csv/dock-6", f"{NOW_S * 1000:.0f},60\n{NOW_S * 1000 + 1500:.0f},61\n".encode()) == NOW_S + 1.5
    pack = [{"n": "load", "v": 1, "t": -5}, {"n": "load", "v": 1, "t": NOW_S}]
    assert box.time_of("senml/dock-6", json.dumps(pack).encode()) == NOW_S
    assert box.time_of("senml/dock-6", json.dumps(pack[:1]).encode()) is None
    assert box.time_of("senml/dock-6", b"[") is None
    assert box.time_of("plant/dock-6/load", b"600") is None
