"""Who may look and who may act, asked of the real pages as devices on the site's network would.

A device is an address of its own in 127.0.0.0/8; only 127.0.0.1 counts as the machine the pages run on.
"""

import http.client
import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from monitor.settings.access import FILE, Role, join_token, set_pin, signing_key
from tests.brokers import wait_for
from tests.page.fake_engine import FakeEngine
from tests.page.serving import Served, engine, serve, wait_ready
from tests.page.statuses import alarm, status

pytestmark = pytest.mark.system

PIN = "482913"
ACKNOWLEDGE = {"kind": "acknowledge", "lifter": "dock-6", "who": "AB", "role": "operator", "params": {"raising": "x"}}


@dataclass
class Device:
    """A browser's cookies and address, without a browser."""

    at: str
    address: str
    cookies: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, body: object = None, **headers: str) -> tuple[int, Any, dict[str, str]]:
        host, port = self.at.split(":")
        connection = http.client.HTTPConnection(host, int(port), timeout=15, source_address=(self.address, 0))
        named = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())} if self.cookies else {}
        if body is not None:
            named["Content-Type"] = "application/json"
        named |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request(method, path, None if body is None else json.dumps(body).encode(), named)
        reply = connection.getresponse()
        raw = reply.read()
        for name, value in reply.getheaders():
            if name.lower() == "set-cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.partition(";")[0]
        connection.close()
        is_json = reply.getheader("content-type") == "application/json"
        return reply.status, json.loads(raw) if is_json else raw.decode(), dict(reply.getheaders())

    def sign_in(self, role: str, pin: str, who: str = "Shift lead") -> tuple[int, Any]:
        return self.ask("POST", "/api/sign-in", {"who": who, "role": role, "pin": pin})[:2]


@dataclass
class Site:
    """Pages of one site, and devices beside them."""

    served: Served
    engine: FakeEngine

    def device(self, address: str) -> Device:
        return Device(self.served.url.removeprefix("http://"), address)


@pytest.fixture(scope="module")
def open_site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    yield from _site(tmp_path_factory.mktemp("open"))


@pytest.fixture(scope="module")
def closed_site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    yield from _site(tmp_path_factory.mktemp("closed"), join_link=True)


@pytest.fixture
def site(open_site: Site) -> Site:
    """Without PINs and without actions so far."""
    (open_site.served.data / FILE).unlink(missing_ok=True)
    open_site.engine.actions.clear()
    return open_site


def _site(data: Path, **more: Any) -> Iterator[Site]:
    fake = engine(data, status("land_soon", alarms=[alarm()]))
    try:
        with serve(data, **more) as served:
            wait_ready(served)
            yield Site(served, fake)
    finally:
        fake.stop()


# -- without PINs


def test_without_pins_other_devices_only_look(site: Site) -> None:
    assert site.device("127.0.0.9").ask("GET", "/api/status")[0] == 200
    code, said, _ = site.device("127.0.0.9").ask("POST", "/api/actions", ACKNOWLEDGE)
    assert (code, said["key"]) == (403, "access.no_pin")
    assert "holdwatch pin" in said["words"]
    assert site.engine.actions == []


def test_without_pins_this_machine_acts(site: Site) -> None:
    assert site.device("127.0.0.1").ask("POST", "/api/actions", ACKNOWLEDGE)[0] == 200
    assert site.engine.actions[0]["who"] == "AB"


# -- with PINs


def test_nobody_acts_without_signing_in(site: Site) -> None:
    set_pin(site.served.data, Role.SUPERVISOR, PIN)
    for address in ("127.0.0.9", "127.0.0.1"):
        code, said, _ = site.device(address).ask("POST", "/api/actions", ACKNOWLEDGE)
        assert (code, said["key"]) == (401, "access.sign_in")
    assert site.engine.actions == []


def test_signed_in_person_is_who_the_record_names(site: Site) -> None:
    set_pin(site.served.data, Role.OPERATOR, PIN)
    phone = site.device("127.0.0.9")
    assert phone.sign_in("operator", PIN)[0] == 200
    assert phone.ask("GET", "/api/me")[1] == {"needs_pin": True, "who": "Shift lead", "role": "operator"}
    forged = {**ACKNOWLEDGE, "who": "Somebody else", "role": "supervisor"}
    assert phone.ask("POST", "/api/actions", forged)[0] == 200
    assert (site.engine.actions[0]["who"], site.engine.actions[0]["role"]) == ("Shift lead", "operator")


def test_role_does_only_what_it_may(site: Site) -> None:
    set_pin(site.served.data, Role.MAINTENANCE, PIN)
    tech = site.device("127.0.0.9")
    tech.sign_in("maintenance", PIN)
    note = {**ACKNOWLEDGE, "kind": "service_note", "params": {"about": "circuit A", "note": "hose changed"}}
    shelve = {**ACKNOWLEDGE, "kind": "shelve"}
    assert tech.ask("POST", "/api/actions", note)[0] == 200
    code, said, _ = tech.ask("POST", "/api/actions", shelve)
    assert (code, said["key"]) == (403, "access.role")
    assert said["words"] == "This is for: supervisor. You are signed in as maintenance."


def test_a_new_pin_ends_the_sign_ins_made_with_the_old_one(site: Site) -> None:
    set_pin(site.served.data, Role.OPERATOR, PIN)
    phone = site.device("127.0.0.9")
    phone.sign_in("operator", PIN)
    set_pin(site.served.data, Role.OPERATOR, "770012")
    assert phone.ask("POST", "/api/actions", ACKNOWLEDGE)[0] == 401


def test_signed_out_cookie_is_worth_nothing(site: Site) -> None:
    set_pin(site.served.data, Role.OPERATOR, PIN)
    phone = site.device("127.0.0.9")
    phone.sign_in("operator", PIN)
    kept = dict(phone.cookies)
    assert phone.ask("POST", "/api/sign-out", {})[0] == 200
    phone.cookies = kept
    assert phone.ask("POST", "/api/actions", ACKNOWLEDGE)[0] == 401


def test_signed_out_cookie_is_worth_nothing_when_the_pages_start_again(tmp_path: Path) -> None:
    set_pin(tmp_path, Role.OPERATOR, PIN)
    fake = engine(tmp_path, status("land_soon", alarms=[alarm()]))
    try:
        with serve(tmp_path) as served:
            wait_ready(served)
            phones = [Site(served, fake).device("127.0.0.9") for _ in range(2)]
            for phone in phones:
                assert phone.sign_in("operator", PIN)[0] == 200
            kept = dict(phones[0].cookies)
            phones[0].ask("POST", "/api/sign-out", {})
            phones[0].cookies = kept
        with serve(tmp_path, listen=served.url.removeprefix("http://")) as again:
            wait_ready(again)
            assert [phone.ask("POST", "/api/actions", ACKNOWLEDGE)[0] for phone in phones] == [401, 200]
    finally:
        fake.stop()


def test_cookie_made_elsewhere_is_worth_nothing(site: Site) -> None:
    set_pin(site.served.data, Role.OPERATOR, PIN)
    phone = site.device("127.0.0.9")
    phone.sign_in("operator", PIN)
    said, _, signature = phone.cookies["holdwatch_session"].rpartition(".")
    for forged in (said + "." + signature[::-1], "eyJyb2xlIjoic3VwZXJ2aXNvciJ9", "", "a" * 4000):
        phone.cookies["holdwatch_session"] = forged
        assert phone.ask("POST", "/api/actions", ACKNOWLEDGE)[0] == 401


def test_session_cookie_is_out_of_reach_of_scripts_and_other_sites(site: Site) -> None:
    set_pin(site.served.data, Role.OPERATOR, PIN)
    headers = site.device("127.0.0.9").ask("POST", "/api/sign-in", {"who": "A", "role": "operator", "pin": PIN})[2]
    assert "HttpOnly" in headers["set-cookie"]
    assert "SameSite=Strict" in headers["set-cookie"]


def test_damaged_pins_let_nobody_act_and_say_so(site: Site) -> None:
    (site.served.data / "pins.json").write_text("{")
    code, said, _ = site.device("127.0.0.1").ask("POST", "/api/actions", ACKNOWLEDGE)
    assert (code, said["key"]) == (503, "access.pins")
    assert site.device("127.0.0.1").ask("GET", "/api/status")[0] == 200  # looking goes on


# -- guessing


def test_wrong_role_and_wrong_pin_read_the_same(site: Site) -> None:
    set_pin(site.served.data, Role.SUPERVISOR, PIN)
    phone = site.device("127.0.0.9")
    assert (
        phone.sign_in("supervisor", "000001") == phone.sign_in("landing", "000001") == phone.sign_in("king", "000001")
    )


def test_guessing_is_slowed_and_the_crew_is_not_locked_out(site: Site) -> None:
    set_pin(site.served.data, Role.MAINTENANCE, PIN)
    known = site.device("127.0.0.8")
    assert known.sign_in("maintenance", PIN)[0] == 200
    codes = [site.device(f"127.0.1.{n}").sign_in("maintenance", f"00000{n}")[0] for n in range(40)]
    assert codes[:20] == [403] * 20
    assert codes.count(429) >= 10
    assert site.device("127.0.2.1").sign_in("maintenance", PIN)[0] == 429  # even right: guessing would tell otherwise
    assert known.ask("POST", "/api/actions", ACKNOWLEDGE)[0] == 200
    assert known.sign_in("maintenance", PIN)[0] == 200
    assert site.device("127.0.0.1").sign_in("maintenance", PIN)[0] == 200


# -- the join link


def test_without_the_join_link_nothing_is_seen(closed_site: Site) -> None:
    stranger = closed_site.device("127.0.0.9")
    for path in ("/", "/landing", "/api/status", "/api/live", "/api/lifts", "/metrics", "/lifts", "/help", "/api/me"):
        code, said, _ = stranger.ask("GET", path)
        assert code == 403, path
        assert "Join first" in said
    assert stranger.ask("POST", "/api/sign-in", {"who": "A", "role": "operator", "pin": PIN})[0] == 403
    assert stranger.ask("GET", "/healthz")[0] == 200


def test_the_join_link_lets_in_and_a_wrong_one_does_not(closed_site: Site) -> None:
    phone = closed_site.device("127.0.0.9")
    assert phone.ask("GET", "/join/0123456789abcdef")[0] == 403
    assert phone.ask("GET", "/landing")[0] == 403
    code, _, headers = phone.ask("GET", f"/join/{join_token(signing_key(closed_site.served.data))}")
    assert (code, headers["location"]) == (303, "/landing")
    assert phone.ask("GET", "/landing")[0] == 200


def test_this_machine_needs_no_join_link(closed_site: Site) -> None:
    assert closed_site.device("127.0.0.1").ask("GET", "/landing")[0] == 200


# -- floods and slow senders


def test_a_flood_from_one_device_leaves_the_others_served(site: Site) -> None:
    over = threading.Event()

    def flood() -> None:
        with closing(http.client.HTTPConnection(*_at(site), timeout=5, source_address=("127.0.0.66", 0))) as connection:
            while not over.is_set():
                try:
                    connection.request("GET", "/api/status")
                    connection.getresponse().read()
                except (OSError, http.client.HTTPException):
                    connection.close()

    threads = [threading.Thread(target=flood) for _ in range(4)]
    for thread in threads:
        thread.start()
    try:
        # Until the flood's allowance is used up, however slowly this machine floods.
        wait_for(lambda: site.device("127.0.0.66").ask("GET", "/api/status")[0] == 429, 30, "the flood refused")
        assert [site.device("127.0.0.7").ask("GET", "/api/status")[0] for _ in range(20)] == [200] * 20
    finally:
        over.set()
        for thread in threads:
            thread.join()


def test_streams_held_open_by_one_device_leave_the_others_served(site: Site) -> None:
    """The live stream is a long poll: one device holds all it gets, and asks for websockets, which there are none of."""
    over, cut = threading.Event(), []

    def hold(n: int) -> None:
        ask = b"GET /api/live?page=ground&nonce=a&number=%d HTTP/1.1\r\nHost: 127.0.0.1\r\n" % n
        upgrade = (
            b"Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: YQ==\r\n"
        )
        while not over.is_set():
            with suppress(OSError), socket.create_connection(_at(site), 5, ("127.0.0.66", 0)) as stream:
                stream.sendall(ask + (upgrade if n % 2 else b"") + b"\r\n")
                while not over.is_set() and stream.recv(65536):
                    stream.sendall(ask + b"\r\n")
            cut.append(n)

    threads = [threading.Thread(target=hold, args=(n,)) for n in range(60)]
    for thread in threads:
        thread.start()
    try:
        wait_for(lambda: len(cut) > 100, 30, "more connections than one device may have, cut off")
        asked = [site.device("127.0.0.7").ask("GET", "/api/live?page=ground&nonce=b") for _ in range(20)]
        assert [code for code, _, _ in asked] == [200] * 20
        assert {said["view"]["call"] for _, said, _ in asked} == {"land_soon"}
    finally:
        over.set()
        for thread in threads:
            thread.join()


def test_asking_for_websockets_fills_no_log(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    with serve(tmp_path) as served:
        wait_ready(served, "/landing")
        phone = Device(served.url.removeprefix("http://"), "127.0.0.9")
        upgrade = {
            "Upgrade": "websocket",
            "Connection": "Upgrade",
            "Sec_WebSocket_Version": "13",
            "Sec_WebSocket_Key": "YQ==",
        }
        assert [phone.ask("GET", "/landing", **upgrade)[0] for _ in range(5)] == [200] * 5
    assert capfd.readouterr().err == ""


def test_one_device_cannot_take_all_connections(site: Site) -> None:
    held = [socket.create_connection(_at(site), source_address=("127.0.0.66", 0), timeout=5) for _ in range(80)]
    try:
        time.sleep(0.5)
        assert sum(_is_closed(one) for one in held) >= 30
        assert site.device("127.0.0.7").ask("GET", "/api/status")[0] == 200
    finally:
        for one in held:
            one.close()


def test_a_request_that_never_ends_is_cut(site: Site) -> None:
    with socket.create_connection(_at(site), source_address=("127.0.0.66", 0), timeout=20) as slow:
        began_s = time.monotonic()
        slow.sendall(b"GET /api/status HTTP/1.1\r\nHost: 127.0.0.1\r\n")
        ended = b"?"
        while ended and time.monotonic() - began_s < 18.0:
            slow.settimeout(1.0)
            try:
                slow.sendall(b"X-A: 1\r\n")
                ended = slow.recv(100)
            except TimeoutError:
                continue
            except OSError:
                ended = b""
    assert ended == b""


def test_a_body_that_never_ends_is_cut(site: Site) -> None:
    with socket.create_connection(_at(site), source_address=("127.0.0.66", 0), timeout=20) as slow:
        slow.sendall(b"POST /api/actions HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n")
        slow.sendall(b"Content-Length: 9000\r\n\r\n{")
        assert slow.recv(100).startswith(b"HTTP/1.1 408")


def _at(site: Site) -> tuple[str, int]:
    host, port = site.served.url.removeprefix("http://").split(":")
    return host, int(port)


def _is_closed(one: socket.socket) -> bool:
    one.settimeout(0.05)
    try:
        return one.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True
