"""Sites' records into one central store over a real broker: each once, whatever is lost on the way, nothing changed."""

import itertools
import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest

from dashboards.trend_desk import Desk
from monitor.broker import BrokerClient
from monitor.fleet import collect, folders
from monitor.sharing import Gathering, SharingError, gather, send
from monitor.store.errors import StoreError
from monitor.store.importing import import_lifts
from monitor.store.records import open_reader
from monitor.store.sharing import Batch, Have, Outgoing
from tests.brokers import Broker
from tests.kept_lifts import keep_lifts
from tests.trend_histories import history
from tests.unit.test_fleet import DEMO, site_backup

pytestmark = pytest.mark.system


@pytest.fixture
def central(broker: Broker, tmp_path: Path) -> Iterator[Path]:
    """A central store at work."""
    data = tmp_path / "central"
    gathering, client, stop = (
        Gathering(data, "holdwatch"),
        BrokerClient(broker.url, client_id="central"),
        threading.Event(),
    )
    client.start()
    thread = threading.Thread(target=gather, args=(client, gathering, lambda _: None, stop.is_set))
    thread.start()
    yield data
    stop.set()
    thread.join()
    client.stop()
    gathering.close()


def site(folder: Path, name: str, lifts_n: int, url: str | None = None) -> Path:
    """A site that has closed its first ``lifts_n`` lifts."""
    records = [record | {"site": name} for record in history(5, 200, 0.5).records()][:lifts_n]
    text = DEMO.replace('site = "quayside"', f'site = "{name}"')
    notes = history(5, 200, 0.5).notes
    import_lifts(
        folder / name, records, notes, no_trace="a test", settings=("ab" * 32, text, "s.toml", "test"), url=url
    )
    return folder / name


def sent(broker: Broker, data: Path, *, traces: bool = False, within_s: float = 30.0, url: str | None = None) -> int:
    client, store = BrokerClient(broker.url, client_id=f"send-{data.name}"), Outgoing(data, url)
    client.start()
    try:
        return send(client, store, root="holdwatch", traces=traces, within_s=within_s, progress=lambda _: None,
                    stopped=lambda: False)  # fmt: skip
    finally:
        client.stop()
        store.close()


def hashes(data: Path, url: str | None = None) -> list[tuple[str, str]]:
    reader = open_reader(data, url)
    try:
        assert reader.verify() is None
        return reader.hashes()
    finally:
        reader.close()


def test_two_sites_stand_in_one_store_and_on_the_fleet_page(broker: Broker, central: Path, tmp_path: Path) -> None:
    north, south = site(tmp_path, "north", 120), site(tmp_path, "south", 60)
    assert [sent(broker, one) for one in (north, south, north)] == [120, 60, 0]
    assert hashes(central / "fleet" / "north") == hashes(north)
    assert hashes(central / "fleet" / "south") == hashes(south)
    desk = Desk(lambda: open_reader(central), central)
    shown = {one.site: one.cares["dock-6"].trends for one in desk.fleet()}
    assert {name: len(trends.ids) for name, trends in shown.items()} == {"north": 120, "south": 60}
    assert shown["north"].services == shown["south"].services


def test_days_without_a_line_cost_nothing(broker: Broker, central: Path, tmp_path: Path) -> None:
    north = site(tmp_path, "north", 60)
    assert sent(broker, north) == 60
    broker.kill()
    site(tmp_path, "north", 200)
    with pytest.raises(SharingError, match="no link to the broker"):
        sent(broker, north, within_s=1.0)
    broker.start()
    assert sent(broker, north) == 140
    assert hashes(central / "fleet" / "north") == hashes(north)


@pytest.mark.parametrize("lost", ["batch", "answer"])
def test_broker_that_dies_while_sending_loses_and_doubles_nothing(
    broker: Broker, central: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lost: str
) -> None:
    """Killed with a batch on its way there, and with the answer to one that is on the disk on its way back."""
    north, killed = site(tmp_path, "north", 200), threading.Event()
    publish, take = BrokerClient.publish, Gathering.take
    batches_n, taken_n = itertools.count(1), itertools.count(1)

    def kill() -> None:
        broker.kill()
        killed.set()

    def publish_and_die(client: BrokerClient, topic: str, payload: bytes, **more: object) -> None:
        publish(client, topic, payload, **more)
        if topic.endswith("/records") and next(batches_n) == 3:  # the beginning, the first fifty, the second
            kill()

    def take_and_die(gathering: Gathering, topic: str, payload: bytes) -> Iterator[tuple[str, bytes, str]]:
        for answer in take(gathering, topic, payload):
            if next(taken_n) == 3:
                kill()
            yield answer

    if lost == "batch":
        monkeypatch.setattr(BrokerClient, "publish", publish_and_die)
    else:
        monkeypatch.setattr(Gathering, "take", take_and_die)
    done: list[int] = []
    thread = threading.Thread(target=lambda: done.append(sent(broker, north, within_s=60.0)))
    thread.start()
    assert killed.wait(30.0)
    here_n = len(hashes(central / "fleet" / "north"))
    assert here_n == 100 if lost == "answer" else 50 <= here_n <= 100
    broker.start()
    thread.join(90)
    assert done == [200]
    assert hashes(central / "fleet" / "north") == hashes(north)
    assert len(hashes(north)) == len(set(hashes(north))) == 200


@pytest.mark.postgres
def test_site_on_postgresql_sends_the_same(
    broker: Broker, central: Path, tmp_path: Path, new_database: Callable[[], str]
) -> None:
    url = new_database()
    north = site(tmp_path, "north", 60, url)
    assert sent(broker, north, url=url) == 60
    assert hashes(central / "fleet" / "north") == hashes(north, url)


def test_traces_follow_when_asked_for(broker: Broker, central: Path, tmp_path: Path) -> None:
    data = keep_lifts(tmp_path, {"clean-lift": 7, "early-release": 7})
    assert sent(broker, data) == 2
    kept = open_reader(central / "fleet" / "quayside")
    own = open_reader(data)
    lifts = [record["id"] for record in own.lifts()]
    assert [kept.trace(lift) for lift in lifts] == [None, None]
    assert sent(broker, data, traces=True) == 0
    for lift in lifts:
        there, here = kept.trace(lift), own.trace(lift)
        assert there is not None
        assert here is not None
        assert there.read_bytes() == here.read_bytes()
    assert kept.verify() is None
    kept.close()
    own.close()


def test_changed_record_is_refused_and_nothing_of_it_kept(broker: Broker, central: Path, tmp_path: Path) -> None:
    north = site(tmp_path, "north", 20)
    with sqlite3.connect(north / "holdwatch.db") as database:
        database.execute("update lifts set record = replace(record, 'released', 'parked') where n = 3")
    database.close()
    with pytest.raises(SharingError, match="was changed after it was closed"):
        sent(broker, north)
    assert hashes(central / "fleet" / "north") == []


def test_lift_without_its_record_is_refused(broker: Broker, central: Path, tmp_path: Path) -> None:
    north = site(tmp_path, "north", 20)
    with sqlite3.connect(north / "holdwatch.db") as database:
        database.execute("update lifts set record = null where n = 3")
    database.close()
    with pytest.raises(SharingError, match=r"the record of lift .* is missing"):
        sent(broker, north)
    assert hashes(central / "fleet" / "north") == []


def test_site_of_the_same_name_is_refused(broker: Broker, central: Path, tmp_path: Path) -> None:
    sent(broker, site(tmp_path, "north", 20))
    other = tmp_path / "other"
    records = [record | {"site": "north"} for record in history(6, 30, 0.3).records()]
    import_lifts(other, records, no_trace="a test", settings=("ab" * 32, DEMO, "s.toml", "test"))
    with pytest.raises(SharingError, match="two sites have one name"):
        sent(broker, other)
    assert len(hashes(central / "fleet" / "north")) == 20


def test_backup_can_go_on_what_was_sent(broker: Broker, central: Path, tmp_path: Path) -> None:
    backup = site_backup(tmp_path, "north", 50, "n.tar")
    data = tmp_path / "north-50"
    assert sent(broker, data) == 50
    assert collect(central, backup).new_n == 0
    assert [path.name for path in folders(central)] == ["north"]


def answers(gathering: Gathering, *batches: Batch) -> list[Have]:
    told = []
    for batch in batches:
        [(_, payload, _)] = gathering.take("holdwatch/north/fleet/records", msgspec.json.encode(batch))
        told.append(msgspec.json.decode(payload, type=Have))
    return told


def test_batches_out_of_order_or_twice_leave_every_lift_once(tmp_path: Path) -> None:
    store, gathering = Outgoing(site(tmp_path, "north", 120)), Gathering(tmp_path / "central", "holdwatch")
    first, second, third = store.after(0, "1"), store.after(50, "2"), store.after(100, "3")
    told = answers(gathering, second, first, first, third, second, third)
    assert [have.n for have in told] == [0, 50, 50, 50, 100, 120]
    assert "does not go on what is here" in told[0].refused
    assert [bool(have.refused) for have in told] == [True, False, False, True, False, False]
    store.close()
    gathering.close()
    assert hashes(tmp_path / "central" / "fleet" / "north") == hashes(tmp_path / "north")


@pytest.mark.parametrize(
    "topic", ["holdwatch/../fleet/records", "holdwatch/a/b/fleet/records", "other/north/fleet/records"]
)
def test_no_topic_leads_out_of_the_folder(topic: str, tmp_path: Path) -> None:
    gathering = Gathering(tmp_path / "central", "holdwatch")
    assert list(gathering.take(topic, msgspec.json.encode(Batch("1", [])))) == []
    assert not (tmp_path / "central").exists()


@pytest.mark.parametrize("payload", [b"", b"{", b"[]", b'{"id":"1","lifts":[{"n":"x"}]}', b"\xff", b"null"])
def test_message_that_cannot_be_read_is_said_and_not_answered(payload: bytes, tmp_path: Path) -> None:
    gathering = Gathering(tmp_path, "holdwatch")
    for leaf in ("records", "trace"):
        [(topic, _, words)] = gathering.take(f"holdwatch/north/fleet/{leaf}", payload)
        assert topic == ""
        assert "cannot be read" in words


def test_site_without_a_store_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be read"):
        Outgoing(tmp_path).site()
