"""What the server says to programs, and whom it refuses."""

import gzip
import http.client
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.clock import utc_s
from tests.page.fake_engine import FakeEngine
from tests.page.serving import Served, engine, serve, wait_ready
from tests.page.statuses import alarm, status, with_circuits

pytestmark = pytest.mark.system


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FakeEngine, Served]]:
    data = tmp_path_factory.mktemp("data")
    six = with_circuits(status("land_soon", alarms=[alarm()]), 6)
    fake = engine(data, six, status("holding", lifter="dock-7"))
    try:
        with serve(data) as served:
            print(f"bound after {served.bound_s:.2f} s, first status after {wait_ready(served):.2f} s")
            print(f"ground page after {wait_ready(served, '/'):.2f} s")
            yield fake, served
    finally:
        fake.stop()


@pytest.fixture
def ask(running: tuple[FakeEngine, Served]) -> Iterator[Any]:
    connection = http.client.HTTPConnection(running[1].url.removeprefix("http://"), timeout=5)

    def asked(method: str, path: str, body: object = None, **headers: str) -> tuple[int, dict[str, str], bytes]:
        raw = body if isinstance(body, bytes | None) else json.dumps(body).encode()
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request(method, path, raw, named)
        reply = connection.getresponse()
        return reply.status, {name.lower(): value for name, value in reply.getheaders()}, reply.read()

    yield asked
    connection.close()


JSON = {"Content_Type": "application/json"}
ACKNOWLEDGE = {"kind": "acknowledge", "lifter": "dock-6", "who": "AB", "role": "operator", "params": {"raising": "x"}}


def test_status_lists_every_lifter(ask: Any) -> None:
    code, headers, body = ask("GET", "/api/status")
    assert code == 200
    assert headers["content-type"] == "application/json"
    assert [(s["lifter"], s["call"]) for s in json.loads(body)["lifters"]] == [
        ("dock-6", "land_soon"),
        ("dock-7", "holding"),
    ]


def test_status_is_503_before_the_first_snapshot(tmp_path: Path) -> None:
    with serve(tmp_path) as served:
        connection = http.client.HTTPConnection(served.url.removeprefix("http://"), timeout=30)
        for path in ("/api/status", "/healthz", "/api/live?page=ground&nonce=a"):
            connection.request("GET", path)
            reply = connection.getresponse()
            assert reply.status == 503, path
            reply.read()
        connection.close()


def test_status_of_a_silent_engine_is_no_signal(ask: Any, running: tuple[FakeEngine, Served]) -> None:
    running[0].pause()
    try:
        _wait(lambda: ask("GET", "/healthz")[0] == 503)
        lifters = json.loads(ask("GET", "/api/status")[2])["lifters"]
        assert {(s["call"], s["release"]) for s in lifters} == {("no_signal", "do_not_release")}
        for said in lifters:  # nor does any of the words say what was so before
            assert said["headline"] == "No readings: land the load, listen for the lifter's own alarm"
            assert said["reason"] == "Holdwatch's engine says nothing: nobody watches the load."
            assert said["holding"] is None
            assert {circuit["state"] for circuit in said["circuits"].values()} == {"no_reading"}
        assert 'holdwatch_call{lifter="dock-7",holdwatch_call="no_signal"} 1' in ask("GET", "/metrics")[2].decode()
    finally:
        running[0].resume()
        _wait(lambda: ask("GET", "/healthz")[0] == 200)


def test_live_reply_carries_the_nonce_and_the_age(ask: Any) -> None:
    code, _, body = ask("GET", "/api/live?page=ground&lifter=dock-6&nonce=abc123")
    said = json.loads(body)
    assert code == 200
    assert said["nonce"] == "abc123"
    assert 0.0 <= said["age_s"] < 1.0
    assert said["view"]["call"] == "land_soon"
    assert len(said["trace"]["B"]) >= 590
    newer = f"/api/live?page=ground&lifter=dock-6&nonce=b&number={said['number']}&since={int(utc_s()) - 3}"
    again = json.loads(ask("GET", newer)[2])
    assert again["held_s"] < 0.7
    assert len(again["trace"]["B"]) < 10


@pytest.mark.parametrize(
    "path", ["/api/live", "/api/live?page=ground", "/api/live?page=x&nonce=a", "/api/live?page=ground&nonce=%22"]
)
def test_live_refuses_what_is_not_its_own(ask: Any, path: str) -> None:
    assert ask("GET", path)[0] == 400


def test_lifts_of_a_new_store_are_none(ask: Any) -> None:
    assert json.loads(ask("GET", "/api/lifts?lifter=dock-6&limit=5")[2]) == {"lifts": []}
    assert ask("GET", "/api/lifts?limit=0")[0] == 400
    assert ask("GET", "/api/lifts?before=yesterday")[0] == 400


def test_every_answer_has_the_security_headers(ask: Any) -> None:
    for path in ("/", "/landing", "/api/status", "/static/none", "/nothing", "/lifts", "/help", "/metrics"):
        headers = ask("GET", path)[1]
        policy = headers["content-security-policy"]
        assert "script-src 'self' 'sha256-" in policy, path
        assert "unsafe" not in re.search(r"script-src[^;]*", policy)[0]  # type: ignore[index]
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert "server" not in headers


def test_pages_ask_nothing_of_another_server(ask: Any) -> None:
    for path in ("/", "/landing", "/lifts", "/help"):
        body = ask("GET", path)[2].decode()
        assert re.findall(r'(?:src|href)="(?:https?:)?//[^"]*"', body) == []


def test_pages_are_not_kept_and_files_are(ask: Any) -> None:
    code, headers, body = ask("GET", "/landing")
    assert code == 200
    assert headers["cache-control"] == "no-store"
    assert ask("GET", "/")[1]["cache-control"] == "no-store"
    css = re.search(rb'href="(/static/[^"]*live\.css)"', body)[1].decode()  # type: ignore[index]
    code, headers, plain = ask("GET", css)
    assert headers["cache-control"] == "public, max-age=31536000, immutable"
    packed = ask("GET", css, Accept_Encoding="gzip")
    assert packed[1]["content-encoding"] == "gzip"
    assert gzip.decompress(packed[2]) == plain


def test_weight_of_the_first_load(ask: Any) -> None:
    """At most 300 kB for the ground screen and 120 kB for the landing page, over the wire, of a lifter with six circuits."""
    for path, most in (("/", 300_000), ("/landing", 120_000)):
        packed = ask("GET", path, Accept_Encoding="gzip")[2]
        body = gzip.decompress(packed).decode()
        asked = {path: len(packed)}
        queue = re.findall(r'(?:src|href)="(/(?:static|_dash)[^"]*)"', body)
        while queue:
            address = queue.pop()
            if address in asked:
                continue
            code, headers, raw = ask("GET", address, Accept_Encoding="gzip")
            assert code == 200, address
            asked[address] = len(raw)
            if address.endswith(".js"):
                text = (gzip.decompress(raw) if headers.get("content-encoding") else raw).decode()
                queue += [
                    address.rpartition("/")[0] + "/" + name
                    for name in re.findall(r'(?:from|import) "\./([a-z-]+\.js)"', text)
                ]
        if path == "/":
            prefix = re.search(r'"requests_pathname_prefix":"([^"]*)"', body)[1]  # type: ignore[index]
            for own in ("_dash-layout", "_dash-dependencies"):
                asked[own] = len(ask("GET", prefix + own)[2])
        live = f"/api/live?page={'landing' if path == '/landing' else 'ground'}&lifter=dock-6&nonce=a"
        asked["live"] = len(ask("GET", live, Accept_Encoding="gzip")[2])
        print(f"{path}: {sum(asked.values())} bytes in {len(asked)} answers")
        assert sum(asked.values()) <= most
        assert not any("plotly" in name or "dcc" in name for name in asked)


@pytest.mark.parametrize(
    "path", ["/nothing", "//api/status", "/_dash-update-component", "/_page/Lw/_alive_abc", "/assets/x.js", "/helpx"]
)
def test_unknown_addresses_are_404(ask: Any, path: str) -> None:
    assert ask("GET", path)[0] == 404


def test_framework_gives_only_the_files_its_pages_ask_for(ask: Any) -> None:
    """It gives one file under any version: kept for each, they would fill the memory."""
    page = ask("GET", "/")[2].decode()
    (path,) = re.findall(r'src="(/_dash-component-suites/[^"]*/dash_renderer\.[^"]*)"', page)
    assert ask("GET", path)[0] == 200
    for other in (
        re.sub(r"m\d+", "m1", path),
        "/_dash-component-suites/dash/dcc/dash_core_components.js",
        "/_dash-component-suites/x",
    ):
        assert other != path
        assert ask("GET", other)[0] == 404, other


@pytest.mark.parametrize(
    "path", ["/static/../server.py", "/help/img/../../server.py", "/help/img/%2e%2e/%2e%2e/server.py"]
)
def test_no_path_leaves_its_folder(ask: Any, path: str) -> None:
    assert ask("GET", path)[0] == 404


def test_other_methods_are_refused(ask: Any) -> None:
    assert ask("POST", "/api/status", {})[0] == 405
    assert ask("GET", "/api/actions")[0] == 405
    assert ask("DELETE", "/")[0] == 405


def test_host_that_is_not_ours_is_refused(ask: Any) -> None:
    assert ask("GET", "/api/status", Host="evil.example")[0] == 421
    assert ask("GET", "/api/status", Host="localhost:1")[0] == 200


def test_action_is_handed_to_the_engine_and_answered(ask: Any, running: tuple[FakeEngine, Served]) -> None:
    running[0].actions.clear()
    code, _, body = ask("POST", "/api/actions", ACKNOWLEDGE, **JSON)
    assert (code, json.loads(body)["words"]) == (200, "Acknowledged.")
    assert running[0].actions[0]["params"] == {"raising": "x"}
    assert running[0].actions[0]["id"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Content_Type": "text/plain"},
        {"Content_Type": "application/x-www-form-urlencoded"},
        JSON | {"Origin": "http://evil.example"},
        JSON | {"Origin": "null"},
        JSON | {"Sec_Fetch_Site": "cross-site"},
        JSON | {"Sec_Fetch_Site": "same-site"},
    ],
)
def test_action_from_another_site_is_refused(
    ask: Any, running: tuple[FakeEngine, Served], headers: dict[str, str]
) -> None:
    running[0].actions.clear()
    code, _, body = ask("POST", "/api/actions", ACKNOWLEDGE, **headers)
    assert code == 403
    assert json.loads(body)["done"] is False
    assert running[0].actions == []


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"{", "Not done: "),
        (b"[]", "one JSON object"),
        (ACKNOWLEDGE | {"kind": "open_the_valve"}, "kind is 'open_the_valve'; it must be one of acknowledge, "),
        (ACKNOWLEDGE | {"who": ""}, "who must be text of 1 to 64"),
        (ACKNOWLEDGE | {"who": "A\nB"}, "who must be text"),
        (ACKNOWLEDGE | {"params": []}, "one JSON object"),
        (b" " * 20_000, "over 16384 bytes"),
    ],
)
def test_action_that_cannot_be_read_says_why(
    ask: Any, running: tuple[FakeEngine, Served], body: object, says: str
) -> None:
    running[0].actions.clear()
    code, _, said = ask("POST", "/api/actions", body, **JSON)
    assert code == 400
    assert says in json.loads(said)["words"]
    assert running[0].actions == []


def test_action_without_an_engine_is_refused_in_words(tmp_path: Path) -> None:
    with serve(tmp_path) as served:
        connection = http.client.HTTPConnection(served.url.removeprefix("http://"), timeout=8)
        connection.request("POST", "/api/actions", json.dumps(ACKNOWLEDGE), {"Content-Type": "application/json"})
        reply = connection.getresponse()
        said = json.loads(reply.read())
        assert said["done"] is False
        assert said["words"].startswith("Not done: the monitor cannot be reached")
        connection.close()


def test_ends_cleanly_on_sigterm(tmp_path: Path) -> None:
    with serve(tmp_path) as served:
        served.process.terminate()
        assert served.process.wait(5) == 0


def _wait(true: Any) -> None:
    import time

    end_s = time.monotonic() + 6
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.05)
