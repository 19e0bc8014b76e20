"""The channel between engine and pages, on real sockets."""

import asyncio
import contextlib
import os
import socket
import stat
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor import channel
from monitor.channel import Answer, ChannelClient, ChannelError, ChannelServer, SyncChannelClient, place_of

HELLO = {"type": "hello", "site": {"id": "quayside"}, "history": {}}
ACTION = {"id": "a1", "kind": "acknowledge", "lifter": "dock-6", "who": "", "role": "supervisor", "params": {}}


def snapshot(n: int, size: int = 0) -> dict:
    return {"type": "snapshot", "utc_s": float(n), "lifters": ["x" * size]}


def done(action: dict, answer: Answer) -> None:
    answer({"type": "answer", "id": action["id"], "done": True, "key": "done", "words": "Done"})


def until(condition: Callable[[], object], timeout_s: float = 10.0) -> None:
    ended = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < ended
        time.sleep(0.002)


Serve = Callable[..., ChannelServer]


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Serve]:
    made: list[ChannelServer] = []

    def start(data: Path = tmp_path, **more: object) -> ChannelServer:
        server = ChannelServer(data, **{"hello": lambda: HELLO, "on_action": done} | more)
        server.start()
        made.append(server)
        return server

    yield start
    for server in made:
        server.stop()


@pytest.fixture(params=[True, False], ids=["unix", "loopback"])
def server(request: pytest.FixtureRequest, serve: Serve) -> ChannelServer:
    return serve(unix=request.param)


def test_new_page_is_told_hello_then_the_newest_snapshot(server: ChannelServer, tmp_path: Path) -> None:
    server.offer(snapshot(1))
    server.offer(snapshot(2))
    with SyncChannelClient(tmp_path) as page:
        assert page.next() == HELLO
        while (said := page.next()) != snapshot(2):
            assert said == snapshot(1)  # if it was quick enough
        server.offer(snapshot(3))
        assert page.next() == snapshot(3)


def test_actions_are_answered_by_id(server: ChannelServer, tmp_path: Path) -> None:
    with SyncChannelClient(tmp_path) as one, SyncChannelClient(tmp_path) as other:
        server.offer(snapshot(1))
        assert one.act(ACTION) == {"type": "answer", "id": "a1", "done": True, "key": "done", "words": "Done"}
        assert other.act(ACTION | {"id": "b1"})["id"] == "b1"


def test_answer_from_another_thread_later_finds_its_page(serve: Serve, tmp_path: Path) -> None:
    asked: list[tuple[dict, Answer]] = []
    serve(on_action=lambda action, answer: asked.append((action, answer)))
    with SyncChannelClient(tmp_path) as page:
        threading.Thread(target=lambda: (until(lambda: asked), done(*asked[0]))).start()
        assert page.act(ACTION)["done"]


def test_at_most_twenty_snapshots_a_second_and_the_last_always(server: ChannelServer, tmp_path: Path) -> None:
    with SyncChannelClient(tmp_path) as page:
        page.next("hello")
        began = time.monotonic()
        for n in range(1, 401):
            server.offer(snapshot(n))
            time.sleep(0.001)
        came = []
        while not came or came[-1] != 400.0:
            came.append(page.next("snapshot")["utc_s"])
        assert came == sorted(came)
        assert len(came) <= (time.monotonic() - began) / channel.SNAPSHOT_EVERY_S + 2


def test_offer_never_waits_for_a_page_that_takes_nothing(server: ChannelServer, tmp_path: Path) -> None:
    with SyncChannelClient(tmp_path):
        for n in range(30):
            began = time.monotonic()
            server.offer(snapshot(n, size=1_000_000))
            assert time.monotonic() - began < 0.1
            time.sleep(0.01)


def test_slow_page_skips_to_the_newest(serve: Serve, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(channel, "SNAPSHOT_EVERY_S", 0.001)
    server = serve()
    with SyncChannelClient(tmp_path) as slow, SyncChannelClient(tmp_path) as quick:
        for n in range(50):
            server.offer(snapshot(n, size=300_000))
            assert quick.next("snapshot")["utc_s"] == float(n)  # the slow one holds up nobody
        came = [slow.next("snapshot")["utc_s"]]
        while came[-1] != 49.0:
            came.append(slow.next("snapshot")["utc_s"])
        assert len(came) <= 4


def test_page_that_takes_nothing_for_long_is_dropped(
    serve: Serve, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(channel, "SLOW_S", 0.05)
    server = serve()
    with SyncChannelClient(tmp_path) as page:
        page.next("hello")
        server.offer(snapshot(1, size=10_000_000))
        until(lambda: not server._clients)
        with pytest.raises((ChannelError, OSError, ValueError)):
            page.next("snapshot")


def test_killed_pages_are_let_go(server: ChannelServer, tmp_path: Path) -> None:
    pages = [SyncChannelClient(tmp_path) for _ in range(20)]
    until(lambda: len(server._clients) == 20)
    for page in pages:
        page.__exit__()
    server.offer(snapshot(1))
    until(lambda: not server._clients)


@pytest.mark.parametrize(
    "line",
    [b"\n", b"{\n", b"[1]\n", b'{"type":"snapshot"}\n', b'{"type":"action"}\n', b"[" * 50_000 + b"\n", b"\xff\n"],
)
def test_line_that_is_no_action_is_ignored(server: ChannelServer, tmp_path: Path, line: bytes) -> None:
    with SyncChannelClient(tmp_path) as page:
        page.send(line)
        assert page.act(ACTION)["done"]


def test_line_without_end_closes_that_page_alone(server: ChannelServer, tmp_path: Path) -> None:
    with SyncChannelClient(tmp_path) as page, SyncChannelClient(tmp_path) as other:
        with contextlib.suppress(OSError):
            page.send(b"x" * (3 * channel.LINE_MAX_BYTES))
        with pytest.raises((ChannelError, OSError)):
            page.next("snapshot")
        assert other.act(ACTION)["done"]


def test_too_many_pages_are_refused_and_the_others_served(
    serve: Serve, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(channel, "CLIENTS_MAX_N", 1)
    serve()
    with SyncChannelClient(tmp_path) as one:
        one.next("hello")
        with SyncChannelClient(tmp_path) as two, pytest.raises(ChannelError):
            two.next("hello")
        assert one.act(ACTION)["done"]


def test_socket_is_its_owners_alone(serve: Serve, tmp_path: Path) -> None:
    serve()
    assert stat.S_IMODE((tmp_path / "channel.sock").stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "channel.json").stat().st_mode) == 0o600


def test_long_path_is_got_round(serve: Serve, tmp_path: Path) -> None:
    data = tmp_path / ("d" * 120)
    data.mkdir()
    server = serve(data)
    place = Path(place_of(data).unix)
    assert len(os.fsencode(place)) <= channel.PATH_MAX_BYTES
    assert stat.S_IMODE(place.parent.stat().st_mode) == 0o700
    with SyncChannelClient(data / "channel.sock") as page:  # the name pages are given
        assert page.next() == HELLO
    server.stop()
    assert not place.parent.exists()


def test_socket_is_found_though_there_was_no_room_to_say_where(
    serve: Serve, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_path: Path, _content: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(channel, "_write_private", full)
    serve()
    with SyncChannelClient(tmp_path) as page:
        assert page.next() == HELLO


def test_loopback_needs_the_token(serve: Serve, tmp_path: Path) -> None:
    serve(unix=False)
    place = place_of(tmp_path)
    with socket.create_connection((place.host, place.port), 5.0) as stranger:
        stranger.sendall(b"wrong\n")
        assert stranger.recv(100) == b""


def test_socket_left_by_a_killed_engine_is_replaced(serve: Serve, tmp_path: Path) -> None:
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(tmp_path / "channel.sock"))
    left.close()
    (tmp_path / "channel.json.partial").write_text("left")
    serve()
    with SyncChannelClient(tmp_path) as page:
        assert page.next() == HELLO


def test_stop_ends_the_pages_and_takes_the_socket_away(server: ChannelServer, tmp_path: Path) -> None:
    with SyncChannelClient(tmp_path) as page:
        page.next("hello")
        server.stop()
        with pytest.raises(ChannelError):
            page.next()
    assert list(tmp_path.iterdir()) == []
    server.offer(snapshot(1))  # an engine that stops may still offer
    with pytest.raises(ChannelError, match="no engine has opened its channel"):
        SyncChannelClient(tmp_path)


def run(scenario: object) -> None:
    asyncio.run(asyncio.wait_for(scenario, 20.0))  # type: ignore[arg-type]


class Page:
    """What an asyncio program sees of the channel."""

    def __init__(self, data: Path) -> None:
        self.client = ChannelClient(data)
        self.hellos: list[dict] = []
        self.snapshots: list[dict] = []

    async def __aenter__(self) -> "Page":
        async def on_snapshot(said: dict) -> None:
            self.snapshots.append(said)

        self.task = asyncio.create_task(self.client.run(self.hellos.append, on_snapshot))
        return self

    async def __aexit__(self, *_: object) -> None:
        self.task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self.task


async def sees(condition: Callable[[], object]) -> None:
    while not condition():
        await asyncio.sleep(0.002)


def test_client_gets_hello_and_snapshots_and_acts(server: ChannelServer, tmp_path: Path) -> None:
    async def scenario() -> None:
        async with Page(tmp_path) as page:
            await sees(lambda: page.hellos)
            server.offer(snapshot(1))
            await sees(lambda: page.snapshots)
            answer = await page.client.act(ACTION)
            assert answer["done"]
            both = await asyncio.gather(page.client.act(ACTION | {"id": "x"}), page.client.act(ACTION | {"id": "y"}))
            assert [one["id"] for one in both] == ["x", "y"]

    run(scenario())


def test_client_waits_for_an_engine_and_comes_back_to_the_next(serve: Serve, tmp_path: Path) -> None:
    async def scenario() -> None:
        async with Page(tmp_path) as page:
            await asyncio.sleep(0.01)
            with pytest.raises(ChannelError, match="cannot be reached"):
                await page.client.act(ACTION)
            first = await asyncio.to_thread(serve)
            await sees(lambda: page.hellos)
            await asyncio.to_thread(first.stop)
            await sees(lambda: not page.client.connected)
            await asyncio.to_thread(serve, unix=False)
            await sees(lambda: len(page.hellos) == 2)
            assert (await page.client.act(ACTION))["done"]

    run(scenario())


def test_action_not_answered_in_time_is_said_to_be_unknown(serve: Serve, tmp_path: Path) -> None:
    serve(on_action=lambda _action, _answer: None)

    async def scenario() -> None:
        async with Page(tmp_path) as page:
            await sees(lambda: page.hellos)
            with pytest.raises(ChannelError, match="not known"):
                await page.client.act(ACTION, timeout_s=0.05)
            assert page.client._waiting == {}

    run(scenario())


def test_action_under_way_when_the_engine_dies_is_said_to_be_unknown(serve: Serve, tmp_path: Path) -> None:
    asked: list[dict] = []
    server = serve(on_action=lambda action, _answer: asked.append(action))

    async def scenario() -> None:
        async with Page(tmp_path) as page:
            await sees(lambda: page.hellos)
            under_way = asyncio.create_task(page.client.act(ACTION))
            await sees(lambda: asked)
            await asyncio.to_thread(server.stop)
            with pytest.raises(ChannelError, match="not known"):
                await under_way

    run(scenario())
