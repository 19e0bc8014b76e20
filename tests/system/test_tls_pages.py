"""The pages over https: the site's own certificate, its names, and a renewal that nobody notices."""

import datetime as dt
import json
import socket
import ssl
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from cryptography import x509

from monitor.certificates import make
from tests.brokers import Broker, wait_for
from tests.system.program import Program
from tests.system.quayside import SITE

pytestmark = pytest.mark.system
NOW = dt.datetime.now(dt.UTC)


def site_file(broker: Broker, folder: Path) -> Path:
    path = folder / "quayside.toml"
    tls = 'listen = "127.0.0.1:0"\ntls_cert = "tls/server.crt"\ntls_key = "tls/server.key"'
    path.write_text(SITE.format(url=broker.url).replace('listen = "127.0.0.1:0"', tls))
    return path


def serial(port: int) -> int:
    shown = ssl.get_server_certificate(("127.0.0.1", port), timeout=5)
    return x509.load_pem_x509_certificate(shown.encode()).serial_number


def test_pages_are_https_and_take_a_renewed_certificate_while_they_run(broker: Broker, tmp_path: Path) -> None:
    made = make(tmp_path / "tls", ["localhost", "127.0.0.1", "site-box.example"], NOW)
    with Program("run", "--site", site_file(broker, tmp_path), "--data", tmp_path / "data") as program:
        address = program.until_ready()["ground"]
        assert address.startswith("https://127.0.0.1:")
        port = int(address.rstrip("/").rpartition(":")[2])
        trusting = ssl.create_default_context(cafile=str(made.authority))
        with urllib.request.urlopen(f"{address}api/status", context=trusting, timeout=5) as answer:  # noqa: S310 - our own
            assert json.load(answer)["lifters"][0]["lifter"] == "dock-6"
        asked = urllib.request.Request(f"{address}healthz", headers={"Host": f"site-box.example:{port}"})  # noqa: S310
        with urllib.request.urlopen(asked, context=trusting, timeout=5) as answer:  # noqa: S310 - a name of the certificate
            assert answer.status == 200
        with pytest.raises(urllib.error.URLError):
            urllib.request.urlopen(f"{address}healthz", timeout=5)  # noqa: S310 - whoever does not know the authority
        before = serial(port)
        with (
            socket.create_connection(("127.0.0.1", port), 5) as plain,
            trusting.wrap_socket(plain, server_hostname="localhost") as kept,
        ):
            make(tmp_path / "tls", ["localhost", "127.0.0.1"], NOW)
            wait_for(lambda: serial(port) != before, 20, "the new certificate in use")
            kept.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")  # the old connection goes on
            assert kept.recv(100).startswith(b"HTTP/1.1 200")
        renewed = serial(port)
        (tmp_path / "tls" / "server.crt").write_text("half of it")
        time.sleep(6.0)
        assert serial(port) == renewed
        assert "the old one goes on" in program.said()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda tls: (tls / "server.crt").write_text("x"), "is no certificate in PEM form"),
        (lambda tls: make(tls / "other", ["a"], NOW).key.replace(tls / "server.key"), "is not the key of"),
        (lambda tls: make(tls, ["a"], NOW - dt.timedelta(days=10), days=5), "ended on"),
    ],
)
def test_certificate_that_will_not_do_is_told_before_anything_starts(
    spoil, words, broker: Broker, tmp_path: Path
) -> None:
    make(tmp_path / "tls", ["localhost"], NOW - dt.timedelta(days=20))
    spoil(tmp_path / "tls")
    with Program("run", "--site", site_file(broker, tmp_path), "--data", tmp_path / "data") as program:
        assert program.process.wait(20) == 2
        assert words in program.said()
        assert "Nothing was started." in program.said()
