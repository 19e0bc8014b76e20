"""Line ends in whatever a visitor may send never begin a header or an answer of their own: asked over a plain socket.

Every parameter of the described interface is tried (``dashboards/help/pages-interface.json``), and the headers that are read.
Source: OWASP Web Security Testing Guide, "Testing for HTTP Splitting/Smuggling".
"""

import json
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.settings.access import FILE as PINS
from monitor.settings.access import Role, join_token, set_pin, signing_key
from tests.page.serving import Served, engine, serve, wait_ready
from tests.page.statuses import status
from tests.page.test_interface import FILE

pytestmark = pytest.mark.system

PATHS: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))["paths"]
ENDS = ("%0d%0a", "%0a", "%0d", "%0d%0a%0d%0a", "%E5%98%8D%E5%98%8A", "%250d%250a", "%u000d%u000a", "%C0%8D%C0%8A")
"""Line ends: encoded once, twice, and as letters whose last byte alone is one."""
INJECTED = "X-Injected:%201"
PIN = "482913"


def said(n: int) -> str:
    return f"a{ENDS[n % len(ENDS)]}{INJECTED}"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("split")
    fake = engine(data, status("holding"))
    try:
        with serve(data, join_link=True) as running:
            wait_ready(running)
            yield running
    finally:
        fake.stop()


def asked(served: Served, method: str, path: str, headers: dict[str, str], body: bytes = b"") -> tuple[bytes, bytes]:
    """Head and body of everything that comes back until the server closes, byte by byte as sent."""
    host, _, port = served.url.removeprefix("http://").partition(":")
    lines = [f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in headers.items())]
    with socket.create_connection((host, int(port)), timeout=15) as wire:
        wire.sendall("\r\n".join([*lines, f"Content-Length: {len(body)}", "Connection: close", "", ""]).encode() + body)
        came = b"".join(iter(lambda: wire.recv(65536), b""))
    head, _, rest = came.partition(b"\r\n\r\n")
    return head, rest


def split(head: bytes, rest: bytes) -> list[str]:
    """What is wrong with an answer: a header that is not ours, a bare line end, or more than its own body."""
    wrong = [f"header {line!r}" for line in head.splitlines() if line.lower().lstrip().startswith(b"x-injected")]
    if {*b"\r\n"} & {*head.replace(b"\r\n", b"")}:
        wrong.append("half a line end")
    fields = dict(line.lower().split(b": ", 1) for line in head.split(b"\r\n")[1:] if b": " in line)
    length = fields.get(b"content-length")
    if length is not None and len(rest) != int(length):
        wrong.append(f"{len(rest)} bytes of a body of {int(length)}")
    return wrong


def test_the_eye_sees_a_split_answer() -> None:
    head = b"HTTP/1.1 303 See Other\r\nlocation: /landing?a\r\nX-Injected: 1\r\ncontent-length: 0"
    assert split(head, b"") == ["header b'X-Injected: 1'"]
    assert split(b"HTTP/1.1 200 OK\r\ncontent-length: 0", b"HTTP/1.1 200 OK\r\n\r\n") == ["19 bytes of a body of 0"]


OPERATIONS = [(path, method) for path, ways in PATHS.items() for method in ways]


@pytest.mark.parametrize(("path", "method"), OPERATIONS, ids=lambda one: one)
def test_no_parameter_splits_an_answer(path: str, method: str, served: Served) -> None:
    host = {"Host": served.url.removeprefix("http://")}
    operation = PATHS[path][method]
    fields = [one["name"] for one in operation.get("parameters", ()) if one["in"] == "query"]
    for n in range(len(ENDS)):
        address = path.replace("{name}", said(n)).replace("{page}", said(n))
        queries = ["&".join(f"{name}={said(n + i)}" for i, name in enumerate(fields))]
        queries += [f"{name}={said(n)}" for name in fields] + [f"anything={said(n)}"]
        if method == "post":
            schema = operation["requestBody"]["content"]["application/json"]["schema"]
            text = said(n).replace("%0d", "\r").replace("%0a", "\n")
            body = json.dumps(dict.fromkeys(schema.get("properties", ("x",)), text)).encode()
            head, rest = asked(served, "POST", address, host | {"Content-Type": "application/json"}, body)
            assert head.startswith(b"HTTP/1.1 ")
            assert split(head, rest) == []
            continue
        for query in queries:
            head, rest = asked(served, "GET", f"{address}?{query}", host)
            assert head.startswith(b"HTTP/1.1 ")
            assert split(head, rest) == [], query


@pytest.mark.parametrize(
    "name", ["Host", "Origin", "Cookie", "Accept-Language", "Accept-Encoding", "User-Agent", "X-Forwarded-For"]
)
def test_no_header_splits_an_answer(name: str, served: Served) -> None:
    host = served.url.removeprefix("http://")
    for n in range(len(ENDS)):
        value = {"Cookie": f"holdwatch_language={said(n)}; holdwatch_units={said(n)}", "Host": f"{host}{said(n)}"}.get(
            name, said(n)
        )
        for path in ("/", "/landing", "/api/join?lifter=dock-6", f"/join/{join_token(signing_key(served.data))}"):
            head, rest = asked(served, "GET", path, {"Host": host} | {name: value})
            assert head.startswith(b"HTTP/1.1 ")
            assert split(head, rest) == []


def test_name_that_goes_into_a_cookie_splits_nothing(served: Served) -> None:
    set_pin(served.data, Role.OPERATOR, PIN)
    try:
        for who, code in (("A%0d%0aX-Injected: 1", 200), ("A\r\nX-Injected: 1", 400), ("嘊嘍X-Injected: 1", 200)):
            headers = {"Host": served.url.removeprefix("http://"), "Content-Type": "application/json"}
            body = json.dumps({"who": who, "role": "operator", "pin": PIN}).encode()
            head, rest = asked(served, "POST", "/api/sign-in", headers, body)
            assert head.split()[1] == str(code).encode()
            assert split(head, rest) == []
    finally:
        Path(served.data / PINS).unlink()
